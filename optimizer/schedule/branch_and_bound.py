"""Branch and bound over a schedule's relaxation, for remainders too large for one exact program.

A part of all plans is what is left when some columns are barred. Each part is bounded by the relaxation, which goes on
from where it stood (``column_generation.py``), and split where its solution is torn: of the columns that serve one
slot, or one craft that has no like, at most one is chosen, so either the early ones or the late ones may be barred.
The part with the least bound comes first; what cannot be split goes into an exact program. (Land and Doig 1960; splits
by rows: Ryan and Foster 1981.)
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

from ...models.deadline import past
from .column_generation import Relaxation
from .columns import Bool, F, I
from .integer_program import solve_exactly
from .presolve import Packed

PARTS_MAX = 4000
"""Parts examined before the answer is given as far as it is proved: a limit that does not depend on the machine."""
LARGEST = 5000
"""Columns of a part that cannot be split beyond which no exact program is tried."""
TORN = 1e-6
"""Shares this small do not tear a row."""
ROUNDED, ROUNDED_EVERY = 5, 10
"""The first few parts, and later one in so many, are rounded to a plan."""


@dataclass(frozen=True, kw_only=True)
class Branched:
    """The best plan ``found``, None if none, and its cost; a lower ``bound`` of every plan, inf if there is none of
    interest; how many ``parts`` were examined; the columns of the largest ``exact`` program."""

    found: I | None
    best: float
    bound: float
    parts: int
    exact: int


def branch(packed: Packed, *, best: float, tolerance: float, deadline_s: float | None) -> Branched:
    """Find the cheapest plan that costs less than ``best``, or prove that there is none.

    Args:
        packed: the problem.
        best: only cheaper plans are of interest; inf for any.
        tolerance: absolute; plans less than this better than another are not looked for.
        deadline_s: reading of ``time.monotonic`` at which to stop.
    """
    relaxation = Relaxation(packed)
    found: I | None = None
    parts, exact, stuck = 0, 0, np.inf
    heap: list[tuple[float, int, int, Bool]] = [(0.0, 0, 0, np.zeros(packed.cost.size, dtype=bool))]
    while heap and heap[0][0] < best - tolerance:
        if parts >= PARTS_MAX or past(deadline_s):
            break
        bound, depth, _, barred = heapq.heappop(heap)
        parts += 1
        relaxed = relaxation.solve(
            limit=best - tolerance,
            deadline_s=deadline_s,
            barred=barred,
            rounding=parts <= ROUNDED or parts % ROUNDED_EVERY == 0,
        )
        bound = max(bound, relaxed.bound)
        if relaxed.plan.size and packed.cost[relaxed.plan].sum() < best and packed.kept_by(relaxed.plan):
            found, best = relaxed.plan, float(packed.cost[relaxed.plan].sum())
        if bound >= best - tolerance or np.isinf(bound):
            continue
        halves = _halves(packed, relaxed.used, relaxed.share)
        if halves is None:
            ids = np.flatnonzero(np.isfinite(relaxed.reduced) & (relaxed.reduced <= best - relaxed.bound))
            if ids.size > LARGEST or past(deadline_s):
                stuck = min(stuck, bound)
                continue
            answer = solve_exactly(packed, ids, tolerance, deadline_s)
            exact = max(exact, ids.size)
            if answer.value.size and answer.objective < best:
                found, best = ids[answer.value > 0.5], answer.objective
            stuck = min(stuck, max(bound, answer.bound))
            continue
        barred = barred | (relaxed.reduced > best - relaxed.bound)
        for number, half in enumerate(halves):
            heapq.heappush(heap, (round(bound, 9), depth - 1, 2 * parts + number, barred | half))
    left = heap[0][0] if heap else np.inf
    bound = min(left, stuck, best if found is not None else np.inf)
    return Branched(found=found, best=best, bound=bound, parts=parts, exact=exact)


def _halves(packed: Packed, used: I, share: F) -> tuple[Bool, Bool] | None:
    """Two sets of columns of which no plan uses both, each used in part by the relaxation; None where there are none.

    Of the rows that allow one column only, the one that is torn most evenly between early and late liftoffs.
    """
    weight = np.zeros(packed.cost.size)
    weight[used] = share
    most, early, late = TORN, None, None
    for number in range(packed.count.size + packed.slots):
        if number < packed.count.size and packed.count[number] != 1:
            continue
        members = _serving(packed, number)
        members = members[np.argsort(packed.moment[members], kind="stable")]
        below = np.cumsum(weight[members])
        balance = np.minimum(below, below[-1] - below) if members.size else below
        if balance.max(initial=0.0) > most:
            cut = int(np.argmax(balance)) + 1
            most, early, late = float(balance[cut - 1]), members[:cut], members[cut:]
    if early is None or late is None:
        return _one_or_its_rivals(packed, weight)
    return _mask(packed, early), _mask(packed, late)


def _one_or_its_rivals(packed: Packed, weight: F) -> tuple[Bool, Bool] | None:
    """The largest column that is used in part, and the columns that no plan uses with it."""
    part = np.flatnonzero((weight > TORN) & (weight < 1.0 - TORN))
    for column in part[np.argsort(-weight[part], kind="stable")].tolist():
        keys = np.concatenate((packed.key[[column]], packed.more_key[packed.more_column == column]))
        rivals = [_serving(packed, packed.count.size + int(k) % packed.slots) for k in keys]
        rivals += [_serving(packed, int(k) // packed.slots) for k in keys if packed.count[int(k) // packed.slots] == 1]
        moment = int(packed.moment[column])
        if moment < packed.moments:
            near = (packed.moment >= packed.first[moment]) & (packed.moment < packed.last[moment])
            rivals.append(np.flatnonzero(near))
        for group in range(packed.group_start.size):
            if column in packed.members(group):
                rivals.append(packed.members(group))
        others = np.setdiff1d(np.concatenate(rivals), [column])
        if weight[others].sum() > TORN:
            return _mask(packed, np.array([column])), _mask(packed, others)
    return None


def _serving(packed: Packed, row: int) -> I:
    """Columns that serve a class, or, counted on from the classes, a slot."""
    classes, slots = packed.count.size, packed.slots
    if row < classes:
        own, more = packed.key // slots == row, packed.more_key // slots == row
    else:
        own, more = packed.key % slots == row - classes, packed.more_key % slots == row - classes
    own[packed.more_column[more]] = True
    return np.flatnonzero(own)


def _mask(packed: Packed, ids: I) -> Bool:
    mask = np.zeros(packed.cost.size, dtype=bool)
    mask[ids] = True
    return mask
