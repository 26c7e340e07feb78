"""The time-limited optimum: the least delta-v that brings a craft from any state into a slot in an allowed time.

Impulsive burns, two-body gravity; the number of burns is free up to a limit, and coasts before the first and after
the last burn are free. Many first guesses are polished side by side (``multistart.py``); the best local optimum is
returned with its evidence: the primer vector's largest excess, and the estimate of the linearized model. That it
is the global optimum is not proved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TypedDict, Unpack

import numpy as np

from ...models.apsis_sensitivity import highest, lowest
from ...models.arrays import Array
from ...models.errors import InputError
from ...models.kepler import fly
from .burn_chain import Cases, fly_chain
from .candidates import Best, Questions, peaks_of, side_by_side
from .linear_estimate import LinearEstimates, relative_state
from .multistart import solve
from .question import Question
from .tangent_guesses import tangents

IN_SLOT = 1e-9  # relative state, in ring radii and circular speeds, of a craft that needs no burn
FLAT = 1e-7
"""Tilt in radians below which a start lies in the ring plane: an arc cosine makes up to 2e-8 of none."""


@dataclass(frozen=True, kw_only=True)
class State:
    """A craft's position from the center, m, and velocity, m/s, in an inertial frame, at a time in s."""

    position_m: tuple[float, float, float]
    velocity_m_s: tuple[float, float, float]
    time_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class FreeformBurn:
    """One impulse: its time, its parts along the axes of the state just before it, and the same vector inertially.

    ``radial_m_s`` outward, ``along_m_s`` at right angles to it towards the motion, ``cross_m_s`` completing the set.
    """

    time_s: float
    delta_v_m_s: float
    radial_m_s: float
    along_m_s: float
    cross_m_s: float
    vector_m_s: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class FreeformSolution:
    """A flight into the slot and the evidence for it.

    Args:
        burns: impulses in order of time.
        delta_v_m_s: sum of their sizes.
        finish_s: time of the last one.
        lowest_periapsis_m, highest_apoapsis_m: of the apsides passed after the first burn; None where none is.
        lowest_m: lowest radius after the first burn.
        primer_excess: how much the primer vector exceeds one, 0 at best: to first order the share of a small extra
            burn that it would save, at the place where it saves most. Where a flight follows a radius limit closely it
            says too much: another burn would meet the limit again.
        estimates, asked: of the linearized model, None with nothing to do, and which of them is of this time.
        family: the kind of first guess that it came from.
        residual: of the conditions of a local optimum, relative to the cost.
    """

    burns: tuple[FreeformBurn, ...]
    delta_v_m_s: float
    finish_s: float
    lowest_periapsis_m: float | None
    highest_apoapsis_m: float | None
    lowest_m: float
    primer_excess: float
    family: str
    residual: float
    estimates: LinearEstimates | None = field(default=None, repr=False, compare=False)
    asked: int = field(default=0, repr=False, compare=False)

    @property
    def linear_estimate_m_s(self) -> float:
        """Least delta-v of the motion linearized about the slot, no bound (see ``linear_estimate.py``)."""
        return 0.0 if self.estimates is None else float(self.estimates.each_m_s[self.asked])


class _Needed(TypedDict):
    gm: float
    ring_radius_m: float
    slot_lead_rad: float


class ToSlot(_Needed, total=False):
    """Where to and within which radii: keyword arguments that calls here share (:func:`least_delta_v_over_times`)."""

    floor_m: float
    ceiling_m: float
    pole: Sequence[float]


