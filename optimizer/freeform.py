"""The time-limited optimum: the least delta-v that brings a craft from any state into a slot in an allowed time.

Impulsive burns, two-body gravity; the number of burns is free up to a limit, and coasts before the first and after
the last burn are free. Many first guesses are polished side by side (``freeform_polish``); the best local optimum is
returned with its evidence: the primer vector's largest excess, and a lower bound within the linearized model. That it
is the global optimum is not proved.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..models.errors import InputError
from ..models.kepler import apoapsis_held, fly, highest, lowest, periapsis_held, pull_back
from ..models.primer import Limit, along_arc
from .bounds import linear_bound, relative_state
from .freeform_flight import Cases, Chain, bounds_on, fly_chain
from .freeform_polish import Polished, Schedule, polish
from .freeform_seeds import Guess, Question, guesses, lambert_arcs, tangents, via_points

Array = NDArray[np.float64]
TURN = 2.0 * np.pi
IN_SLOT = 1e-9  # relative state, in ring radii and circular speeds, of a craft that needs no burn
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
            burn that it would save, at the place where it saves most. Where a flight follows a radius limit closely it
            says too much: another burn would meet the limit again.
        linear_bound_m_s: a lower bound proved within the motion linearized about the slot (see ``bounds.py``); the
            true least cost may lie a little below it, the more the larger lead and burns are.
        family: the kind of first guess that it came from.
        residual: of the conditions of a local optimum, relative to the cost.
    """

    burns: tuple[FreeformBurn, ...]
    delta_v_m_s: float
    finish_s: float
    lowest_periapsis_m: float | None
    highest_apoapsis_m: float | None
    lowest_m: float
    linear_bound_m_s: float
    primer_excess: float
    family: str
    residual: float


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
    found = least_delta_v_over_times(
        start,
        gm=gm,
        ring_radius_m=ring_radius_m,
        slot_lead_rad=slot_lead_rad,
        allowed_s=[allowed_s],
        floor_m=floor_m,
        ceiling_m=ceiling_m,
        burns_max=burns_max,
        pole=pole,
    )
    return found[0]


def least_delta_v_over_times(
    start: State,
    *,
    gm: float,
    ring_radius_m: float,
    slot_lead_rad: float,
    allowed_s: Sequence[float],
    floor_m: float = 0.0,
    ceiling_m: float = math.inf,
    burns_max: int = 4,
    pole: Sequence[float] = (0.0, 0.0, 1.0),
) -> tuple[FreeformSolution | None, ...]:
    """The price of time for one craft: :func:`least_delta_v` for many allowed times at once.

    Some of the times are solved from first guesses, the others from the flights of their neighbors, and a flight that
    is better than a later one takes its place, so that the cost never rises with time.

    Args:
        allowed_s: allowed times, ascending; all else as for :func:`least_delta_v`.

    Returns:
        The best flight found for each time.

    Raises:
        InputError: a value out of range, or times that do not ascend.
    """
    times = [float(time) for time in allowed_s]
    if not times or any(later <= earlier for earlier, later in pairwise(times)):
        raise InputError("allowed_s must hold one or more times that ascend.")
    posed = _posed(start, gm, ring_radius_m, slot_lead_rad, times, floor_m, ceiling_m, burns_max, pole)
    offset = relative_state(posed.position, posed.velocity, slot_lead_rad)
    if np.abs(offset).max() < IN_SLOT:
        return (_nothing_to_do(start),) * len(times)
    best = _solve(posed, burns_max)
    bound = linear_bound(offset, posed.cases.allowed)
    # where a shorter flight serves a longer time too, what is proved is still about the longer time
    return tuple(
        None if one is None else _solution(one, posed, index, float(bound[index])) for index, one in enumerate(best)
    )


def tangent_orbits(
    start: State,
    *,
    gm: float,
    ring_radius_m: float,
    slot_lead_rad: float,
    allowed_s: float,
    floor_m: float = 0.0,
    ceiling_m: float = math.inf,
    pole: Sequence[float] = (0.0, 0.0, 1.0),
) -> tuple[Array, Array]:
    """Phasing orbits that leave the ring and return to it at one point, within the limits: what all else is held to.

    From a start off the ring they begin where its orbit crosses or touches the ring; a start out of the ring plane is
    taken as it projects on it. Arguments and errors as for :func:`least_delta_v`.

    Returns:
        Times from the start by which each ends, s, and its total delta-v, m/s, both (K,), the cheapest first.
    """
    posed = _posed(start, gm, ring_radius_m, slot_lead_rad, [allowed_s], floor_m, ceiling_m, 2, pole)
    found = [guess for guess in tangents(posed.questions[0], 10_000) if guess.keeps]
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
        linear_bound_m_s=0.0,
        primer_excess=0.0,
        family="in the slot",
        residual=0.0,
    )


