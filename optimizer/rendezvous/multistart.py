"""The search for the time-limited optimum: guesses, polishing, burns added where the primer says so, neighbors."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable

import numpy as np

from ...models.arrays import Array
from ...models.deadline import poll
from .barrier import Schedule
from .burn_chain import fly_chain
from .candidates import (
    Best,
    Bests,
    Draft,
    Questions,
    draft_of,
    moved_to,
    parted,
    peaks_of,
    tidied,
    with_added,
    without_least,
)
from .initial_guesses import along_limit, guesses, lambert_arcs, via_points
from .interior_point import SAME, Polished, polish
from .question import Guess, Question
from .tangent_guesses import tangents

# from a first guess; from a guess of two burns; from a flight that is nearly one; from one at another time; and to the
# last digit
ROUGH = Schedule(iterations=40, barrier_end=1e-5)
PAIRS = Schedule(iterations=20, barrier_end=1e-5)
AGAIN = Schedule(iterations=30, barrier=1e-3, barrier_end=1e-5, burn=1e-2, circle=1e-3, margin=1e-4)
NEIGHBORS = Schedule(iterations=24, barrier=3e-3, barrier_end=1e-5)
FINE = Schedule(iterations=16, barrier=1e-5, barrier_end=1e-9, burn=1e-3, circle=1e-5, circle_end=1e-7, margin=1e-7)
ARRIVED = 1e-9  # distance from the slot, ring radii, within which a flight has arrived
KEPT = 1e-7  # breach of a radius limit, ring radii, that counts as none
NEAR = 1e-4  # the same of a flight that is worth polishing on
MUCH = 0.95  # share of the cost known below which a second flight is polished in reserve
WORTH = 1.6  # guesses of two burns dearer than so many times the cheapest are not polished
EXCESS = 1e-4  # of the primer, above which another burn is tried
ROUNDS = 3  # of adding burns
BINDS = 1e-3  # multiplier of a radius limit, circular speeds for each ring radius, from which it binds
CHALLENGE = 1e-4  # share by which a first guess must be cheaper than a flight found to be tried against it
NEARLY, FEW = 1.3, 6  # the same for guesses that arrive roughly, and how many of them are tried
AT_FIRST = 10  # guesses of four burns polished for a question: the best flight was never seen to come of the eighth
SPARE, PARTED = 0.3, (0.45, 0.7)  # time to spare, rad of ring motion, for burns to be parted, and by what share of it
SWEEPS = 2  # passes over all times from their neighbors' flights
ANCHOR_EVERY, ANCHORS_LEAST = 6, 6  # of the allowed times that are solved from first guesses

Tried = dict[tuple[int, int], Best | None]
"""The flight of a question, by its place, that was tried last at another one."""


def solve(questions: Questions, burns_max: int) -> Bests:
    """The best flight found for each allowed time, None where none is; later times never cost more.

    Guesses of two burns come first, then those of three and four, each polished against what is known already; burns
    are added where the primer asks for them. Of many times some are solved so, the rest from their neighbors' flights.
    What is asked about several starts goes side by side and does not mix.
    """
    count = len(questions.each)
    best: Bests = [None] * count
    anchors = [index for times in questions.by_start for index in _anchors(times)]
    _improve(questions, best, _guessed(questions, anchors, _pairs), PAIRS)
    if burns_max >= 3:
        _improve(questions, best, _guessed(questions, anchors, via_points), ROUGH)
    if burns_max >= 4:
        rough = _cheapest(questions, _guessed(questions, anchors, guesses), AT_FIRST)
        _improve(questions, best, rough, ROUGH)
        _improve(questions, best, _guessed(questions, anchors, along_limit), AGAIN)
        _improve(questions, best, _parted(questions, best), ROUGH)
    for _ in range(ROUNDS):
        if not _improve(questions, best, _with_more_burns(questions, best, burns_max), AGAIN, rivals=False):
            break
    if count > len(anchors):
        tried: Tried = {}
        for _ in range(SWEEPS):
            _improve(questions, best, _from_neighbors(questions, best, tried), NEIGHBORS)
        rest = [index for index in range(count) if index not in anchors]
        better = _improve(questions, best, _challengers(questions, best, rest, burns_max), ROUGH)
        if burns_max >= 4:
            better |= _improve(questions, best, _parted(questions, best), ROUGH, rivals=False)
        if better:
            _improve(questions, best, _from_neighbors(questions, best, tried), NEIGHBORS)
    for times in questions.by_start:
        for index in times[1:]:
            earlier, one = best[index - 1], best[index]
            if earlier is not None and (one is None or earlier.cost < one.cost):
                best[index] = earlier
    return best


def _anchors(times: range) -> list[int]:
    """Which of the times asked about one start are solved from first guesses."""
    wanted = min(len(times), max(ANCHORS_LEAST, -(-len(times) // ANCHOR_EVERY)))
    return [times[place] for place in sorted({round(x) for x in np.linspace(0, len(times) - 1, wanted)})]


def _from_neighbors(questions: Questions, best: Bests, tried: Tried) -> list[Draft]:
    """Drafts for every time from the flights of the nearest solved times of the same start on either side.

    A flight that was ``tried`` at a time before is left out: it would be polished to the same end. What is tried now is
    added.
    """
    pairs: list[tuple[int, int]] = []
    for times in questions.by_start:
        solved = [index for index in times if best[index] is not None]
        for index in times:
            place = bisect_left(solved, index)
            nearest = {*solved[max(place - 1, 0) : place], *solved[place : place + 2]} - {index}
            pairs += [(source, index) for source in sorted(nearest, key=lambda other: abs(other - index))[:2]]
    pairs = [pair for pair in pairs if tried.get(pair) is not best[pair[0]]]
    tried.update({pair: best[pair[0]] for pair in pairs})
    drafts = []
    for burns in sorted({one.burns for one in best if one is not None}):
        some = [(source, target) for source, target in pairs if (one := best[source]) and one.burns == burns]
        drafts += moved_to(questions, best, burns, some) if some else []
    return drafts


def _challengers(questions: Questions, best: Bests, indices: list[int], burns_max: int) -> list[Draft]:
    """First guesses that are cheaper as they stand, or nearly, than what their neighbors' flights led to.

    Those of four burns arrive only roughly: the cheapest few of each question are tried.
    """
    drafts = []
    rough = _guessed(questions, indices, guesses) if burns_max >= 4 else []
    bars = {index: math.inf if (one := best[index]) is None else one.cost for index in indices}
    for index in indices:
        question = questions.each[index]
        found = tangents(question) + lambert_arcs(question)
        bar = bars[index] * (1.0 - CHALLENGE)
        drafts += [draft_of(guess, index, questions.cases.size) for guess in found if guess.cost < bar]
    below = {index: bar * NEARLY for index, bar in bars.items()}
    return drafts + _cheapest(questions, rough, FEW, below)


def _cheapest(
    questions: Questions, drafts: list[Draft], most: int, below: dict[int, float] | None = None
) -> list[Draft]:
    """Those drafts of each question that cost least as they stand, up to a number, and less than a bar of each."""
    ranked: dict[int, list[tuple[float, int]]] = {}
    for burns in sorted({draft.burns for draft in drafts}):
        chosen = [i for i, draft in enumerate(drafts) if draft.burns == burns]
        cases = questions.cases.take(np.array([drafts[i].question for i in chosen]))
        cost = fly_chain(cases, np.stack([drafts[i].unknowns for i in chosen], axis=1), burns).cost
        for i, each in zip(chosen, cost.tolist(), strict=True):
            if below is None or each < below[drafts[i].question]:
                ranked.setdefault(drafts[i].question, []).append((each, i))
    return [drafts[i] for few in ranked.values() for _, i in sorted(few)[:most]]


def _parted(questions: Questions, best: Bests) -> list[Draft]:
    """Flights of two burns, or nearly, with time to spare, each burn parted in two: better ones of four lie beside."""
    drafts = []
    for index, one in enumerate(best):
        if one is None:
            continue
        simple = tidied(questions.cases, Draft(index, one.unknowns, one.burns, one.family))
        case = questions.cases.take(np.array([index]))
        allowed = float(case.allowed[0])
        if simple.burns == 2 and allowed - float(simple.unknowns[1] - simple.unknowns[0]) > SPARE:
            chain = fly_chain(case, simple.unknowns[:, None], 2)
            drafts += [parted(simple, chain, allowed, share) for share in PARTED]
    return drafts


def _pairs(question: Question) -> list[Guess]:
    """Guesses of two burns, those left out that are far dearer than others and keep no limits."""
    found = tangents(question) + lambert_arcs(question)
    cheapest = min((guess.cost for guess in found), default=math.inf)
    return [guess for guess in found if guess.cost <= WORTH * cheapest or guess.keeps]


def _guessed(questions: Questions, indices: list[int], family: Callable[[Question], list[Guess]]) -> list[Draft]:
    """Drafts of one family of guesses at some questions."""
    drafts = []
    for index in indices:
        poll()
        drafts += [draft_of(guess, index, questions.cases.size) for guess in family(questions.each[index])]
    return drafts


def _polish_all(questions: Questions, drafts: list[Draft], schedule: Schedule, known: Array | None) -> list[Polished]:
    """Polish drafts side by side, those of one number of burns in one batch; one result each, in their order.

    With ``known`` the drafts of one question are rivals.
    """
    results: list[Polished | None] = [None] * len(drafts)
    for burns in sorted({draft.burns for draft in drafts}):
        chosen = [i for i, draft in enumerate(drafts) if draft.burns == burns]
        index = np.array([drafts[i].question for i in chosen])
        unknowns = np.ascontiguousarray(np.stack([drafts[i].unknowns for i in chosen], axis=1))
        rivals = None if known is None else index
        together = polish(questions.cases.take(index), unknowns, burns, schedule, rivals, known)
        for column, i in enumerate(chosen):
            results[i] = _column(together, column)
    return [result for result in results if result is not None]


def _improve(
    questions: Questions, best: Bests, drafts: list[Draft], schedule: Schedule, *, rivals: bool = True
) -> bool:
    """Polish drafts and put each question's best one into ``best`` where it is better. Return whether any was."""
    if not drafts:
        return False
    known = np.array([math.inf if one is None else one.cost for one in best])
    rough = _polish_all(questions, drafts, schedule, known if rivals else None)
    chosen: dict[int, list[tuple[float, int]]] = {}
    for i, (draft, result) in enumerate(zip(drafts, rough, strict=True)):
        sound = result.miss[0] < 1e-4 and result.shortfall[0] < 1e-3
        if sound and result.cost[0] < known[draft.question] * (1.0 - SAME):
            chosen.setdefault(draft.question, []).append((float(result.cost[0]), i))
    finalists = []
    for question, ranked in chosen.items():
        # a second one in reserve where much is at stake
        for _, i in sorted(ranked)[: 2 if min(ranked)[0] < known[question] * MUCH else 1]:
            finalists.append(drafts[i]._replace(unknowns=rough[i].unknowns[:, 0]))
    return _finish(questions, best, finalists)