def least_delta_v_over_times(
    start: State, *, allowed_s: Sequence[float], burns_max: int = 4, **to: Unpack[ToSlot]
) -> tuple[FreeformSolution | None, ...]:
    """The price of time for one craft: the least total delta-v into a slot of a circular ring within allowed times.

    Some of the times are solved from first guesses, the others from the flights of their neighbors, and a flight that
    is better than a later one takes its place, so that the cost never rises with time.

    Args:
        start: where the craft is; it may coast from there.
        gm: gravitational parameter, m^3/s^2.
        ring_radius_m: radius of the ring.
        slot_lead_rad: how far the slot is ahead of the craft at ``start.time_s``, along the ring, positive ahead,
            measured from the craft's direction as projected on the ring plane.
        allowed_s: times, ascending; the last burn comes at or before each of them after ``start.time_s``.
        burns_max: at most so many burns, 2 to 5.
        floor_m: lowest radius after the first burn (0: none); no coast before it may end below it on the way down.
        ceiling_m: highest radius after the first burn; infinite if not given.
        pole: direction about which the ring turns counterclockwise, the third axis if not given.

    Returns:
        The best flight found for each time, None where none was.

    Raises:
        InputError: a value out of range, or times that do not ascend.

    Example:
        A slot 60 deg ahead on a unit ring in one and a half turns, where the tangent phasing orbit needs 0.1337:

        >>> here = State(position_m=(1.0, 0.0, 0.0), velocity_m_s=(0.0, 1.0, 0.0))
        >>> to = {"gm": 1.0, "ring_radius_m": 1.0, "slot_lead_rad": math.pi / 3}
        >>> [best] = least_delta_v_over_times(here, allowed_s=[3 * math.pi], **to)
        >>> round(best.delta_v_m_s, 4), len(best.burns)
        (0.1017, 4)
    """
    return least_delta_v_of_each([Asked(start=start, allowed_s=allowed_s, to=to)], burns_max=burns_max)[0]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One start and slot with allowed times, ascending; ``to`` as for :func:`least_delta_v_over_times`."""

    start: State
    allowed_s: Sequence[float]
    to: ToSlot


def least_delta_v_of_each(
    asked: Sequence[Asked], *, burns_max: int = 4
) -> tuple[tuple[FreeformSolution | None, ...], ...]:
    """:func:`least_delta_v_over_times` for several starts and slots: the same answers, sooner than one by one.

    Returns:
        For each that was asked the best flight found for each time.

    Raises:
        InputError: a value out of range, or times that do not ascend.
    """
    if not 2 <= burns_max <= 5:
        raise InputError(f"burns_max = {burns_max} must be 2 to 5.")
    posed, offsets, together = [], [], dict[tuple[int, bool], list[int]]()
    for number, one in enumerate(asked):
        times = [float(time) for time in one.allowed_s]
        if not times or any(later <= earlier for earlier, later in pairwise(times)):
            raise InputError("allowed_s must hold one or more times that ascend.")
        posed.append(_posed(one.start, times, **one.to))
        offsets.append(relative_state(posed[-1].position, posed[-1].velocity, one.to["slot_lead_rad"]))
        if np.abs(offsets[-1]).max() >= IN_SLOT:
            cases = posed[-1].questions.cases
            # what has a last departure is polished with another list of limits
            together.setdefault((cases.size, bool(np.isfinite(cases.latest_first[0]))), []).append(number)
    found: list[tuple[FreeformSolution | None, ...]] = [
        (_nothing_to_do(one.start),) * len(one.allowed_s) for one in asked
    ]
    for numbers in together.values():
        questions = side_by_side([posed[number].questions for number in numbers])
        best = solve(questions, burns_max)
        for number, times_of in zip(numbers, questions.by_start, strict=True):
            own = posed[number]
            linear = LinearEstimates(offset=offsets[number], allowed=own.questions.cases.allowed, speed_m_s=own.speed)
            # where a shorter flight serves a longer time too, what is proved is still about the longer time
            found[number] = tuple(
                None if (made := best[index]) is None else _solution(made, own, i, linear)
                for i, index in enumerate(times_of)
            )
    return tuple(found)


def tangent_orbits(start: State, *, allowed_s: float, **to: Unpack[ToSlot]) -> tuple[Array, Array]:
    """Phasing orbits that leave the ring and return to it at one point, within the limits: what all else is held to.

    From a start off the ring they begin where its orbit crosses or touches the ring; a start out of the ring plane is
    taken as it projects on it. Arguments and errors as for :func:`least_delta_v_over_times`.

    Returns:
        Times from the start by which each ends, s, and its total delta-v, m/s, both (K,), the cheapest first.
    """
    posed = _posed(start, [allowed_s], **to)
    found = [guess for guess in tangents(posed.questions.each[0], 10_000) if guess.keeps]
    ends = np.array([float(guess.times[-1]) for guess in found]) * posed.time
    return ends, np.array([guess.cost for guess in found]) * posed.speed


def _nothing_to_do(start: State) -> FreeformSolution:
    radius = math.hypot(*start.position_m)
    return FreeformSolution(
        burns=(),
        delta_v_m_s=0.0,
        finish_s=start.time_s,
        lowest_periapsis_m=None,
        highest_apoapsis_m=None,
        lowest_m=radius,
        primer_excess=0.0,
        family="in the slot",
        residual=0.0,
    )


@dataclass(frozen=True, kw_only=True)
class _Posed:
    """The questions in the solver's units, with the units and axes to go back by."""

    length: float
    speed: float
    time: float
    axes: Array
    epoch: float
    position: Array
    velocity: Array
    questions: Questions


