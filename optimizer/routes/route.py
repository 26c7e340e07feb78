"""What a route is: a name, the options it gives, and the course of one option.

A route is one file of this folder that ends in a `Route`, and one line in `registry.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ...models.launch import Ascent
from ..problem.options import F, I, Options
from ..problem.phasing import Phasings, Touch, Wanted, best_phasing, every_phasing
from ..problem.problem import Problem
from ..problem.restriction import NO_RESTRICTION, Restriction
from ..trajectory.course import Course


@dataclass(frozen=True, kw_only=True)
class Launches:
    """Liftoffs by one way up, each with the slot it is for.

    Args:
        way: which of the problem's ways up.
        liftoff_s, slot: pairs, (n,).
        touch: the arrival at the ring, and the limits on phasing there.
        wanted: which (k, m) are wanted; None for all.
        prune: whether only what no other (k, m) beats in delta-v and time is made.
        until_s: only those whose wait in a parking orbit is as long as this finish allows.
    """

    way: int
    liftoff_s: F
    slot: I
    touch: Touch
    wanted: Wanted | None = None
    prune: bool = True
    until_s: float | None = None

    def phasings(self, lead: F, wanted: Wanted | None = None) -> Phasings:
        """Choices of (k, m) for leads at the touch, rad, (n,); ``wanted`` in the place of the launches' own."""
        choose = best_phasing if self.prune else every_phasing
        return choose(self.touch, lead, wanted or self.wanted)


@dataclass(frozen=True, kw_only=True)
class Question:
    """What a route is asked for: its options in a problem, those that a restriction leaves.

    ``launches`` is None unless the route is asked liftoff by liftoff.
    """

    problem: Problem
    restriction: Restriction = NO_RESTRICTION
    launches: Launches | None = None

    @property
    def lifting(self) -> tuple[Ascent, Launches]:
        """The way up and its launches. Raises ValueError where the question has none."""
        if self.launches is None:
            raise ValueError("this route is asked liftoff by liftoff")
        return self.problem.ways[self.launches.way], self.launches

    def at(self, liftoff_s: F, slot: I, *, prune: bool) -> Question:
        """The same of other pairs of liftoff and slot."""
        _, launches = self.lifting
        return replace(self, launches=replace(launches, liftoff_s=liftoff_s, slot=slot, prune=prune))


CourseOf = Callable[[Options, int], Course | None]
"""The course of one option, by row; None where it cannot be flown."""

Finite = Callable[[Options, int], bool]
"""Whether the burns of an option take time."""


Together = Callable[[Problem, Sequence[Options], Finite], CourseOf]
"""Courses of several plans worked out at once: problem, plans, whether burns take time."""


@dataclass(frozen=True, kw_only=True)
class Route:
    """One way to a slot.

    Args:
        name: as files and restrictions have it; two routes of one name differ by their place only.
        words: what a craft does, and how, as in ("go", "straight to the ring").
        begins: what it is asked for: all options of craft in space (a drift also those of launched craft), options
            liftoff by liftoff, or carriers' loads.
        columns: the options, dominated ones too where the route says so; unmarked.
        course: what is flown for one of them: problem, options, row, whether burns take time.
        together: courses of several plans worked out at once, where that saves flights; None: one after another.
        lifts_off: which ways up it may follow.
        steps: into how many steps a wait is cut that may be of any length, by way and touch; 1 where there is none.
        may_serve: whether it may have options in a problem at all.
        arrives_by_way: whether an option costs at least the arrival in place by its way up.
        coasts: whether alike craft begin all of its options in the same state, without a burn before ``burn_s``.
        note: what a reader must know of its options in a problem; empty for nothing.
    """

    name: str
    words: tuple[str, str]
    begins: Literal["space", "liftoff", "carrier"]
    columns: Callable[[Question], Options]
    course: Callable[[Problem, Options, int, bool], Course | None]
    together: Together | None = None
    lifts_off: Callable[[Ascent], bool] = lambda _: False
    steps: Callable[[Ascent, Touch], int] = lambda _way, _touch: 1
    may_serve: Callable[[Problem], bool] = lambda _: True
    arrives_by_way: bool = True
    coasts: bool = False
    note: Callable[[Problem, Options], str] = lambda _problem, _options: ""


def by_itself(together: Together) -> Callable[[Problem, Options, int, bool], Course | None]:
    """The course of one option alone where those of several plans are worked out at once."""

    def course(problem: Problem, options: Options, row: int, finite: bool) -> Course | None:
        one = row_of(options, row)
        return together(problem, [one], lambda _options, _row: finite)(one, 0)

    return course


def row_of(options: Options, row: int) -> Options:
    """One row as options."""
    return options.take(np.array([row]))
