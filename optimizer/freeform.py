"""The time-limited optimum: the least delta-v that brings a craft from any state into a slot in an allowed time.

Impulsive burns, two-body gravity; the number of burns is free up to a limit, and coasts before the first and after
the last burn are free. Many first guesses are polished side by side (``freeform_polish``); the best local optimum is
returned with its evidence: the primer vector's largest excess, and a lower bound within the linearized model. That it
is the global optimum is not proved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..models.errors import InputError
from ..models.kepler import fly, highest, lowest, pull_back
from ..models.primer import Held, along_arc
from .freeform_flight import Cases, Chain, bounds_on, fly_chain
from .freeform_polish import Polished, Schedule, polish
from .freeform_seeds import Guess, Question, guesses, lambert_arcs, tangents

Array = NDArray[np.float64]
TURN = 2.0 * np.pi
FLAT = 1e-9  # tilt in radians below which a start lies in the ring plane


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
            burn that it would save, at the place where it saves most.
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


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """Units and axes of the solver against those of the caller."""

    length: float
    speed: float
    time: float
    axes: Array
    epoch: float


def least_delta_v(
    start: State,
    *,
    gm: float,
    ring_radius_m: float,
    slot_lead_rad: float,
    allowed_s: float,
    floor_m: float = 0.0,
    ceiling_m: float = math.inf,
    burns_max: int = 4,
    pole: Sequence[float] = (0.0, 0.0, 1.0),
) -> FreeformSolution | None:
    """The least total delta-v into a slot of a circular ring within an allowed time.

    Args:
        start: where the craft is; it may coast from there.
        gm: gravitational parameter, m^3/s^2.
        ring_radius_m: radius of the ring.
        slot_lead_rad: how far the slot is ahead of the craft at ``start.time_s``, along the ring, positive ahead,
            measured from the craft's direction as projected on the ring plane.
        allowed_s: the last burn comes at or before ``start.time_s + allowed_s``.
        floor_m: lowest radius after the first burn; no coast before it may end below it on the way down.
        ceiling_m: highest radius after the first burn.
        burns_max: at most so many burns, 2 to 5.
        pole: direction about which the ring turns counterclockwise.

    Returns:
        The best flight found, None where none was.

    Raises:
        InputError: a value out of range.

    Example:
        A slot 60 deg ahead on a unit ring in one and a half turns, where the tangent phasing orbit needs 0.1337:

        >>> here = State(position_m=(1.0, 0.0, 0.0), velocity_m_s=(0.0, 1.0, 0.0))
        >>> best = least_delta_v(here, gm=1.0, ring_radius_m=1.0, slot_lead_rad=math.pi / 3, allowed_s=3 * math.pi)
        >>> round(best.delta_v_m_s, 4), len(best.burns)
        (0.1017, 4)
    """
    frame, question, cases = _posed(
        start, gm, ring_radius_m, slot_lead_rad, allowed_s, floor_m, ceiling_m, burns_max, pole
    )
    best = _solve(question, cases, burns_max)
    return None if best is None else _solution(best, cases, frame)


@dataclass(frozen=True)
class _Best:
    unknowns: Array
    burns: int
    cost: float
    family: str
    result: Polished


def _posed(
    start: State,
    gm: float,
    ring_radius_m: float,
    slot_lead_rad: float,
    allowed_s: float,
    floor_m: float,
    ceiling_m: float,
    burns_max: int,
    pole: Sequence[float],
) -> tuple[_Frame, Question, Cases]:
    for name, value in (("gm", gm), ("ring_radius_m", ring_radius_m), ("allowed_s", allowed_s)):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(f"{name} = {value!r} must be a positive number.")
    if not math.isfinite(slot_lead_rad):
        raise InputError(f"slot_lead_rad = {slot_lead_rad!r} must be a number.")
    if not 0.0 <= floor_m <= ring_radius_m <= ceiling_m:
        raise InputError(
            f"the ring at {ring_radius_m:.9g} m must lie between floor_m = {floor_m:.9g} "
            f"and ceiling_m = {ceiling_m:.9g}."
        )
    if not 2 <= burns_max <= 5:
        raise InputError(f"burns_max = {burns_max} must be 2 to 5.")
    position, velocity = np.array(start.position_m, dtype=np.float64), np.array(start.velocity_m_s, dtype=np.float64)
    up = np.array(pole, dtype=np.float64)
    up /= np.linalg.norm(up)
    ahead = position - up * (position @ up)
    if np.linalg.norm(ahead) < 1e-6 * np.linalg.norm(position):
        raise InputError("start lies on the ring's axis, from where no lead can be counted.")
    ahead /= np.linalg.norm(ahead)
    axes = np.stack([ahead, np.cross(up, ahead), up])
    speed = math.sqrt(gm / ring_radius_m)
    frame = _Frame(length=ring_radius_m, speed=speed, time=ring_radius_m / speed, axes=axes, epoch=start.time_s)
    r, v = axes @ position / ring_radius_m, axes @ velocity / speed
    size = 2 if abs(r[2]) < FLAT and abs(v[2]) < FLAT else 3
    floor, ceiling = floor_m / ring_radius_m, ceiling_m / ring_radius_m
    allowed = allowed_s / frame.time
    latest = _latest_departure(r, v, allowed, floor)
    question = Question(
        position=r[:2],
        velocity=v[:2],
        slot_angle=slot_lead_rad,
        allowed=allowed,
        latest_first=latest,
        floor=floor,
        ceiling=ceiling,
    )
    one = np.ones(1)
    cases = Cases(
        position=r[:size, None],
        velocity=v[:size, None],
        slot_angle=slot_lead_rad * one,
        allowed=allowed * one,
        latest_first=latest * one,
        floor=floor * one,
        ceiling=ceiling * one,
    )
    return frame, question, cases


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


def _stack(found: list[Guess], size: int) -> Array:
    """Guesses of one number of burns as unknowns, (n, S)."""
    columns = []
    for guess in found:
        kicks = np.zeros((len(guess.kicks), size))
        kicks[:, :2] = guess.kicks
        columns.append(np.concatenate([guess.times, kicks.ravel()]))
    return np.ascontiguousarray(np.stack(columns, axis=1))


ROUGH = Schedule(iterations=40, barrier_end=1e-6)
PAIRS = Schedule(iterations=25, barrier_end=1e-6)
AGAIN = Schedule(iterations=40, barrier=1e-3, barrier_end=1e-6, burn=1e-2, circle=1e-3, margin=1e-4)
FINE = Schedule(iterations=25, barrier=1e-5, barrier_end=1e-9, burn=1e-3, circle=1e-5, circle_end=1e-7, margin=1e-7)
ARRIVED = 1e-9  # ring radii
KEPT = 1e-7
WORTH = 1.6  # guesses of two burns dearer than so many times the cheapest are not polished
EXCESS = 1e-4  # of the primer, above which another burn is tried
IDLE = 5e-3  # share of the cost below which a burn may be superfluous
TOGETHER = 0.05  # radians of ring angle within which two burns may be one


def _solve(question: Question, cases: Cases, burns_max: int) -> _Best | None:
    pairs = tangents(question) + lambert_arcs(question)
    cheapest = min((guess.cost for guess in pairs), default=math.inf)
    pairs = [guess for guess in pairs if guess.cost <= WORTH * cheapest or guess.keeps]
    best = _polished(pairs, cases, PAIRS, None)
    if burns_max >= 4:
        best = _polished(guesses(question), cases, ROUGH, best)
    while best is not None and best.burns < burns_max:
        better = _with_another_burn(best, cases)
        if better is None:
            break
        best = better
    return best


def _polished(found: list[Guess], cases: Cases, schedule: Schedule, best: _Best | None) -> _Best | None:
    """The best local optimum from guesses of one number of burns, if it beats ``best``."""
    if not found:
        return best
    burns, rivals = len(found[0].times), np.zeros(len(found), dtype=np.int64)
    known = math.inf if best is None else best.cost
    rough = polish(cases.take(rivals), _stack(found, cases.size), burns, schedule, rivals, known)
    good = (rough.miss < 1e-4) & (rough.shortfall < 1e-3) & (rough.cost < known * (1.0 - 1e-5))
    for index in np.argsort(np.where(good, rough.cost, np.inf), kind="stable")[: 2 if best is None else 1]:
        if good[index]:
            best = _finest(rough.unknowns[:, index], burns, found[index].family, cases, best)
    return best


def _finest(unknowns: Array, burns: int, family: str, cases: Cases, best: _Best | None) -> _Best | None:
    """A nearly polished flight, its superfluous burns dropped where that costs nothing, if it beats ``best``."""
    tried, count = _tidied(cases, unknowns, burns)
    fine = polish(cases, tried[:, None], count, FINE)
    chain = fly_chain(cases, unknowns[:, None], burns)
    if count < burns and not (_sound(fine) and fine.cost[0] <= float(chain.cost[0]) * (1.0 + 1e-5)):
        count, fine = burns, polish(cases, unknowns[:, None], burns, FINE)
    if _sound(fine) and (best is None or fine.cost[0] < best.cost):
        cost = float(fine.cost[0])
        best = _Best(unknowns=fine.unknowns[:, 0], burns=count, cost=cost, family=family, result=fine)
    return best


def _sound(fine: Polished) -> bool:
    return bool(fine.miss[0] < ARRIVED and fine.shortfall[0] < KEPT)


def _tidied(cases: Cases, unknowns: Array, burns: int) -> tuple[Array, int]:
    """Burns of almost no size dropped and burns at almost one moment joined, down to two; they may miss by a little."""
    chain = fly_chain(cases, unknowns[:, None], burns)
    times, kicks = list(chain.times[:, 0]), list(chain.burns[:, :, 0])
    while len(times) > 2:
        sizes = [float(np.sqrt((kick**2).sum())) for kick in kicks]
        gaps = np.diff(times)
        idle, pair = int(np.argmin(sizes)), int(np.argmin(gaps))
        if sizes[idle] < IDLE * sum(sizes):
            del times[idle], kicks[idle]
        elif gaps[pair] < TOGETHER:
            times[pair] += float(gaps[pair]) * sizes[pair + 1] / (sizes[pair] + sizes[pair + 1])
            kicks[pair] = kicks[pair] + kicks[pair + 1]
            del times[pair + 1], kicks[pair + 1]
        else:
            break
    return np.concatenate([np.array(times), *kicks[:-1]]), len(times)


def _with_another_burn(best: _Best, cases: Cases) -> _Best | None:
    """The optimum with one burn more, put where the primer is longest; None where that does not pay."""
    chain = fly_chain(cases, best.unknowns[:, None], best.burns)
    peak = _peak(best, cases, chain)
    if peak.length < 1.0 + EXCESS:
        return None
    times, kicks = chain.times[:, 0], chain.burns[:, :, 0]
    place = int(np.searchsorted(times, peak.time))
    guesses_ = []
    for share in (0.02, 0.1):
        more = np.insert(kicks, place, share * best.cost * peak.direction, axis=0)[:-1]
        guesses_.append(np.concatenate([np.insert(times, place, peak.time), more.ravel()]))
    rough = polish(cases.take(np.zeros(2, dtype=np.int64)), np.stack(guesses_, axis=1), best.burns + 1, AGAIN)
    good = (rough.miss < 1e-5) & (rough.shortfall < 1e-4) & (rough.cost < best.cost * (1.0 - 1e-6))
    if not good.any():
        return None
    index = int(np.argmin(np.where(good, rough.cost, np.inf)))
    better = _finest(rough.unknowns[:, index], best.burns + 1, best.family, cases, best)
    return None if better is best else better


def _solution(best: _Best, cases: Cases, frame: _Frame) -> FreeformSolution:
    chain = fly_chain(cases, best.unknowns[:, None], best.burns)
    burns = []
    before = [fly(cases.position, cases.velocity, chain.times[0]), *chain.arcs]
    for index in range(best.burns):
        position, velocity = _in_space(before[index].end[:, 0]), _in_space(before[index].end_speed[:, 0])
        vector = _in_space(chain.burns[index][:, 0])
        outward = position / np.linalg.norm(position)
        cross = np.cross(position, velocity)
        cross /= np.linalg.norm(cross)
        parts = np.array([outward @ vector, np.cross(cross, outward) @ vector, cross @ vector]) * frame.speed
        burns.append(
            FreeformBurn(
                time_s=frame.epoch + float(chain.times[index, 0]) * frame.time,
                delta_v_m_s=float(np.linalg.norm(parts)),
                radial_m_s=float(parts[0]),
                along_m_s=float(parts[1]),
                cross_m_s=float(parts[2]),
                vector_m_s=tuple(float(x) for x in frame.axes.T @ vector * frame.speed),  # type: ignore[arg-type]
            )
        )
    low = [lowest(arc) for arc in chain.arcs]
    high = [highest(arc) for arc in chain.arcs]
    periapses = [float(e.radius[0]) for e in low if e.passed[0]]
    apoapses = [float(e.radius[0]) for e in high if e.passed[0]]
    return FreeformSolution(
        burns=tuple(burns),
        delta_v_m_s=float(chain.cost[0]) * frame.speed,
        finish_s=burns[-1].time_s,
        lowest_periapsis_m=min(periapses) * frame.length if periapses else None,
        highest_apoapsis_m=max(apoapses) * frame.length if apoapses else None,
        lowest_m=min(float(e.radius[0]) for e in low) * frame.length,
        primer_excess=max(0.0, _peak(best, cases, chain).length - 1.0),
        family=best.family,
        residual=float(best.result.error[0]),
    )


def _in_space(vector: Array) -> Array:
    return vector if len(vector) == 3 else np.append(vector, 0.0)


class _Peak(NamedTuple):
    """Where the primer vector is longest: time, length, unit vector (d,)."""

    time: float
    length: float
    direction: Array


def _peak(best: _Best, cases: Cases, chain: Chain) -> _Peak:
    """The longest primer vector from the start to the last burn.

    A radius limit that binds adds its multiplier to the costate where its apsis is passed for the last time: a burn
    before that would move the apsis, too.
    """
    floor = bool((cases.floor > 0.0).any())
    ceiling = bool(np.isfinite(cases.ceiling).any())
    bounds = bounds_on(cases, chain, 0.0, floor=floor, ceiling=ceiling)
    position = -best.result.on_arrival[:, 0]
    velocity = -chain.burns[-1][:, 0] / math.sqrt(float((chain.burns[-1] ** 2).sum()))
    found = _Peak(0.0, 0.0, np.zeros(cases.size))
    coast = fly(cases.position, cases.velocity, chain.times[0])
    for index in range(len(chain.arcs), -1, -1):
        arc = coast if index == 0 else chain.arcs[index - 1]
        loads = [
            (-bound.sign * float(best.result.on_bounds[row, 0]), bound)
            for row, bound in enumerate(bounds)
            if bound.arc == index - 1
        ]
        for weight, bound in loads:
            position = position + weight * bound.extreme.by_end[:, 0]
        held = [Held(weight, lowest if bound.sign > 0.0 else highest) for weight, bound in loads]
        primer = along_arc(arc, position, velocity, max(60, int(float(arc.time[0]) * 20)), held)
        top = int(np.argmax(primer.length))
        if primer.length[top] > found.length:
            begun = 0.0 if index == 0 else float(chain.times[index - 1, 0])
            unit = primer.vector[:, top] / primer.length[top]
            found = _Peak(begun + float(primer.time[top]), float(primer.length[top]), unit)
        back = pull_back(arc, position[:, None], velocity[:, None])
        position, velocity = back[0][:, 0], back[1][:, 0]
        for weight, bound in loads:
            position = position + weight * bound.extreme.by_start[:, 0]
            velocity = velocity + weight * bound.extreme.by_speed[:, 0]
    return found
