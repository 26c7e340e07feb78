"""Flights on the way to being polished: what a draft is, and how one flight is made into another.

Units and the order of the unknowns are those of ``burn_chain``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np

from ...models.apsis_sensitivity import apoapsis_held, periapsis_held
from ...models.arrays import Array
from ...models.kepler import fly, pull_back
from ...models.primer import Limit, along_arc
from .burn_chain import Cases, Chain, bounds_on, fly_chain
from .interior_point import Polished
from .question import Guess, Question

ADDED = 0.03  # size of a burn added where the primer is long, as a share of the cost
IDLE = 5e-3  # share of the cost below which a burn may be superfluous
TOGETHER = 0.05  # radians of ring angle within which two burns may be one


@dataclass(frozen=True, kw_only=True)
class Questions:
    """Questions, one for each allowed time, as the guesses and as the polishing take them.

    ``by_start`` are the places of those about one start and slot, their allowed times ascending.
    """

    each: tuple[Question, ...]
    cases: Cases
    by_start: tuple[range, ...]


def side_by_side(several: Sequence[Questions]) -> Questions:
    """Questions about several starts, of as many dimensions each."""
    first = np.cumsum([0, *(len(one.each) for one in several)]).tolist()
    cases = {
        part.name: np.concatenate([getattr(one.cases, part.name) for one in several], axis=-1) for part in fields(Cases)
    }
    return Questions(
        each=tuple(question for one in several for question in one.each),
        cases=Cases(**cases),
        by_start=tuple(
            range(at + times.start, at + times.stop)
            for at, one in zip(first, several, strict=False)
            for times in one.by_start
        ),
    )


@dataclass(frozen=True)
class Best:
    """A polished flight: its unknowns (n,), number of burns, cost, family of guesses, and how the polishing ended."""

    unknowns: Array
    burns: int
    cost: float
    family: str
    result: Polished


Bests = list["Best | None"]


class Draft(NamedTuple):
    """A flight to be polished: the question's index, the unknowns, the number of burns, the family."""

    question: int
    unknowns: Array
    burns: int
    family: str


def draft_of(guess: Guess, index: int, size: int) -> Draft:
    """A guess made in the ring plane as a draft in ``size`` dimensions."""
    kicks = np.zeros((len(guess.kicks), size))
    kicks[:, :2] = guess.kicks
    return Draft(index, np.concatenate([guess.times, kicks.ravel()]), len(guess.times), guess.family)


def moved_to(questions: Questions, best: Bests, burns: int, pairs: list[tuple[int, int]]) -> list[Draft]:
    """Flights for other allowed times: burns of the second half come later, or earlier, by the difference.

    Each burn keeps its parts along the axes of the state before it. ``pairs`` are the indices of the flight, of the
    given number of burns, and of the time that it is moved to.
    """
    flights = [best[source] for source, _ in pairs]
    sources, targets = (np.array(part, dtype=np.int64) for part in zip(*pairs, strict=True))
    case = questions.cases.take(sources)
    unknowns = np.stack([one.unknowns for one in flights if one is not None], axis=1)
    chain = fly_chain(case, unknowns, burns)
    before = [fly(case.position, case.velocity, chain.times[0]), *chain.arcs]
    allowed = questions.cases.allowed
    later = np.where(chain.times > 0.5 * allowed[sources], allowed[targets] - allowed[sources], 0.0)
    times = np.maximum.accumulate(np.maximum(chain.times + later, 0.0), axis=0)
    position, velocity, now, kicks = case.position, case.velocity, np.zeros(len(case)), []
    for number in range(burns - 1):
        local = np.einsum("ijb,jb->ib", local_axes(before[number].end, before[number].end_speed), chain.burns[number])
        arc = fly(position, velocity, times[number] - now)
        kick = np.einsum("ijb,ib->jb", local_axes(arc.end, arc.end_speed), local)
        kicks.append(kick)
        position, velocity, now = arc.end, arc.end_speed + kick, times[number]
    moved = np.concatenate([times, *kicks])
    return [
        Draft(int(target), moved[:, column], burns, one.family)
        for column, (target, one) in enumerate(zip(targets, flights, strict=True))
        if one is not None
    ]


def local_axes(position: Array, velocity: Array) -> Array:
    """Outward, along and, in three dimensions, cross unit vectors of states (d, B) as rows, (d, d, B)."""
    outward = position / np.sqrt((position**2).sum(axis=0))
    along = velocity - outward * (outward * velocity).sum(axis=0)
    along = along / np.sqrt((along**2).sum(axis=0))
    if len(position) == 2:
        return np.array([outward, along])
    return np.array([outward, along, np.cross(outward, along, axis=0)])


def tidied(cases: Cases, draft: Draft) -> Draft:
    """Drop burns of almost no size and join burns at almost one moment, down to two; it may then miss by a little."""
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


def with_added(index: int, one: Best, chain: Chain, peaks: list[Peak]) -> Draft:
    """A flight with small burns added where its primer is longest, along it; the chain is the flight's own."""
    times, kicks = chain.times[:, 0], chain.burns[:, :, 0]
    for peak in peaks:
        place = int(np.searchsorted(times, peak.time))
        times = np.insert(times, place, peak.time)
        kicks = np.insert(kicks, place, ADDED * one.cost * peak.direction, axis=0)
    return Draft(index, np.concatenate([times, kicks[:-1].ravel()]), len(times), one.family)


def parted(draft: Draft, chain: Chain, allowed: float, share: float) -> Draft:
    """A flight of two burns with each parted in two, the first half at once and the last at the end of the time.

    ``share`` of the time to spare lies between the halves; each turns with the ring as it is moved.
    """
    (first, last), kicks = chain.times[:, 0], chain.burns[:, :, 0]
    gap = share * (allowed - (last - first))
    times = np.array([0.0, gap, allowed - gap, allowed])
    halves = [_turned(0.5 * kicks[k // 2], times[k] - (first, last)[k // 2]) for k in range(3)]
    return draft._replace(unknowns=np.concatenate([times, *halves]), burns=4)


def _turned(vector: Array, angle: float) -> Array:
    """A vector turned about the ring's pole."""
    out = vector.copy()
    cos, sin = np.cos(angle), np.sin(angle)
    out[0], out[1] = cos * vector[0] - sin * vector[1], sin * vector[0] + cos * vector[1]
    return out


def without_least(cases: Cases, draft: Draft) -> Draft:
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


class Peak(NamedTuple):
    """Where the primer vector is longest: time, length, unit vector (d,)."""

    time: float
    length: float
    direction: Array


def peaks_of(best: Best, cases: Cases, chain: Chain) -> list[Peak]:
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
            found.append(Peak(begun + float(primer.time[top]), float(length[top]), unit))
        back = pull_back(arc, position[:, None], velocity[:, None])
        position, velocity = back[0][:, 0], back[1][:, 0]
        for weight, bound in loads:
            position = position + weight * bound.held.by_start[:, 0]
            velocity = velocity + weight * bound.held.by_start_speed[:, 0]
    return sorted(found, key=lambda peak: -peak.length)