def _finish(questions: Questions, best: Bests, drafts: list[Draft]) -> bool:
    """Polish nearly polished drafts to the end, superfluous burns dropped where that costs nothing."""
    if not drafts:
        return False
    simpler = [tidied(questions.cases, draft) for draft in drafts]
    fine = _polish_all(questions, simpler, FINE, None)
    again = []
    improved = False
    for draft, tidy, result in zip(drafts, simpler, fine, strict=True):
        if tidy.burns < draft.burns:
            chain = fly_chain(questions.cases.take(np.array([draft.question])), draft.unknowns[:, None], draft.burns)
            if not (_sound(result) and result.cost[0] <= float(chain.cost[0]) * (1.0 + 1e-5)):
                again.append(draft)
                continue
        improved |= _keep(best, tidy, result)
    for draft, result in zip(again, _polish_all(questions, again, FINE, None), strict=True):
        improved |= _keep(best, draft, result)
    # those that ended a hair beyond a limit go on from there, unless as good a flight has been found
    near = [
        draft._replace(unknowns=result.unknowns[:, 0])
        for draft, result in zip(simpler, fine, strict=True)
        if not _sound(result)
        and max(result.miss[0], result.shortfall[0]) < NEAR
        and ((one := best[draft.question]) is None or result.cost[0] < one.cost * (1.0 - SAME))
    ]
    for draft, result in zip(near, _polish_all(questions, near, FINE, None), strict=True):
        improved |= _keep(best, draft, result)
    return improved