def _posed(
    start: State,
    allowed_s: list[float],
    *,
    gm: float,
    ring_radius_m: float,
    slot_lead_rad: float,
    floor_m: float = 0.0,
    ceiling_m: float = math.inf,
    pole: Sequence[float] = (0.0, 0.0, 1.0),
) -> _Posed:
    _positive(("gm", gm), ("ring_radius_m", ring_radius_m), *(("allowed_s", time) for time in allowed_s))
    if not math.isfinite(slot_lead_rad):
        raise InputError(f"slot_lead_rad = {slot_lead_rad!r} must be a number.")
    if not 0.0 <= floor_m <= ring_radius_m <= ceiling_m:
        raise InputError(
            f"the ring at {ring_radius_m:.9g} m must lie between floor_m = {floor_m:.9g} "
            f"and ceiling_m = {ceiling_m:.9g}."
        )
    position, velocity, axes = _in_ring_axes(start, pole)
    speed = math.sqrt(gm / ring_radius_m)
    r, v = position / ring_radius_m, velocity / speed
    size = 2 if abs(r[2]) < FLAT and abs(v[2]) < FLAT else 3
    r, v = r[:size], v[:size]
    floor, ceiling = floor_m / ring_radius_m, ceiling_m / ring_radius_m
    allowed = np.array(allowed_s) * speed / ring_radius_m
    latest = _latest_departure(r, v, float(allowed[-1]), floor)
    full = np.ones(len(allowed))
    question = Question(
        position=r[:2],
        velocity=v[:2],
        slot_angle=slot_lead_rad,
        allowed=float(allowed[-1]),
        latest_first=latest,
        floor=floor,
        ceiling=ceiling,
    )
    cases = Cases(
        position=r[:, None] * full,
        velocity=v[:, None] * full,
        slot_angle=slot_lead_rad * full,
        allowed=allowed,
        latest_first=latest * full,
        floor=floor * full,
        ceiling=ceiling * full,
    )
    return _Posed(
        length=ring_radius_m,
        speed=speed,
        time=ring_radius_m / speed,
        axes=axes,
        epoch=start.time_s,
        position=r,
        velocity=v,
        questions=Questions(
            each=tuple(replace(question, allowed=float(time)) for time in allowed),
            cases=cases,
            by_start=(range(len(allowed)),),
        ),
    )


def _positive(*named: tuple[str, float]) -> None:
    for name, value in named:
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(f"{name} = {value!r} must be a positive number.")


