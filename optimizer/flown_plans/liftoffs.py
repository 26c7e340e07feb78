"""When craft lift off as flown, so that what a site allows is kept by the moments that are printed.

Over an oblate body the moment of liftoff is corrected by the flight: by seconds to minutes, another amount for each
option. What a site allows - turnaround, ready, until, blackouts - holds for the corrected moments. Before an option was
flown its moment is foreseen: the drift of the planes by secular rates (`start_state.later`), and what the flight of the
option by the same way that drifts most like it has added to that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.burns import BurnModel
from ...models.sites import EDGE_S, open_at
from ..problem.finite_burns import engine_of
from ..problem.option_key import FlightKey, flight_key, same
from ..problem.options import F, Options
from ..problem.problem import Problem
from ..routes.registry import course
from ..trajectory.course import Course
from ..trajectory.differential_correction import IMPULSIVE, Case, Corrected, correct_each
from ..trajectory.start_state import later

Bool = NDArray[np.bool_]

UNSURE, UNSURE_SHARE, UNSURE_TIMES = 0.05, 0.03, 4.0
"""By what a moment foreseen may be off: the site's turn by so many times J2 (Re / R)^2; this share of the difference
in drift from the option that it is foreseen by; so many times the most that others of its way were foreseen wrong by.
Where that matters the option is flown."""

ROUGH, FLOWN_LEAST = 60.0, 4
"""The first of them for a way by which fewer than so many options were flown yet (measured: up to 40)."""


Corrections = dict[tuple[object, ...], Corrected | None]
"""Corrections by all that they depend on for one problem; None of a first guess that cannot be flown."""


class ToCorrect(NamedTuple):
    """Courses of one problem with their slots and engines, and what is known of its corrections already."""

    problem: Problem
    courses: dict[FlightKey, Course]
    slots: Mapping[FlightKey, int]
    engines: Mapping[FlightKey, BurnModel]
    known: Corrections

    def cases(self) -> dict[FlightKey, Case]:
        """What is corrected of each."""
        return {
            name: Case(
                itinerary=what.itinerary,
                ring=self.problem.ring,
                plane=what.plane,
                slot=self.slots[name] % self.problem.ring.slots,
                unknowns=what.unknowns,
                targets=what.targets,
                burns=self.engines[name],
                spin_rad_s=self.problem.scenario.body.spin_rad_s,
            )
            for name, what in self.courses.items()
            if what.unknowns
        }


def correct_courses(
    problem: Problem,
    courses: dict[FlightKey, Course],
    slots: Mapping[FlightKey, int],
    engines: Mapping[FlightKey, BurnModel],
    known: Corrections,
) -> dict[FlightKey, float]:
    """Correct all courses by their flight, in place; the slot error of each first guess, rad.

    Those whose first guess cannot be flown are taken out of the courses. What is ``known`` is not flown again, what is
    found is added to it.
    """
    return correct_together([ToCorrect(problem, courses, slots, engines, known)])[0]


def correct_together(asked: Sequence[ToCorrect]) -> list[dict[FlightKey, float]]:
    """The same for several problems that differ in where their ring stands, all in one batch."""
    cases = [one.cases() for one in asked]
    names = [{name: _all_of(case) for name, case in own.items()} for own in cases]
    new = [
        {key: own[name] for name, key in keys.items() if key not in one.known}
        for one, own, keys in zip(asked, cases, names, strict=True)
    ]
    made = iter(correct_each([case for own in new for case in own.values()], asked[0].problem.gravity))
    for one, own in zip(asked, new, strict=True):
        one.known.update((key, next(made)) for key in own)
    found: list[dict[FlightKey, float]] = []
    for one, keys in zip(asked, names, strict=True):
        errors = {}
        for name, key in keys.items():
            result = one.known[key]
            if result is None:
                del one.courses[name]
                continue
            errors[name] = result.first.slot_error_rad
            one.courses[name] = one.courses[name].corrected(result.itinerary)
        found.append(errors)
    return found


def _all_of(case: Case) -> tuple[object, ...]:
    """All that the correction of a case depends on, but for what all cases of a problem share."""
    start = case.itinerary
    state = (start.start_s, start.position.tobytes(), start.velocity.tobytes(), start.impulses, start.end_s)
    return (*state, start.surface, case.plane, case.slot, case.unknowns, case.targets, case.burns)


@dataclass(eq=False)
class Liftoffs:
    """The liftoffs of one problem's options as flown, foreseen where they were not flown yet.

    ``known`` are liftoffs as flown by flight; ``added`` by way the shift by drift of each that was flown, and what the
    flight added to it; ``wrong_s`` by way the most that one was foreseen wrong by; ``corrections`` those made for that.
    """

    problem: Problem
    known: dict[FlightKey, float] = field(default_factory=dict)
    added: dict[int, list[tuple[float, float]]] = field(default_factory=dict)
    wrong_s: dict[int, float] = field(default_factory=dict)
    corrections: Corrections = field(default_factory=dict)
    _last: tuple[Options, int, tuple[F, F]] | None = field(default=None, repr=False)

    @property
    def move(self) -> bool:
        """Whether the flight moves liftoffs at all."""
        problem = self.problem
        return problem.oblate and any(way.place is not None for way in problem.ways)

    def foreseen(self, options: Options) -> tuple[F, F]:
        """Liftoff of each option as flown or foreseen, and by how much it may be off, s; nan for a craft in space."""
        if self._last is not None and self._last[0] is options and self._last[1] == len(self.known):
            return self._last[2]
        moment, unsure = options.liftoff_s.copy(), np.zeros(len(options))
        body, ring = self.problem.scenario.body, self.problem.ring
        bulge = abs(body.j2) * (body.j2_radius_m / ring.radius_m) ** 2
        for index, own in self._by_way(options):
            way, rows = self.problem.ways[index], np.flatnonzero(own)
            turned_s = bulge / abs(way.place.relative_rate_rad_s) if way.place is not None else 0.0
            drifted = later(self.problem, way, options.take(rows))
            flown = np.array(sorted(self.added.get(index, [(0.0, 0.0)])))
            alike = flown[np.searchsorted(0.5 * (flown[1:, 0] + flown[:-1, 0]), drifted)]
            moment[rows] += drifted + alike[:, 1]
            doubt = UNSURE * turned_s + UNSURE_SHARE * np.abs(drifted - alike[:, 0])
            doubt += UNSURE_TIMES * self.wrong_s.get(index, 0.0)
            unsure[rows] = doubt if len(self.added.get(index, ())) >= FLOWN_LEAST else ROUGH * turned_s
        for name, liftoff_s in self.known.items():
            own = same(options, name.option)
            own = own if name.engine is None else own & (options.craft_class == name.engine)
            moment[own], unsure[own] = liftoff_s, 0.0
        # the same options are asked about several times in a row
        self._last = (options, len(self.known), (moment, unsure))
        return moment, unsure

    def may_bind(self, options: Options) -> bool:
        """Whether moving liftoffs decides which of them a pad allows together: two about a turnaround apart."""
        if not self.move or not len(options):
            return False
        moment, unsure = self.foreseen(options)
        moved = moment - options.liftoff_s
        for index, pad in enumerate(self.problem.scenario.pads):
            own = options.pad == index
            if pad.turnaround_s <= 0.0 or not own.any():
                continue
            spread = float(np.ptp(moved[own]) + 2.0 * unsure[own].max())
            passes = np.unique(options.liftoff_s[own])
            first = np.searchsorted(passes, passes + (pad.turnaround_s - spread), side="left")
            last = np.searchsorted(passes, passes + (pad.turnaround_s + spread), side="right")
            if np.any(last > np.maximum(first, np.arange(passes.size) + 1)):
                return True
        return False

    def allowed(self, options: Options) -> Bool:
        """Mask of the options that lift off, as flown or as may be, when their site is open and their craft ready.

        The catalogue has left out those whose pass itself is not allowed.
        """
        out = np.ones(len(options), dtype=np.bool_)
        by_way = self._by_way(options)
        if not by_way:
            return out
        moment, unsure = self.foreseen(options)
        ready = np.array([group.craft.ready_s for group in self.problem.classes])[options.craft_class]
        for index, own in by_way:
            pad = self.problem.scenario.pads[self.problem.ways[index].pad]
            ways = np.stack([moment[own], moment[own] - unsure[own], moment[own] + unsure[own]])
            out[own] = np.any(open_at(pad, ways) & (ways >= ready[own] - EDGE_S), axis=0)
        return out

    def look(self, options: Options) -> bool:
        """Fly those of a choice whose liftoff, as foreseen, may break what a site allows; whether any was flown."""
        if not self._by_way(options):
            return False
        moment, unsure = self.foreseen(options)
        found: set[int] = set()
        for index, pad in enumerate(self.problem.scenario.pads):
            here = sorted(np.flatnonzero(options.pad == index).tolist(), key=lambda row: moment[row])
            for row in here:
                ready = max(pad.ready_s, self.problem.classes[int(options.craft_class[row])].craft.ready_s)
                edges = np.array([ready, pad.until_s, *(end for span in pad.blackouts_s for end in span)])
                if np.any(np.abs(edges - moment[row]) < unsure[row]):
                    found.add(row)
            for early, late in pairwise(here):
                if moment[late] - moment[early] < pad.turnaround_s + unsure[early] + unsure[late]:
                    found |= {early, late}
        rows = sorted(row for row in found if unsure[row] > 0.0)
        self._fly(options, rows)
        return bool(rows)

    def flown(self, options: Options) -> F:
        """Liftoff of each option as flown, s, those flown that were not yet; nan for a craft in space."""
        rows = np.flatnonzero(np.nan_to_num(self.foreseen(options)[1]) > 0.0)
        self._fly(options, rows.tolist())
        return self.foreseen(options)[0]

    def _by_way(self, options: Options) -> list[tuple[int, Bool]]:
        """The rows of each way that liftoffs are moved on; carriers and drifts lift off at the pass itself."""
        if not self.move:
            return []
        moved = options.bundle < 0
        for rows, table in options.detailed():
            moved[rows] &= not table.at_pass
        masks = [
            (index, (options.way == index) & moved)
            for index, way in enumerate(self.problem.ways)
            if way.place is not None
        ]
        return [(index, own) for index, own in masks if own.any()]

    def _fly(self, options: Options, rows: Sequence[int]) -> None:
        problem = self.problem
        if not rows:
            return
        courses: dict[FlightKey, Course] = {}
        engines: dict[FlightKey, BurnModel] = {}
        where: dict[FlightKey, int] = {}
        for row in rows:
            name, engine = flight_key(problem, options, row), engine_of(problem, options, row)
            engines[name] = IMPULSIVE if engine is None else engine
            where[name] = row
            what = course(problem, options, row, engine is not None)
            if what is not None:
                courses[name] = what
        slots = {name: int(options.slot[row]) for name, row in where.items()}
        correct_courses(problem, courses, slots, engines, self.corrections)
        for name in where.keys() - courses.keys():
            # what cannot be flown is found out when it is chosen; its moment stays the one foreseen
            self.known[name] = float(options.liftoff_s[where[name]])
        for name, what in courses.items():
            row = where[name]
            index, liftoff_s = int(options.way[row]), float(options.liftoff_s[row])
            way = problem.ways[index]
            moved_s = what.moved_s(way, liftoff_s)
            drifted = float(later(problem, way, options.take(np.array([row])))[0])
            if index in self.added:
                foreseen = float(self.foreseen(options.take(np.array([row])))[0][0])
                wrong = abs(foreseen - liftoff_s - moved_s)
                self.wrong_s[index] = max(self.wrong_s.get(index, 0.0), wrong)
            self.known[name] = liftoff_s + moved_s
            self.added.setdefault(index, []).append((drifted, moved_s - drifted))