def _keep(best: Bests, draft: Draft, result: Polished) -> bool:
    old = best[draft.question]
    if not _sound(result) or (old is not None and result.cost[0] >= old.cost):
        return False
    best[draft.question] = Best(
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


def _with_more_burns(questions: Questions, best: Bests, burns_max: int) -> list[Draft]:
    """Drafts with burns added where the primer is longest, one or as many as are allowed, where that promises much.

    Where all burns are used already, one is added all the same, the flight polished, and its least burn taken out.
    """
    drafts, crowded = [], []
    for index, one in enumerate(best):
        if one is None or one.burns < 2:
            continue
        case = questions.cases.take(np.array([index]))
        chain = fly_chain(case, one.unknowns[:, None], one.burns)
        peaks = [peak for peak in peaks_of(one, case, chain) if peak.length > 1.0 + EXCESS]
        if not peaks:
            continue
        if one.burns < burns_max:
            counts = sorted({1, min(len(peaks), burns_max - one.burns)})
            drafts += [with_added(index, one, chain, peaks[:count]) for count in counts]
        elif one.result.on_bounds.max(initial=0.0) < BINDS:
            # along a limit the primer promises too much
            crowded.append(with_added(index, one, chain, peaks[:1]))
    for draft, result in zip(crowded, _polish_all(questions, crowded, AGAIN, None), strict=True):
        if result.miss[0] < 1e-4:
            drafts.append(without_least(questions.cases, draft._replace(unknowns=result.unknowns[:, 0])))
    return drafts