@dataclass(frozen=True, kw_only=True)
class _Posed:
    """The questions in the solver's units, one for each allowed time, with the frame to go back by."""

    length: float
    speed: float
    time: float
    axes: Array
    epoch: float
    position: Array
    velocity: Array
    questions: tuple[Question, ...]
    cases: Cases


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
    allowed_s: list[float],
    floor_m: float,
    ceiling_m: float,
    burns_max: int,
    pole: Sequence[float],
) -> _Posed:
    for name, value in (("gm", gm), ("ring_radius_m", ring_radius_m), *(("allowed_s", time) for time in allowed_s)):
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
    r, v = axes @ position / ring_radius_m, axes @ velocity / speed
    size = 2 if abs(r[2]) < FLAT and abs(v[2]) < FLAT else 3
    r, v = r[:size], v[:size]
    floor, ceiling = floor_m / ring_radius_m, ceiling_m / ring_radius_m
    allowed = np.array(allowed_s) * speed / ring_radius_m
    latest = _latest_departure(r, v, float(allowed[-1]), floor)
    full = np.ones(len(allowed))
    return _Posed(
        length=ring_radius_m,
        speed=speed,
        time=ring_radius_m / speed,
        axes=axes,
        epoch=start.time_s,
        position=r,
        velocity=v,
        questions=tuple(
            Question(
                position=r[:2],
                velocity=v[:2],
                slot_angle=slot_lead_rad,
                allowed=float(time),
                latest_first=latest,
                floor=floor,
                ceiling=ceiling,
            )
            for time in allowed
        ),
        cases=Cases(
            position=r[:, None] * full,
            velocity=v[:, None] * full,
            slot_angle=slot_lead_rad * full,
            allowed=allowed,
            latest_first=latest * full,
            floor=floor * full,
            ceiling=ceiling * full,
        ),
    )


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


ROUGH = Schedule(iterations=40, barrier_end=1e-6)
PAIRS = Schedule(iterations=20, barrier_end=1e-6)
AGAIN = Schedule(iterations=30, barrier=1e-3, barrier_end=1e-6, burn=1e-2, circle=1e-3, margin=1e-4)
FINE = Schedule(iterations=16, barrier=1e-5, barrier_end=1e-9, burn=1e-3, circle=1e-5, circle_end=1e-7, margin=1e-7)
ARRIVED = 1e-9  # ring radii
KEPT = 1e-7
WORTH = 1.6  # guesses of two burns dearer than so many times the cheapest are not polished
EXCESS = 1e-4  # of the primer, above which another burn is tried
ROUNDS = 3  # of adding burns
BINDS = 1e-3  # multiplier of a radius limit, circular speeds for each ring radius, from which it binds
ADDED = 0.03  # size of a burn added there, as a share of the cost
IDLE = 5e-3  # share of the cost below which a burn may be superfluous
TOGETHER = 0.05  # radians of ring angle within which two burns may be one
SWEEPS = 2  # passes over all times from their neighbors' flights
ANCHOR_EVERY, ANCHORS_LEAST = 6, 6  # of the allowed times that are solved from first guesses

Bests = list["_Best | None"]


class _Draft(NamedTuple):
    """A flight to be polished: the question's index, the unknowns, the number of burns, the family."""

    question: int
    unknowns: Array
    burns: int
    family: str


