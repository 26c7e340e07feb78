"""The least of an aim over all phases of a ring: branch and bound on intervals of phase.

Over an interval each choice is replaced by what it comes to at least (``catalogue/phase_costs.py``), and the
assignment of craft to slots is solved on that. Between the phases at which a craft arrives in place, sums of costs
are bounded by chords: a least sum of straight lines is concave along the phase, so that it is least at an end. What the
bound lacks then falls with the square of the interval.

Nothing here knows of distances between craft or of what flights come to: it bounds from below, and names phases to try.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass

import numpy as np

from ...models.arrays import joined
from ...models.craft import propellant
from ...models.deadline import poll
from ...models.scenario import Aim
from ..catalogue.floors import least_from_ground, soonest_s
from ..catalogue.phase_choices import TWO_PI, PhaseChoices, level_phases, phase_choices
from ..catalogue.phase_costs import Bounds, bounds
from ..problem.options import F, I
from ..problem.problem import Problem
from ..problem.restriction import NO_RESTRICTION, Restriction

CELLS = 8
"""Where no craft arrives in place at any phase, so many intervals to begin with."""

NODES_MAX = 20_000
"""Most intervals that are examined."""

NARROW_RAD = 1e-10
"""An interval narrower than this is not divided."""

DONE_S = 1.0
"""Choices are left out of a search that finish later than they may by more than this at every phase."""

SEARCHES_FEW = 2
"""For no more searches than these it does not pay to look for rows that others beat in everything."""

BEATEN = 1e-9
"""Rows that another one beats by no more than this, m/s or s, count as alike."""

FORBIDDEN = 1e15
"""Stands for an infinite cost in an assignment."""


@dataclass(frozen=True, kw_only=True)
class Least:
    """The least value that was found, where, and what none gets below; infinite where no phase has any plan.

    ``tried`` are the phases that were worked out, the best first, each with its value.
    """

    phase_rad: float
    value: float
    bound: float
    tried: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class _Interval:
    first_rad: float
    last_rad: float
    rows: PhaseChoices
    cut_rad: float


class PhaseBounds:
    """Bounds on every plan of a problem at any phase of its ring."""

    def __init__(self, problem: Problem, restriction: Restriction = NO_RESTRICTION) -> None:
        self.problem = problem
        self.rows = phase_choices(problem, restriction)
        self.level = level_phases(problem)
        self._slots = problem.ring.slots * problem.ring.planes
        self._in_place = self.rows.take(self.rows.revolutions == 0)
        counts = [group.count for group in problem.classes]
        self._class = np.repeat(np.arange(len(counts)), counts)
        self._ground = np.array([group.start is None for group in problem.classes], dtype=bool)
        self._worth: dict[tuple[float, float], PhaseChoices] = {}
        self._searches = 0

    def least(self, aim: Aim, tolerance: float, *, finish_s: float = math.inf, most_m_s: float = math.inf) -> Least:
        """The least of an aim over all phases, known to within a tolerance in its unit.

        Args:
            tolerance: the search ends where no phase can be better by more.
            finish_s: every craft is in its slot by then.
            most_m_s: no craft in space burns more.

        Raises:
            OutOfTimeError: time ran out.
        """
        spacing = self.problem.ring.repeat_rad
        tried: dict[float, float] = {}
        heap: list[tuple[float, int, _Interval]] = []

        def at(phase: float, rows: PhaseChoices) -> float:
            if phase not in tried:
                tried[phase] = self._value(aim, rows, phase, finish_s, most_m_s)
            return tried[phase]

        def push(first: float, last: float, rows: PhaseChoices) -> _Interval | None:
            if last - first <= NARROW_RAD:
                return None
            bound, interval = self._bound(aim, rows, first, last, finish_s, most_m_s)
            if math.isfinite(bound):
                counted[1] += 1
                heapq.heappush(heap, (bound, counted[1], interval))
            return interval

        counted = [0, 0]
        self._searches += 1
        whole = self._done_by(self.rows, finish_s)
        ends = np.unique(np.concatenate([self.level, [0.0, spacing]]))
        if not self.level.size:
            ends = np.linspace(0.0, spacing, CELLS + 1)
        for first, last in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
            poll()
            interval = push(first, last, self._done_by(self._worth_in(first, last), finish_s))
            at(first, whole if interval is None else joined([interval.rows, self._in_place]))
        best = min(tried.values(), default=math.inf)
        while heap and heap[0][0] < best - tolerance and counted[0] < NODES_MAX:
            poll()
            _, _, interval = heapq.heappop(heap)
            counted[0] += 1
            best = min(best, at(interval.cut_rad, interval.rows))
            push(interval.first_rad, interval.cut_rad, interval.rows)
            push(interval.cut_rad, interval.last_rad, interval.rows)
        bound = min(best, heap[0][0] if heap else math.inf)
        ranked = sorted(((value, phase) for phase, value in tried.items() if math.isfinite(value)))
        if not ranked:
            return Least(phase_rad=math.nan, value=math.inf, bound=bound, tried=())
        value, phase = ranked[0]
        return Least(phase_rad=phase, value=value, bound=bound, tried=tuple((p, v) for v, p in ranked))

    def _worth_in(self, first: float, last: float) -> PhaseChoices:
        """The rows of an interval that a search begins with: all of them at first, later none that another one into the
        same slot beats in cost and finish at every phase. Whatever is asked, it leaves those out as well.
        """
        if self._searches <= SEARCHES_FEW:
            return self.rows
        if (first, last) not in self._worth:
            rows = self.rows
            found = bounds(self.problem, rows, first, last, level=False)
            fine = np.isfinite(found.cost_m_s)
            fine[fine] = ~_beaten(rows.pair[fine], found.take(fine))
            self._worth[first, last] = rows.take(fine)
        return self._worth[first, last]

    def _done_by(self, rows: PhaseChoices, finish_s: float) -> PhaseChoices:
        """The rows that may finish by then at some phase."""
        ring = self.problem.ring
        if not math.isfinite(finish_s):
            return rows
        turns = np.maximum(rows.wait_turns - ring.repeat_rad / TWO_PI, np.maximum(rows.low_turns, 0.0))
        least = np.where(rows.revolutions > 0, turns, 0.0) * ring.period_s
        return rows.take(rows.burn_s + least <= finish_s + DONE_S)

    def _value(self, aim: Aim, rows: PhaseChoices, phase: float, finish_s: float, most_m_s: float) -> float:
        """What the best plan comes to at one phase, were no craft in anybody's way."""
        found = bounds(self.problem, rows, phase, phase, level=self._is_level(phase), finish_s=finish_s)
        cost = np.where(found.cost_m_s <= most_m_s + 1e-9, found.cost_m_s, np.inf)
        if aim == "finish":
            return self._worst(np.where(np.isfinite(cost), found.finish_s, np.inf), rows, floor=self._soonest())[0]
        if aim == "worst_delta_v":
            return self._worst(cost, rows)[0]
        return self._sum(self._weighed(aim, rows, cost), rows, aim)[0]

    def _is_level(self, phase: float) -> bool:
        return bool(np.any(np.abs(self.level - phase) <= NARROW_RAD))

    def _bound(
        self, aim: Aim, rows: PhaseChoices, first: float, last: float, finish_s: float, most_m_s: float
    ) -> tuple[float, _Interval]:
        """What no plan at any phase within an open interval gets below, and where to divide it."""
        found = bounds(self.problem, rows, first, last, level=False, finish_s=finish_s)
        fine = found.cost_m_s <= most_m_s + 1e-9
        fine &= np.isfinite(found.cost_m_s)
        keep = fine & self._unbeaten(rows, found, aim)
        rows, found = rows.take(keep), found.take(keep)
        if aim == "finish":
            bound, chosen = self._worst(found.finish_s, rows, floor=self._soonest())
        elif aim == "worst_delta_v":
            bound, chosen = self._worst(found.cost_m_s, rows)
        else:
            bound, chosen = self._sum(self._weighed(aim, rows, found.cost_m_s), rows, aim)
            ends = []
            for line in (found.at_first_m_s, found.at_last_m_s):
                lower = np.minimum(found.at_first_m_s, found.at_last_m_s)
                upper = np.maximum(found.at_first_m_s, found.at_last_m_s)
                ends.append(self._sum(self._weighed(aim, rows, line, lower, upper), rows, aim))
            if min(end[0] for end in ends) > bound:
                bound, chosen = min(ends, key=lambda end: end[0])
        return bound, _Interval(
            first_rad=first, last_rad=last, rows=rows, cut_rad=_cut(found.edge_rad[chosen], first, last)
        )

    def _unbeaten(self, rows: PhaseChoices, found: Bounds, aim: Aim) -> np.ndarray:
        """Mask of rows that none into the same slot beats at every phase of the interval."""
        least, most = (found.finish_s, found.latest_s) if aim == "finish" else (found.cost_m_s, found.most_m_s)
        if not len(rows):
            return np.zeros(0, dtype=bool)
        table = np.full(len(self.problem.classes) * self._slots, np.inf)
        np.minimum.at(table, rows.pair, most)
        return np.asarray(least <= table[rows.pair] + BEATEN)

    def _weighed(self, aim: Aim, rows: PhaseChoices, cost: F, lower: F | None = None, upper: F | None = None) -> F:
        """Costs as the aim counts them: delta-v, or propellant.

        Of a straight line between ``lower`` and ``upper`` the propellant may sag under its chord where the load is what
        the plan needs: by an eighth of the square of the way times the second derivative.
        """
        if aim != "propellant":
            return cost
        out = np.full(cost.size, np.inf)
        index = rows.pair // self._slots
        for number, group in enumerate(self.problem.classes):
            own = np.flatnonzero((index == number) & np.isfinite(cost))
            out[own] = propellant(group.craft, np.maximum(cost[own], 0.0))
            craft = group.craft
            if lower is None or upper is None or craft.load != "least" or craft.isp_s is None:
                continue
            velocity = 9.80665 * craft.isp_s
            heaviest = propellant(craft, upper[own]) + (craft.dry_mass_kg or 0.0) * math.exp(
                (craft.reserve_m_s or 0.0) / velocity
            )
            out[own] -= 0.125 * (upper[own] - lower[own]) ** 2 * heaviest / velocity**2
        return out

    def _table(self, value: F, rows: PhaseChoices) -> tuple[F, I]:
        """The least value for each (class, slot), and the row that has it."""
        slots = self._slots
        table = np.full(len(self.problem.classes) * slots, np.inf)
        which = np.full(table.size, -1, dtype=np.int64)
        if value.size:
            order = np.lexsort((value, rows.pair))
            pair, first = np.unique(rows.pair[order], return_index=True)
            table[pair], which[pair] = value[order][first], order[first]
        return table.reshape(-1, slots), which.reshape(-1, slots)

    def _sum(self, value: F, rows: PhaseChoices, aim: Aim) -> tuple[float, I]:
        """The least sum over all craft, each in a separate slot, and the rows that make it."""
        from scipy.optimize import linear_sum_assignment

        table, which = self._table(value, rows)
        for number in np.flatnonzero(self._ground).tolist():
            table[number] = self._ground_least(number, aim)
        matrix = np.minimum(table[self._class], FORBIDDEN)
        craft, slot = linear_sum_assignment(matrix)
        total = math.fsum(matrix[craft, slot].tolist())
        if total >= FORBIDDEN or craft.size < self._class.size:
            return math.inf, np.zeros(0, dtype=np.int64)
        used = which[self._class[craft], slot]
        return total, used[used >= 0]

    def _worst(self, value: F, rows: PhaseChoices, *, floor: float = 0.0) -> tuple[float, I]:
        """The least greatest value over all craft, each in a separate slot, and the rows that make it."""
        from scipy.sparse import csr_matrix
        from scipy.sparse.csgraph import maximum_bipartite_matching

        table, which = self._table(value, rows)
        for number in np.flatnonzero(self._ground).tolist():
            table[number] = floor if floor else self._ground_least(number, "delta_v")
        matrix = table[self._class]
        steps = np.unique(matrix[np.isfinite(matrix)])
        low, high, best = 0, steps.size, np.zeros(0, dtype=np.int64)
        while low < high:
            middle = (low + high) // 2
            match = maximum_bipartite_matching(csr_matrix(matrix <= steps[middle]), perm_type="column").astype(np.int64)
            if np.all(match >= 0):
                high, best = middle, match.astype(np.int64)
            else:
                low = middle + 1
        if low == steps.size:
            return math.inf, np.zeros(0, dtype=np.int64)
        used = which[self._class, best]
        return max(float(steps[low]), floor), used[used >= 0]

    def _soonest(self) -> float:
        return soonest_s(self.problem)

    def _ground_least(self, number: int, aim: Aim) -> float:
        group = self.problem.classes[number]
        least = least_from_ground(self.problem)
        return float(propellant(group.craft, np.array([least]))[0]) if aim == "propellant" else least


