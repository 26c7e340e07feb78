"""Choosing one option for each craft: the schedule over a catalogue, with meetings added when a choice hits one."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ...models import deadline
from ...models.deadline import OutOfTimeError
from ..catalogue.catalogue import Catalogue, at_finish, further
from ..catalogue.from_ground import from_pad
from ..catalogue.sliding import earliest
from ..flown_plans.liftoffs import Liftoffs
from ..problem.close_approaches import passes_slots
from ..problem.liftoff_times import grid_step_s, with_turnarounds
from ..problem.liftoff_windows import windows
from ..problem.option_key import OptionKey, key, same
from ..problem.options import F, Options, columns, join, summed
from ..problem.problem import Problem
from ..problem.starts import with_classes
from ..schedule.columns import Columns, ScheduleProblem
from ..schedule.lexicographic import Objective, solve_lexicographic
from ..schedule.one_aim import Solved
from ..schedule.presolve import Side
from .cuts import Cuts
from .flyer import Flyer
from .meeting_edges import clear_of
from .objectives import Chosen, Order, objective, ties_of
from .ties import AIMS

ROUNDS_MAX = 400
"""Most meetings resolved for one choice; each adds a row or new moments, so running out would be a fault."""

ZOOM, ZOOM_LAST = 8, 1e-3
"""Around a liftoff picked from a grid, moments this many times closer are tried, down to this part of a step."""

SLIDES_MAX = 40
"""Most times that the launches of a choice are slid together, each time to a sooner finish."""


Ties = Literal["all", "order", "none"]
"""What decides between plans alike in the aims asked for: the other aims and then low slots and early finishes; the
latter alone; nothing."""


class Selection:
    """A catalogue to choose from; remembers the meetings that were found, so that each is found once.

    ``left_s`` returns the seconds left for choosing; asked again and again, it may drop to 0 at any moment.
    """

    def __init__(self, made: Catalogue, left_s: Callable[[], float] = deadline.left_s) -> None:
        self.made = made
        self.left_s = left_s
        self._rows: list[tuple[OptionKey, int, float]] = []
        self._known: set[tuple[OptionKey, int]] = set()
        self._more: list[Options] = []
        self.liftoffs = Liftoffs(problem=made.problem)
        self.flyer = Flyer(made.problem, self.liftoffs.corrections)
        self.cuts = Cuts(self.flyer)

    def best(
        self,
        aims: Sequence[Order],
        *,
        finish_s: float = math.inf,
        slots: frozenset[int] | None = None,
        catalogue: Catalogue | None = None,
        delta_v_m_s: float = math.inf,
        ties: Ties = "all",
        flown: bool = True,
        as_flown: bool = False,
        rounds_max: int = ROUNDS_MAX,
    ) -> Chosen | None:
        """The best plan by the aims in order, then by low slots first and early finishes; None where there is none.

        Args:
            aims: in order of importance; of plans that print alike (`ties.py`) the next decides, then those not named.
            finish_s: latest finish of every craft.
            slots: only these are bound by ``finish_s``; those of them that are free must all be filled.
            catalogue: another catalogue of the same problem (some options left out on purpose).
            delta_v_m_s: only plans with a smaller total are of interest.
            ties: how plans alike in the named aims are distinguished.
            flown: whether the plan is flown, and others are chosen until one keeps its limits in the flight.
            as_flown: whether delta-v counts as flown, and where it was not as the least that it may be.
            rounds_max: most times that it is chosen again, since craft meet, a limit breaks or a later liftoff serves.

        Raises:
            OutOfTimeError: no plan was found in the time, the flights or the rounds that this may take.
        """
        made = self.made if catalogue is None else catalogue
        options = self._within(made, self._listed(made, finish_s, slots), finish_s, slots)
        zoom, tried = 1.0, set[float]()
        slid: Chosen | None = None
        timed = "last_liftoff" not in aims and (ties == "all" or "finish" in aims or "served" in aims)
        for _ in range(rounds_max):
            options = _whole_where(options, self.liftoffs.allowed(options))
            deadline.poll()
            chosen = self._solve(options, aims, delta_v_m_s, ties, slots, as_flown=as_flown)
            if chosen is None:
                return None
            if slid is not None and not chosen.proved and chosen.finish_s > slid.finish_s:
                chosen, timed = slid, False  # the search ended before it found again what it had
            if self.liftoffs.look(chosen.options):
                continue  # what a site allows is asked again, of the moments as they are flown
            more = self._meetings(made, chosen.options)
            if more is None and zoom >= ZOOM_LAST:
                more = self._closer_moments(made, chosen.options, zoom)
                zoom /= ZOOM
            if more is None and timed:
                more = self._slid(made, chosen.options, slots, tried)
                slid = chosen
            if more is None and flown and self._breaks(made, chosen.options):
                options = options.take(self.cuts.allowed(options))
                more = self.cuts.instead(made)
            if more is None:
                return chosen
            options = join([options, self._within(made, more, finish_s, slots)]) if len(more) else options
        if self.cuts.rejected or rounds_max < ROUNDS_MAX:
            raise OutOfTimeError
        raise RuntimeError("meetings could not be resolved: a fault of ours")

    def _listed(self, made: Catalogue, finish_s: float, slots: frozenset[int] | None) -> Options:
        """The options of a catalogue with what was found since; with those that finish just at a threshold."""
        parts = [made.options, *(self._more if made is self.made else ())]
        if math.isfinite(finish_s) and made.moments_s:
            parts.append(at_finish(made, finish_s, later_too=slots is not None))
        parts = [part for part in (*parts, self.cuts.instead(made)) if len(part)]
        return parts[0] if len(parts) == 1 else join(parts)

    def _breaks(self, made: Catalogue, options: Options) -> bool:
        """Whether a choice breaks a limit in its flight, which may take the time kept for flying; it is then cut off.

        Raises:
            OutOfTimeError: as much was flown for this as may be.
        """
        with deadline.flying():
            cut = self.cuts.cut(made, options)
        if cut and self.cuts.spent:
            raise OutOfTimeError
        return cut

    def cut_off(self, plans: Sequence[Chosen]) -> list[Chosen]:
        """Fly plans in one batch, and cut off those that break a limit in the flight; which they are."""
        self.flyer.fly([chosen.options for chosen in plans])
        found = []
        for chosen in plans:
            deadline.poll()
            if self.cuts.cut(self.made, chosen.options):
                found.append(chosen)
        return found

    def nearest(self, aims: Sequence[Order]) -> Chosen | None:
        """The plan that oversteps its limits by the least, of what was flown; where none keeps them."""
        options = join([self.made.options, *self._more, self.cuts.instead(self.made)])
        return self._solve(options, aims, math.inf, "none", None, over=self.cuts.breach(options))

    def _within(self, made: Catalogue, options: Options, finish_s: float, slots: frozenset[int] | None) -> Options:
        """The options that a threshold leaves, and that were not found to break a limit in the flight."""
        kept = options.whole(_in_time(options, finish_s, slots)) & self.cuts.allowed(options)
        options = options if kept.all() else options.take(kept)
        return options if made.wanted is None else options.take(made.wanted(options))

    def _closer_moments(self, made: Catalogue, options: Options, zoom: float) -> Options | None:
        """Liftoffs close around those that were picked from a grid (see ``catalogue/liftoff_times.py``); None where
        none was.
        """
        problem = made.problem
        moments: dict[int, list[F]] = {}
        for row in range(len(options)):
            way = problem.ways[options.way[row]] if options.way[row] >= 0 else None
            if (
                way is None
                or way.parking
                or options.bundle[row] >= 0
                or options.speed_m_s[row] >= way.arrival_speed_m_s - 1e-9
            ):
                continue
            step = grid_step_s(problem.touch(way.arrival_speed_m_s), way) * int(options.revolutions[row]) * zoom
            near = options.liftoff_s[row] + step * np.linspace(-1.0, 1.0, 2 * ZOOM + 1)
            moments.setdefault(way.pad, []).append(near)
        if not moments:
            return None
        parts = []
        for pad, near in moments.items():
            earliest, latest = windows(problem)[pad]
            turnaround = problem.scenario.pads[pad].turnaround_s
            times = with_turnarounds(np.concatenate(near), turnaround, made.chains[pad], earliest, latest)
            parts.append(further(made, pad, times))
        return join(parts)

    def _slid(
        self, made: Catalogue, options: Options, slots: frozenset[int] | None, tried: set[float]
    ) -> Options | None:
        """Options at the liftoffs with which a choice finishes sooner at no more cost; None where none does.

        ``tried`` are the finishes that were looked for already: each is looked for once.
        """
        problem = made.problem
        counted = np.ones(len(options), dtype=bool) if slots is None else np.isin(options.slot, sorted(slots))
        found = earliest(problem, options, windows(problem), counted)
        if found is None or found[0] in tried or len(tried) >= SLIDES_MAX:
            return None
        finish, liftoffs = found
        tried.add(finish)
        parts = [further(made, pad, times) for pad, times in liftoffs.items()]
        if slots is None:
            parts += [further(made, pad, times, finish_s=finish, finishing=True) for pad, times in liftoffs.items()]
        return join(parts)

    def _solve(
        self,
        options: Options,
        aims: Sequence[Order],
        delta_v_m_s: float,
        ties: Ties,
        slots: frozenset[int] | None,
        *,
        as_flown: bool = False,
        over: F | None = None,
    ) -> Chosen | None:
        problem = self.made.problem
        if not problem.classes:
            if slots is not None and slots & frozenset(problem.free_slots):
                return None
            return Chosen(options=options.take(np.zeros(0, dtype=np.int64)), solved=_nothing_to_do(), columns=0)
        if not len(options):
            return None
        schedule = ScheduleProblem(
            columns=self._columns(options),
            class_count=np.array([c.count for c in problem.classes]),
            slots=problem.ring.slots * problem.ring.planes,
            turnaround_s=self.cuts.turnarounds_s(),
            conflicts=() if over is not None else self._conflicts(options),
        )
        ordered = [*aims, *(a for a in AIMS if ties == "all" and a not in aims)]
        worth = replace(options, delta_v_m_s=self.flyer.as_flown(options)) if as_flown else options
        objectives = [objective(self.made, worth, aim, slots) for aim in ordered]
        if over is not None:
            objectives.insert(0, Objective(value=summed(options, over)))
        # of what prints alike, what is best to the last digit
        objectives += [
            replace(objectives[i], alike=None) for i in range(min(len(objectives), 1 if ties == "none" else 2))
        ]
        if ties != "none":
            objectives += [Objective(value=v, tie=True) for v in ties_of(options)]
        bar = delta_v_m_s if ordered[0] == "delta_v" else math.inf
        left = self.left_s()
        solved = solve_lexicographic(
            schedule,
            objectives,
            upper_bound=bar,
            side=(*_filled(problem, options, slots), *(self.cuts.side(options) if over is None else ())),
            time_limit_s=max(left, 0.0) if math.isfinite(left) else None,
            stopped=lambda: self.left_s() <= 0.0,
            confirm=ties == "all",
        )
        if solved.status == "infeasible":
            return None
        if solved.status == "failed":
            raise OutOfTimeError
        rows = np.isin(options.column, np.array(solved.chosen))
        return Chosen(options=options.take(rows), solved=solved, columns=options.first_row.size)

    def _columns(self, options: Options) -> Columns:
        """The options as the schedule sees them; where it decides what a pad allows, with liftoffs as flown."""
        made = columns(options)
        if not self.liftoffs.may_bind(options):
            return made
        foreseen = self.liftoffs.foreseen(options)[0][options.first_row]
        return replace(made, liftoff_s=np.where(options.operator[options.first_row] >= 0, made.liftoff_s, foreseen))

    def _conflicts(self, options: Options) -> tuple[tuple[int, ...], ...]:
        """For each meeting found so far: the option, and all craft in place there before it passes."""
        found = []
        for name, slot, until in (*self._rows, *self.cuts.meetings):
            own = np.nonzero(same(options, name))[0]
            if own.size:
                there = np.nonzero((options.slot == slot) & (options.finish_s <= until))[0]
                # alike craft may fly the same option: they share the slot, so at most one of them is chosen anyway
                both = np.union1d(options.column[own], options.column[there])
                found.append(tuple(both.tolist()))
        return tuple(found)

    def _meetings(self, made: Catalogue, options: Options) -> Options | None:
        """None where no craft meets another; else remember the meetings, and give further options to go round them."""
        problem = made.problem
        separation = problem.scenario.limits.separation_m
        arrival = problem.arrival_speed(options)
        on_ring = problem.starts_on_ring(options.craft_class)
        taken = options.slot
        beside = with_classes(problem)[options.craft_class][:, options.craft_class]
        beside &= (options.way < 0)[:, None] & (options.way < 0)[None, :]
        # who is dropped by the same carrier was screened together with its load
        together = (options.bundle[:, None] == options.bundle[None, :]) & (options.bundle >= 0)[:, None]
        found = False
        more = []
        for row in range(len(options)):
            one = options.take(np.array([row]))
            others = (taken != one.slot[0]) & ~together[row]
            passed = passes_slots(
                one,
                problem.ring,
                arrival[row : row + 1],
                on_ring[row : row + 1],
                taken[others],
                separation,
                beside[row, others],
            )
            for slot, until in passed.items():
                (other,) = np.nonzero(taken == slot)
                if options.finish_s[other[0]] > until:
                    continue
                found = True
                name = key(options, row)
                if (name, slot) in self._known:
                    raise RuntimeError("a meeting came back: a fault of ours")
                self._known.add((name, slot))
                self._rows.append((name, slot, until))
                if one.pad[0] >= 0 and one.bundle[0] < 0:
                    more.append(self._round(made, one, slot))
        if not found:
            return None
        extra = join(more)
        self._more.append(extra)
        return extra

    def _round(self, made: Catalogue, one: Options, slot: int) -> Options:
        """For a launched craft that meets someone: all its other choices then, and liftoffs just clear of the meeting.

        Turnarounds to its neighbors are kept by shifting them likewise.
        """
        problem = made.problem
        pad, liftoff = int(one.pad[0]), float(one.liftoff_s[0])
        turnaround = problem.scenario.pads[pad].turnaround_s
        edges = np.append(liftoff, clear_of(problem, one, slot))
        earliest, latest = windows(problem)[pad]
        moments = with_turnarounds(edges, turnaround, made.chains[pad], earliest, latest)
        # what the one that meets another beats has the same slot and liftoff; elsewhere nothing was left out for it
        here = (int(one.slot[0]),)
        others = from_pad(problem, pad, np.array([liftoff]), made.restriction, prune=False, only_slots=here)[0]
        return join([others, further(made, pad, moments)])


def _whole_where(options: Options, allowed: NDArray[np.bool_]) -> Options:
    """The options all of whose rows are allowed."""
    kept = options.whole(allowed)
    return options if kept.all() else options.take(kept)


def _nothing_to_do() -> Solved:
    return Solved(status="optimal", chosen=(), objective=0.0, bound=0.0, gap=0.0, values=(0.0,))


def _in_time(options: Options, finish_s: float, slots: frozenset[int] | None) -> NDArray[np.bool_]:
    """Mask of the options that a threshold leaves: of every slot, or of those slots only."""
    early = options.finish_s <= finish_s + 1e-6
    return early if slots is None else early | ~np.isin(options.slot, sorted(slots))


def _filled(problem: Problem, options: Options, slots: frozenset[int] | None) -> Side:
    """The row that has each free one of those slots filled: no fewer options in them than there are of them."""
    if slots is None:
        return ()
    wanted = sorted(slots & frozenset(problem.free_slots))
    return ((summed(options, np.where(np.isin(options.slot, wanted), -1.0, 0.0)), -float(len(wanted))),)