def _in_ring_axes(start: State, pole: Sequence[float]) -> tuple[Array, Array, Array]:
    """Position and velocity in the axes that come third, as rows: to the craft as projected, along, and the pole."""
    position, velocity = np.array(start.position_m, dtype=np.float64), np.array(start.velocity_m_s, dtype=np.float64)
    up = np.array(pole, dtype=np.float64)
    if not (np.isfinite([*position, *velocity, *up]).all() and position.any() and up.any()):
        raise InputError("start must have a finite position and velocity, off the center, and pole a direction.")
    up /= np.linalg.norm(up)
    ahead = position - up * (position @ up)
    if np.linalg.norm(ahead) < 1e-6 * np.linalg.norm(position):
        raise InputError("start lies on the ring's axis, from where no lead can be counted.")
    ahead /= np.linalg.norm(ahead)
    axes = np.stack([ahead, np.cross(up, ahead), up])
    return axes @ position, axes @ velocity, axes


def _latest_departure(position: Array, velocity: Array, allowed: float, floor: float) -> float:
    """When the start orbit comes down through the floor; infinite where it does not in the allowed time."""
    coast = fly(position[:, None], velocity[:, None], np.array([allowed]))
    if floor <= 0.0 or float(lowest(coast).radius[0]) >= floor:
        return math.inf
    times = np.linspace(0.0, allowed, 4001)
    spread = np.ones((1, len(times)))
    radius = fly(position[:, None] * spread, velocity[:, None] * spread, times).end_radius
    down = np.flatnonzero((radius[1:] < floor) & (radius[:-1] >= floor))
    if len(down) == 0:
        return math.inf
    low, high = float(times[down[0]]), float(times[down[0] + 1])
    for _ in range(50):
        middle = 0.5 * (low + high)
        at = float(fly(position[:, None], velocity[:, None], np.array([middle])).end_radius[0])
        low, high = (middle, high) if at >= floor else (low, middle)
    return low


def _solution(best: Best, posed: _Posed, index: int, estimates: LinearEstimates) -> FreeformSolution:
    cases = posed.questions.cases.take(np.array([index]))
    chain = fly_chain(cases, best.unknowns[:, None], best.burns)
    burns = []
    before = [fly(cases.position, cases.velocity, chain.times[0]), *chain.arcs]
    for number in range(best.burns):
        position, velocity = _in_space(before[number].end[:, 0]), _in_space(before[number].end_speed[:, 0])
        vector = _in_space(chain.burns[number][:, 0])
        outward = position / np.linalg.norm(position)
        cross = np.cross(position, velocity)
        cross /= np.linalg.norm(cross)
        parts = np.array([outward @ vector, np.cross(cross, outward) @ vector, cross @ vector]) * posed.speed
        burns.append(
            FreeformBurn(
                time_s=posed.epoch + float(chain.times[number, 0]) * posed.time,
                delta_v_m_s=float(np.linalg.norm(parts)),
                radial_m_s=float(parts[0]),
                along_m_s=float(parts[1]),
                cross_m_s=float(parts[2]),
                vector_m_s=tuple(float(x) for x in posed.axes.T @ vector * posed.speed),  # type: ignore[arg-type]
            )
        )
    low = [lowest(arc) for arc in chain.arcs]
    high = [highest(arc) for arc in chain.arcs]
    periapses = [float(e.radius[0]) for e in low if e.passed[0]]
    apoapses = [float(e.radius[0]) for e in high if e.passed[0]]
    return FreeformSolution(
        burns=tuple(burns),
        delta_v_m_s=float(chain.cost[0]) * posed.speed,
        finish_s=burns[-1].time_s,
        lowest_periapsis_m=min(periapses) * posed.length if periapses else None,
        highest_apoapsis_m=max(apoapses) * posed.length if apoapses else None,
        lowest_m=min(float(e.radius[0]) for e in low) * posed.length,
        primer_excess=max(0.0, peaks_of(best, cases, chain)[0].length - 1.0),
        family=best.family,
        residual=float(best.result.error[0]),
        estimates=estimates,
        asked=index,
    )


def _in_space(vector: Array) -> Array:
    return vector if len(vector) == 3 else np.append(vector, 0.0)