def _beaten(pair: I, found: Bounds) -> np.ndarray:
    """Mask of rows, (n,), sorted by pair, that some row of the same pair beats in cost and in finish all along."""
    beaten = np.zeros(pair.size, dtype=bool)
    starts = np.flatnonzero(np.diff(pair, prepend=-1))
    for begin, end in zip(starts.tolist(), [*starts[1:].tolist(), pair.size], strict=True):
        own = slice(begin, end)
        order = np.argsort(found.latest_s[own], kind="stable")
        latest = found.latest_s[own][order]
        least = np.concatenate([[np.inf], np.minimum.accumulate(found.most_m_s[own][order])])
        # of the rows that finish sooner than this one may, the one that costs least at most
        sooner = np.searchsorted(latest, found.finish_s[own] - BEATEN, side="left")
        beaten[own] = least[sooner] + BEATEN < found.cost_m_s[own]
    return beaten


def _cut(edges: F, first: float, last: float) -> float:
    """Where to divide an interval: at an end of a choice that its bound used, else in the middle."""
    width = last - first
    inside = edges[np.isfinite(edges)]
    inside = inside[(inside > first + 0.01 * width) & (inside < last - 0.01 * width)]
    if inside.size:
        return float(inside[np.argmin(np.abs(inside - 0.5 * (first + last)))])
    return 0.5 * (first + last)