def _solve(posed: _Posed, burns_max: int) -> Bests:
    count = len(posed.questions)
    best: Bests = [None] * count
    wanted = min(count, max(ANCHORS_LEAST, -(-count // ANCHOR_EVERY)))
    anchors = sorted({round(x) for x in np.linspace(0, count - 1, wanted)})
    _improve(posed, best, [draft for index in anchors for draft in _pairs(posed, index)], PAIRS)
    if burns_max >= 3:
        _improve(posed, best, [draft for index in anchors for draft in _threes(posed, index)], ROUGH)
    if burns_max >= 4:
        _improve(posed, best, [draft for index in anchors for draft in _fours(posed, index)], ROUGH)
    for _ in range(ROUNDS):
        if not _improve(posed, best, _with_more_burns(posed, best, burns_max), AGAIN, rivals=False):
            break
    for _ in range(SWEEPS if count > len(anchors) else 0):
        _improve(posed, best, _from_neighbors(posed, best), ROUGH)
    for index in range(1, count):
        earlier, one = best[index - 1], best[index]
        if earlier is not None and (one is None or earlier.cost < one.cost):
            best[index] = earlier
    return best


def _from_neighbors(posed: _Posed, best: Bests) -> list[_Draft]:
    """Drafts for every time from the flights of the nearest solved times on either side."""
    solved = [index for index, one in enumerate(best) if one is not None]
    pairs = []
    for index in range(len(best)):
        place = bisect_left(solved, index)
        nearest = {*solved[max(place - 1, 0) : place], *solved[place : place + 2]} - {index}
        pairs += [(source, index) for source in sorted(nearest, key=lambda other: abs(other - index))[:2]]
    drafts = []
    for burns in sorted({one.burns for one in best if one is not None}):
        some = [(source, target) for source, target in pairs if (one := best[source]) and one.burns == burns]
        drafts += _moved(posed, best, burns, some)
    return drafts


def _moved(posed: _Posed, best: Bests, burns: int, pairs: list[tuple[int, int]]) -> list[_Draft]:
    """Flights for other allowed times: burns of the second half come later, or earlier, by the difference.

    Each burn keeps its parts along the axes of the state before it. ``pairs`` are the indices of the flight, of the
    given number of burns, and of the time that it is moved to.
    """
    flights = [best[source] for source, _ in pairs]
    sources, targets = (np.array(part, dtype=np.int64) for part in zip(*pairs, strict=True))
    case = posed.cases.take(sources)
    unknowns = np.stack([one.unknowns for one in flights if one is not None], axis=1)
    chain = fly_chain(case, unknowns, burns)
    before = [fly(case.position, case.velocity, chain.times[0]), *chain.arcs]
    allowed = posed.cases.allowed
    later = np.where(chain.times > 0.5 * allowed[sources], allowed[targets] - allowed[sources], 0.0)
    times = np.maximum.accumulate(np.maximum(chain.times + later, 0.0), axis=0)
    position, velocity, now, kicks = case.position, case.velocity, np.zeros(len(case)), []
    for number in range(burns - 1):
        local = np.einsum("ijb,jb->ib", _axes(before[number].end, before[number].end_speed), chain.burns[number])
        arc = fly(position, velocity, times[number] - now)
        kick = np.einsum("ijb,ib->jb", _axes(arc.end, arc.end_speed), local)
        kicks.append(kick)
        position, velocity, now = arc.end, arc.end_speed + kick, times[number]
    moved = np.concatenate([times, *kicks])
    return [
        _Draft(int(target), moved[:, column], burns, one.family)
        for column, (target, one) in enumerate(zip(targets, flights, strict=True))
        if one is not None
    ]


def _axes(position: Array, velocity: Array) -> Array:
    """Outward, along and, in three dimensions, cross unit vectors of states (d, B) as rows, (d, d, B)."""
    outward = position / np.sqrt((position**2).sum(axis=0))
    along = velocity - outward * (outward * velocity).sum(axis=0)
    along = along / np.sqrt((along**2).sum(axis=0))
    if len(position) == 2:
        return np.array([outward, along])
    return np.array([outward, along, np.cross(outward, along, axis=0)])


def _pairs(posed: _Posed, index: int) -> list[_Draft]:
    found = tangents(posed.questions[index]) + lambert_arcs(posed.questions[index])
    cheapest = min((guess.cost for guess in found), default=math.inf)
    worth = [guess for guess in found if guess.cost <= WORTH * cheapest or guess.keeps]
    return [_draft(guess, index, posed.cases.size) for guess in worth]


def _threes(posed: _Posed, index: int) -> list[_Draft]:
    return [_draft(guess, index, posed.cases.size) for guess in via_points(posed.questions[index])]


def _fours(posed: _Posed, index: int) -> list[_Draft]:
    return [_draft(guess, index, posed.cases.size) for guess in guesses(posed.questions[index])]


def _draft(guess: Guess, index: int, size: int) -> _Draft:
    kicks = np.zeros((len(guess.kicks), size))
    kicks[:, :2] = guess.kicks
    return _Draft(index, np.concatenate([guess.times, kicks.ravel()]), len(guess.times), guess.family)


def _polish_all(posed: _Posed, drafts: list[_Draft], schedule: Schedule, known: Array | None) -> list[Polished]:
    """Polish drafts side by side, those of one number of burns in one batch; one result each, in their order.

    With ``known`` the drafts of one question are rivals.
    """
    results: list[Polished | None] = [None] * len(drafts)
    for burns in sorted({draft.burns for draft in drafts}):
        chosen = [i for i, draft in enumerate(drafts) if draft.burns == burns]
        index = np.array([drafts[i].question for i in chosen])
        unknowns = np.ascontiguousarray(np.stack([drafts[i].unknowns for i in chosen], axis=1))
        rivals = None if known is None else index
        together = polish(posed.cases.take(index), unknowns, burns, schedule, rivals, known)
        for column, i in enumerate(chosen):
            results[i] = _column(together, column)
    return [result for result in results if result is not None]


def _improve(posed: _Posed, best: Bests, drafts: list[_Draft], schedule: Schedule, *, rivals: bool = True) -> bool:
    """Polish drafts and put each question's best one into ``best`` where it is better; tells whether any was."""
    if not drafts:
        return False
    known = np.array([math.inf if one is None else one.cost for one in best])
    rough = _polish_all(posed, drafts, schedule, known if rivals else None)
    chosen: dict[int, list[tuple[float, int]]] = {}
    for i, (draft, result) in enumerate(zip(drafts, rough, strict=True)):
        sound = result.miss[0] < 1e-4 and result.shortfall[0] < 1e-3
        if sound and result.cost[0] < known[draft.question] * (1.0 - 1e-5):
            chosen.setdefault(draft.question, []).append((float(result.cost[0]), i))
    finalists = []
    for question, ranked in chosen.items():
        # a second one in reserve where there is nothing yet
        for _, i in sorted(ranked)[: 2 if best[question] is None else 1]:
            finalists.append(drafts[i]._replace(unknowns=rough[i].unknowns[:, 0]))
    return _finish(posed, best, finalists)


def _finish(posed: _Posed, best: Bests, drafts: list[_Draft]) -> bool:
    """Polish nearly polished drafts to the end, superfluous burns dropped where that costs nothing."""
    if not drafts:
        return False
    tidied = [_tidied(posed.cases, draft) for draft in drafts]
    fine = _polish_all(posed, tidied, FINE, None)
    again = []
    improved = False
    for draft, tidy, result in zip(drafts, tidied, fine, strict=True):
        if tidy.burns < draft.burns:
            chain = fly_chain(posed.cases.take(np.array([draft.question])), draft.unknowns[:, None], draft.burns)
            if not (_sound(result) and result.cost[0] <= float(chain.cost[0]) * (1.0 + 1e-5)):
                again.append(draft)
                continue
        improved |= _keep(best, tidy, result)
    for draft, result in zip(again, _polish_all(posed, again, FINE, None), strict=True):
        improved |= _keep(best, draft, result)
    return improved


def _keep(best: Bests, draft: _Draft, result: Polished) -> bool:
    old = best[draft.question]
    if not _sound(result) or (old is not None and result.cost[0] >= old.cost):
        return False
    best[draft.question] = _Best(
        unknowns=result.unknowns[:, 0],
        burns=draft.burns,
        cost=float(result.cost[0]),
        family=draft.family,
        result=result,
    )
    return True


def _sound(fine: Polished) -> bool:
    return bool(fine.miss[0] < ARRIVED and fine.shortfall[0] < KEPT)


def _column(result: Polished, index: int) -> Polished:
    return result._replace(**{name: part[..., index : index + 1] for name, part in result._asdict().items()})


def _tidied(cases: Cases, draft: _Draft) -> _Draft:
    """Burns of almost no size dropped and burns at almost one moment joined, down to two; it may miss by a little."""
    chain = fly_chain(cases.take(np.array([draft.question])), draft.unknowns[:, None], draft.burns)
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
    return draft._replace(unknowns=np.concatenate([np.array(times), *kicks[:-1]]), burns=len(times))


def _with_more_burns(posed: _Posed, best: Bests, burns_max: int) -> list[_Draft]:
    """Drafts with burns added where the primer is longest, one or as many as are allowed, where that promises much.

    Where all burns are used already, one is added all the same, the flight polished, and its least burn taken out.
    """
    drafts, crowded = [], []
    for index, one in enumerate(best):
        if one is None or one.burns < 2:
            continue
        case = posed.cases.take(np.array([index]))
        chain = fly_chain(case, one.unknowns[:, None], one.burns)
        peaks = [peak for peak in _peaks(one, case, chain) if peak.length > 1.0 + EXCESS]
        if not peaks:
            continue
        if one.burns < burns_max:
            counts = sorted({1, min(len(peaks), burns_max - one.burns)})
            drafts += [_with_added(index, one, chain, peaks[:count]) for count in counts]
        elif one.result.on_bounds.max(initial=0.0) < BINDS:
            # along a limit the primer promises too much
            crowded.append(_with_added(index, one, chain, peaks[:1]))
    for draft, result in zip(crowded, _polish_all(posed, crowded, AGAIN, None), strict=True):
        if result.miss[0] < 1e-4:
            drafts.append(_without_least(posed.cases, draft._replace(unknowns=result.unknowns[:, 0])))
    return drafts


def _with_added(index: int, one: _Best, chain: Chain, peaks: list[_Peak]) -> _Draft:
    times, kicks = chain.times[:, 0], chain.burns[:, :, 0]
    for peak in peaks:
        place = int(np.searchsorted(times, peak.time))
        times = np.insert(times, place, peak.time)
        kicks = np.insert(kicks, place, ADDED * one.cost * peak.direction, axis=0)
    return _Draft(index, np.concatenate([times, kicks[:-1].ravel()]), len(times), one.family)


def _without_least(cases: Cases, draft: _Draft) -> _Draft:
    """One burn fewer: the two that are closest in time joined where they are close, else the smallest left out."""
    chain = fly_chain(cases.take(np.array([draft.question])), draft.unknowns[:, None], draft.burns)
    times, kicks = list(chain.times[:, 0]), list(chain.burns[:, :, 0])
    sizes = [float(np.sqrt((kick**2).sum())) for kick in kicks]
    gaps = np.diff(times)
    pair, idle = int(np.argmin(gaps)), int(np.argmin(sizes))
    if gaps[pair] < 4.0 * TOGETHER:
        times[pair] += float(gaps[pair]) * sizes[pair + 1] / (sizes[pair] + sizes[pair + 1])
        kicks[pair] = kicks[pair] + kicks[pair + 1]
        idle = pair + 1
    del times[idle], kicks[idle]
    return draft._replace(unknowns=np.concatenate([np.array(times), *kicks[:-1]]), burns=len(times))


def _solution(best: _Best, posed: _Posed, index: int, bound: float) -> FreeformSolution:
    cases = posed.cases.take(np.array([index]))
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
        linear_bound_m_s=bound * posed.speed,
        primer_excess=max(0.0, _peaks(best, cases, chain)[0].length - 1.0),
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


def _peaks(best: _Best, cases: Cases, chain: Chain) -> list[_Peak]:
    """Where the primer vector is longest on each arc from the start to the last burn, the longest first.

    A radius limit that binds adds its multiplier to the costate where its apsis is passed for the last time: a burn
    before that would move the apsis, too.
    """
    floor = bool((cases.floor > 0.0).any())
    ceiling = bool(np.isfinite(cases.ceiling).any())
    bounds = bounds_on(cases, chain, 0.0, floor=floor, ceiling=ceiling)
    position = -best.result.on_arrival[:, 0]
    velocity = -chain.burns[-1][:, 0] / math.sqrt(float((chain.burns[-1] ** 2).sum()))
    found = []
    coast = fly(cases.position, cases.velocity, chain.times[0])
    for index in range(len(chain.arcs), -1, -1):
        arc = coast if index == 0 else chain.arcs[index - 1]
        loads = [
            (-bound.sign * float(best.result.on_bounds[row, 0]), bound)
            for row, bound in enumerate(bounds)
            if bound.arc == index - 1
        ]
        for weight, bound in loads:
            position = position + weight * bound.held.by_end[:, 0]
            velocity = velocity + weight * bound.held.by_end_speed[:, 0]
        held = [
            Limit(weight, periapsis_held if bound.sign > 0.0 else apoapsis_held)
            for weight, bound in loads
            if bound.at_apsis
        ]
        primer = along_arc(arc, position, velocity, max(60, int(float(arc.time[0]) * 12)), held)
        length, begun = primer.length, 0.0 if index == 0 else float(chain.times[index - 1, 0])
        inner = np.flatnonzero((length[1:-1] >= length[:-2]) & (length[1:-1] >= length[2:])) + 1
        for top in (*inner, 0, len(length) - 1):
            unit = primer.vector[:, top] / length[top]
            found.append(_Peak(begun + float(primer.time[top]), float(length[top]), unit))
        back = pull_back(arc, position[:, None], velocity[:, None])
        position, velocity = back[0][:, 0], back[1][:, 0]
        for weight, bound in loads:
            position = position + weight * bound.held.by_start[:, 0]
            velocity = velocity + weight * bound.held.by_start_speed[:, 0]
    return sorted(found, key=lambda peak: -peak.length)
