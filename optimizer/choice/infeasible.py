"""Why no plan keeps the limits: which limit binds, and a value of it that serves.

A value is named only where it was tried: put into the scenario, planned, flown, and all limits kept. Where limits bind
is found by halving over the catalogue, which is quick; from there values are tried, looser and looser until one serves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from ...models import deadline
from ...models.deadline import OutOfTimeError
from ...models.readouts import plain
from ...models.scenario import Scenario
from ..catalogue.catalogue import catalogue
from ..limits.loosening import Loosening
from ..limits.registry import loosenings
from ..outcome import Bind, Infeasible
from ..problem.problem import Problem
from ..problem.ring_phase import problems
from ..problem.starts import nearest_start
from .flyer import counting_turns
from .no_launch import blocked_sites
from .ring_phase import some_phase_serves
from .selection import Selection

Progress = Callable[[str], None]
Serves = Callable[[Scenario], bool]
"""Whether planning a scenario ends in a plan that was flown and keeps all limits."""

LOOKS_MAX, TRIES_MAX, TURNS_MAX = 240, 40, 15000.0
"""So many values are looked up in the catalogue and so many flown in search of some that serve, until so much was flown
for these (`Flyer.work_turns`): on every machine the same ones."""

FEW_PAIRS = 10
"""With more pairs of limits than these it is looked whether all of them together would do before they are tried."""

OUTER_S = 30.0
"""An outer stop to all of that, in s, for values that take long to look up; the answer then says that it was cut."""

SOON_TURNS = (16.0, 64.0)
"""Plans with carriers that are done within so many turns of the ring are looked for first."""

FURTHER = (0.01, 0.05, 0.25)
"""Shares of the way to the value that serves by the catalogue, past which values are tried; then the loosest."""

HALVINGS = 4
"""So often the way between a value that does not serve and one that does is halved."""

CATALOGUE_SHARE = 0.5
"""Of the time that is left: what looking for values in the catalogue may take before they are flown."""

MOST_NAMED = 5
"""So many slots are named that no craft reaches."""

CLOSER_S = 5.0
"""With less time left than this the value that was found is left as it is."""


def feasible(scenario: Scenario) -> bool:
    """Whether any plan keeps all limits by the catalogue. Raises OutOfTimeError.

    Where there are carriers plans that end soon are looked for first: loads up to a late finish are many.
    """
    posed, finish_s = problems(scenario), scenario.limits.finish_within_s
    if not any(_affordable(problem) for problem in posed):
        return False
    soon = [turns * posed[0].ring.period_s for turns in SOON_TURNS if posed[0].aboard]
    return any(
        _any_plan(replace(scenario, limits=replace(scenario.limits, finish_within_s=limit_s)))
        for limit_s in (*(one for one in soon if one < finish_s), finish_s)
    )


def _any_plan(scenario: Scenario) -> bool:
    posed = problems(scenario)
    anywhere = some_phase_serves(posed)
    if anywhere is not None:
        return anywhere
    return any(
        _affordable(problem) and Selection(catalogue(problem)).best(("finish",), ties="none", flown=False) is not None
        for problem in posed
    )


def _affordable(problem: Problem) -> bool:
    """Whether every craft on the ground can pay for arriving in place, the least that any launch costs."""
    least = min(
        (w.entry_delta_v_m_s + problem.touch(w.arrival_speed_m_s).level_cost for w in problem.ways), default=math.inf
    )
    return all(c.start is not None or c.delta_v_allowed_m_s >= least - 1e-9 for c in problem.classes)


def diagnose(scenario: Scenario, serves: Serves, progress: Progress = lambda _: None) -> Infeasible:
    """The limits that bind, each with a value that serves; in pairs where no single one would do.

    Args:
        serves: tries a value.

    Raises:
        EndedError: the whole search was ended by a limit of the run; its own end, after so many tries, is an answer.
    """
    blocked = blocked_sites(scenario)
    items = loosenings(scenario) if blocked is None else list(blocked.items)
    reason = near_start_text(scenario) if blocked is None else blocked.reason
    search = _Search(serves=serves, progress=progress)
    try:
        with deadline.ending(deadline.Deadline(limit_s=OUTER_S).left_s):
            alone, cut = search.each(scenario, items)
            if alone:
                said = "; ".join(one for one in (reason, search.ended_early() if cut else "") if one)
                return Infeasible(binds=tuple(alone), together=False, reason=said)
            if blocked is None and not cut and _many_pairs(scenario, items) and not search.together(scenario, items):
                return Infeasible(binds=(), together=False, reason=reason or _tried(scenario, items))
            several = search.pair(scenario, items, blocked=blocked is not None)
            if not several and blocked is None and not cut:
                several = search.several(scenario, items)
            if several:
                return Infeasible(binds=several, together=True, reason=reason)
            if cut:
                raise OutOfTimeError
    except OutOfTimeError:
        if deadline.over():
            raise
        said = "; ".join(one for one in (reason, _unreached(scenario), search.ended_early()) if one)
        return Infeasible(binds=(), together=False, reason=said)
    if blocked is not None:
        binds = tuple(Bind(limit=item.key, value=item.now, serves=None) for item in items)
        return Infeasible(binds=binds, together=False, reason=reason)
    return Infeasible(binds=(), together=False, reason=reason or _tried(scenario, items))


def _many_pairs(scenario: Scenario, items: Sequence[Loosening]) -> bool:
    """Whether there are many pairs of limits with which every craft can pay for arriving in place."""
    loosest = [(item, item.value(item.count)) for item in items]
    able = sum(
        any(_affordable(problem) for problem in problems(two.apply(one.apply(scenario, first), second)))
        for (one, first), (two, second) in combinations(loosest, 2)
    )
    return able > FEW_PAIRS


def _falling(scenario: Scenario) -> str:
    """The first craft that comes down into the ground or the air before its first touch; empty for none."""
    top_m = scenario.body.radius_m + scenario.body.atmosphere_top_m
    for group in problems(scenario)[0].classes:
        if group.start is not None and group.start.passed_other and group.start.other_m < top_m:
            return group.names[0]
    return ""


def near_start_text(scenario: Scenario) -> str:
    """Who starts inside the separation of a craft that stays, and how near; empty where no craft does."""
    found = nearest_start(problems(scenario)[0])
    if found is None:
        return ""
    limit_km = plain(scenario.limits.separation_m / 1e3).removesuffix(".0")
    return (
        f"{found.craft} starts {plain(found.distance_m / 1e3)} km from {found.kept}, which is in place, and "
        f"limits.separation keeps {limit_km} km from the epoch on"
    )


def _tried(scenario: Scenario, items: Sequence[Loosening]) -> str:
    """What stands in the way, and what was tried."""
    keys = ", ".join(item.key for item in items)
    tried = f"; loosening these, alone or two at a time, gave no plan either: {keys}" if items else ""
    falling = _falling(scenario)
    falls = f"{falling} falls below the lowest altitude allowed before it touches the ring" if falling else ""
    return (falls or _unreached(scenario) or "the routes do not lead every craft into a separate slot") + tried


def _unreached(scenario: Scenario) -> str:
    """Which free slots no craft reaches by the catalogue, where that leaves fewer than there are craft."""
    problem = problems(scenario)[0]
    reached = set(catalogue(problem).options.slot.tolist())
    wanted = sum(group.count for group in problem.classes)
    if len(reached) >= wanted:
        return ""
    left = [divmod(slot, problem.ring.slots) for slot in problem.free_slots if slot not in reached]
    names = [f"plane {plane} slot {slot}" if problem.ring.planes > 1 else f"slot {slot}" for plane, slot in left]
    shown = ", ".join(names[:MOST_NAMED]) + (f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else "")
    return (
        f"slots are wanted for {wanted} craft, but phasing, nodal drift and launches within the limits lead into "
        f"{len(reached) or 'none'} of the free ones, and not into {shown}"
    )


@dataclass(kw_only=True)
class _Search:
    """Looks for values that serve, so many times and as long as there is time.

    ``looks`` counts values looked up in the catalogue, ``tries`` those that were flown.
    """

    serves: Serves
    progress: Progress
    looks: int = 0
    tries: int = 0
    turns: float = 0.0

    def ended_early(self) -> str:
        """In words, that values were left out."""
        return (
            f"the search for values that serve ended early, after {self.looks} of them were looked up among the "
            f"options and {self.tries} flown: others may serve"
        )

    def _feasible(self, scenario: Scenario) -> bool:
        """Whether any plan keeps all limits by the catalogue. Raises OutOfTimeError."""
        if self.looks >= LOOKS_MAX:
            raise OutOfTimeError
        self.looks += 1
        return feasible(scenario)

    def together(self, scenario: Scenario, items: Sequence[Loosening]) -> bool:
        """Whether there is a plan by the catalogue with all limits at their loosest: else none serves."""
        for item in items:
            scenario = item.apply(scenario, item.value(item.count))
        self._step("no plan; trying all limits at their loosest")
        return self._feasible(scenario)

    def each(self, scenario: Scenario, items: Sequence[Loosening]) -> tuple[list[Bind], bool]:
        """Single limits, each with a value that serves, in the order given; and whether time ran out for any.

        Those that have to give way by the least are flown first, and each gets its share of the time.
        """
        by_catalogue: list[tuple[float, int, int]] = []
        cut = False
        try:
            with deadline.searching(deadline.share(CATALOGUE_SHARE)):
                for number, item in enumerate(items):
                    self._step(f"no plan; trying {item.key}")
                    if self._feasible(item.apply(scenario, item.value(item.count))):
                        steps = self._nearest(scenario, item)
                        by_catalogue.append((steps / item.count, number, steps))
        except OutOfTimeError:
            cut = True
        found: dict[int, tuple[int, int]] = {}
        for tried, (_, number, steps) in enumerate(sorted(by_catalogue)):
            try:
                with deadline.ending(deadline.share(1.0 / (len(by_catalogue) - tried))):
                    between = self._served(scenario, items[number], steps)
            except OutOfTimeError:
                cut = True
                continue
            if between is not None:
                found[number] = between
        binds = []
        for number in sorted(found):
            item = items[number]
            serves = item.value(self._closer(scenario, item, *found[number]))
            binds.append(Bind(limit=item.key, value=item.now, serves=serves))
        return binds, cut

    def pair(self, scenario: Scenario, items: Sequence[Loosening], *, blocked: bool) -> tuple[Bind, ...]:
        """Two limits with values that serve together, none where no pair was found.

        Args:
            blocked: whether the first of them keeps a site on the ground; what comes second is then any other limit.
        """
        for number, first in enumerate(items):
            # what keeps a site on the ground gives way by as little as geometry asks; else as far as it can
            for steps in dict.fromkeys((first.first, first.count) if blocked else (first.count,)):
                wide = first.apply(scenario, first.value(steps))
                still = blocked_sites(wide) if blocked else None
                others = loosenings(wide) if blocked else items[number + 1 :]
                # where the site may not launch yet, what else keeps it on the ground comes first
                for second in others if still is None else still.items:
                    self._step(f"no plan; trying {first.key} with {second.key}")
                    loosest = second.value(second.count)
                    if self._feasible(second.apply(wide, loosest)):
                        near = blocked and steps == first.first
                        one = steps if near else self._nearest(second.apply(scenario, loosest), first)
                        found = self._second(scenario, first, one, second)
                        if found:
                            return found
        return ()

    def _second(self, scenario: Scenario, first: Loosening, steps: int, second: Loosening) -> tuple[Bind, ...]:
        """With one limit so many steps looser, the value of another that serves; none where none does."""
        one = first.value(steps)
        here = first.apply(scenario, one)
        between = self._served(here, second, self._nearest(here, second))
        if between is None:
            return ()
        two = second.value(self._closer(here, second, *between))
        return (
            Bind(limit=first.key, value=first.now, serves=one),
            Bind(limit=second.key, value=second.now, serves=two),
        )

    def several(self, scenario: Scenario, items: Sequence[Loosening]) -> tuple[Bind, ...]:
        """The limits of which none may be kept, with values that serve together; none where all of them do not.

        All are loosened; one after another is taken back where there is a plan without it (a deletion filter:
        Chinneck and Dravnieks 1991), and those that are left are brought as near as they may.
        """
        steps = {item.key: item.count for item in items}

        def with_steps(steps: dict[str, int]) -> Scenario:
            looser = scenario
            for item in items:
                looser = item.apply(looser, item.value(steps[item.key])) if item.key in steps else looser
            return looser

        if not self.together(scenario, items):
            return ()
        for item in items:
            self._step(f"no plan; trying all limits at their loosest but {item.key}")
            others = {key: count for key, count in steps.items() if key != item.key}
            if self._feasible(with_steps(others)):
                steps = others
        needed = [item for item in items if item.key in steps]
        if not needed:
            return ()
        *before, last = needed
        for item in before:
            others = {key: count for key, count in steps.items() if key != item.key}
            # a little beyond, for what a flight asks more: only the last is moved on where the flight breaks a limit
            near = self._nearest(with_steps(others), item)
            steps[item.key] = min(near + 1 + math.ceil(FURTHER[0] * near), item.count)
        here = with_steps({item.key: steps[item.key] for item in before})
        between = self._served(here, last, self._nearest(here, last))
        if between is None:
            return ()
        steps[last.key] = self._closer(here, last, *between)
        return tuple(Bind(limit=item.key, value=item.now, serves=item.value(steps[item.key])) for item in needed)

    def _step(self, what: str) -> None:
        deadline.poll()
        self.progress(what)

    def _nearest(self, scenario: Scenario, item: Loosening) -> int:
        """Steps to the closest value that serves by the catalogue, by halving; the loosest is known to."""
        low, high = item.first - 1, item.count
        # stride out first: the answer is usually near, and looser limits cost more to look at
        stride = 1
        while low + stride < high and not self._feasible(item.apply(scenario, item.value(low + stride))):
            low, stride = low + stride, stride * 4
        high = min(high, low + stride)
        while high - low > 1:
            middle = (low + high) // 2
            if self._feasible(item.apply(scenario, item.value(middle))):
                high = middle
            else:
                low = middle
        return high

    def _served(self, scenario: Scenario, item: Loosening, steps: int) -> tuple[int, int] | None:
        """From some steps on, the last ones that do not serve in the flight and the first that do; None for none."""
        away = max(steps - item.first, 0) + item.first
        offsets = {steps, steps + 1, *(steps + math.ceil(share * away) for share in FURTHER), item.count}
        failed = steps - 1
        ordered = sorted({min(offset, item.count) for offset in offsets})
        for number, one in enumerate(ordered):
            # what only just serves by the catalogue may take long to be found wanting
            with deadline.ending(deadline.share(1.0 / (len(ordered) - number))):
                serves = self._tried(scenario, item, one)
            if serves:
                return failed, one
            failed = one
        return None

    def _closer(self, scenario: Scenario, item: Loosening, failed: int, served: int) -> int:
        """Steps that serve, nearer to those that do not."""
        for number in range(HALVINGS):
            middle = (failed + served) // 2
            if middle <= failed or deadline.left_s() < CLOSER_S:
                break
            with deadline.ending(deadline.share(1.0 / (HALVINGS - number))):
                serves = self._tried(scenario, item, middle)
            if serves:
                served = middle
            else:
                failed = middle
        return served

    def _tried(self, scenario: Scenario, item: Loosening, steps: int) -> bool:
        self._step(f"no plan; trying {item.key}, flown")
        if self.tries >= TRIES_MAX or self.turns > TURNS_MAX:
            raise OutOfTimeError
        self.tries += 1
        with counting_turns() as flown:
            try:
                return self.serves(item.apply(scenario, item.value(steps)))
            finally:
                self.turns += flown[0]
