"""Plans that break a limit in their flight are cut off, so that the choice goes on without them.

What the catalogue cannot see is found by flying what was chosen. An option that breaks a limit by its own flight is
banned, with all whose craft would coast on the same orbit longer where it breaks before its first burn; one that comes
too near to a craft in place conflicts with all that are there as early; liftoffs that
the flight moves too near to one another are planned farther apart; any other combination that breaks a limit is
excluded as such. Where an option is banned, those that were left out of the catalogue because it beats them come back.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..catalogue.catalogue import Catalogue, from_space
from ..catalogue.from_ground import from_pad
from ..limits import apoapsis_max, between_craft, clearance, separation
from ..outcome import Broken, Plan
from ..problem.option_key import OptionKey, flight_key, key, same
from ..problem.options import Options, empty, join, undominated
from ..routes.registry import coasts
from ..routes.route import Question
from ..schedule.presolve import Side
from .flyer import Flyer

WORK_MAX_TURNS = 2000.0
"""What may be flown to get round limits that are broken in the flight, in turns of the ring (see `Flyer`): seconds."""

WORK_LAST_TURNS = 5.0 * WORK_MAX_TURNS
"""The same where no plan that keeps its limits was flown yet, and there would be no answer at all."""

SCREENED_MAX = 16
"""So many options of a place are flown at once, where one after another breaks a limit."""

Place = tuple[int, int, float | None]
"""Craft class, slot and liftoff (None in space) at which an option was banned."""


class _Astray(NamedTuple):
    """Craft of a class that break a limit on the orbit they are on, unless they burn before a moment.

    ``over``: by how much, in shares of the limit.
    """

    craft_class: int
    route: int
    burn_s: float
    over: float

    def rows(self, options: Options) -> NDArray[np.bool_]:
        """Mask of the options that burn first then or later."""
        own = (options.craft_class == self.craft_class) & (options.route == self.route)
        return np.asarray(own & (options.burn_s >= self.burn_s))


class Cuts:
    """What was found to break limits in the flight, for one problem."""

    def __init__(self, flyer: Flyer) -> None:
        self.flyer = flyer
        self.rejected: list[Plan] = []
        self.meetings: list[tuple[OptionKey, int, float]] = []
        self._banned: dict[tuple[OptionKey, int], None] = {}
        self._places: dict[Place, None] = {}
        self._astray: list[_Astray] = []
        self._apart_s: dict[int, float] = {}
        self._apart: list[tuple[frozenset[tuple[OptionKey, int]], int]] = []
        self._work_turns = 0.0
        self._kept = False
        self._pools: tuple[Catalogue, Options, dict[Place, Options]] | None = None

    def __bool__(self) -> bool:
        return bool(self.rejected)

    def allowed(self, options: Options) -> NDArray[np.bool_]:
        """Mask of the options that are not banned."""
        keep = np.ones(len(options), dtype=bool)
        for name, index in self._banned:
            keep &= ~(same(options, name) & (options.craft_class == index))
        for one in self._astray:
            keep &= ~one.rows(options)
        return options.whole(keep)

    def breach(self, options: Options) -> NDArray[np.float64]:
        """How far each option oversteps its limits by its own flight, in shares of them; 0 where nothing is known."""
        out = np.zeros(len(options))
        for one in self._astray:
            out[one.rows(options)] = one.over
        for (name, index), broken in self.flyer.judged_alone.items():
            out[same(options, name) & (options.craft_class == index)] = sum(overstepped(one) for one in broken)
        return out

    def side(self, options: Options) -> Side:
        """Rows that exclude the combinations which break a limit as a whole."""
        rows = []
        for names, chosen in self._apart:
            own = np.zeros(len(options), dtype=bool)
            for name, index in names:
                own |= same(options, name) & (options.craft_class == index)
            whole = options.whole(own)[options.first_row] if len(options) else own
            rows.append((np.where(whole, 1.0, 0.0), float(chosen - 1)))
        return tuple(rows)

    def instead(self, made: Catalogue) -> Options:
        """For each place at which an option was banned: all options there, those that others beat too.

        Where all were banned that burn late: the best of those that burn sooner.
        """
        found = [self._pool(made, place) for place in self._places]
        sooner = {(one.craft_class, slot, None) for one in self._astray for slot in self.flyer.problem.free_slots}
        for place in sorted(sooner - self._places.keys(), key=lambda place: place[:2]):
            pool = self._pool(made, place)
            left = pool.take(self.allowed(pool))
            found.append(left.take(undominated(left)))
        return join(found) if found else empty()

    def cut(self, made: Catalogue, options: Options) -> bool:
        """Judge a choice by its flight, and cut it off where it breaks a limit; whether it did."""
        before = self.flyer.work_turns
        self.flyer.fly([options])
        if any(self.flyer.fails(options, row) for row in range(len(options))):
            self._work_turns += self.flyer.work_turns - before + len(options)
            return self._ban(made, options)
        plan = self.flyer.plan(options)
        if not plan.broken:
            if not self._kept:
                # what it took to find a plan at all is not missing where others are sought
                self._kept, self._work_turns = True, 0.0
            return False
        self._work_turns += self.flyer.work_turns - before + len(options)
        self.rejected.append(plan)
        if not self._ban(made, options) and not self._part(options, plan):
            self._apart.append((self.flyer.names(options), options.first_row.size))
        return True

    @property
    def spent(self) -> bool:
        """Whether as much was flown for this as may be."""
        return self._work_turns > (WORK_MAX_TURNS if self._kept else WORK_LAST_TURNS)

    def _ban(self, made: Catalogue, options: Options) -> bool:
        """Ban the options that break a limit by themselves, and all for the same craft and slot that do the like."""
        found = False
        for row in range(len(options)):
            if not self.flyer.fails(options, row) and not self.flyer.broken(options, row):
                continue
            found = True
            self._banned[key(options, row), int(options.craft_class[row])] = None
            if options.bundle[row] >= 0:
                continue
            self._note_astray(options, row)
            place = _place(options, row)
            self._places[place] = None
            self._screen(self._pool(made, place))
        return found

    def _note_astray(self, options: Options, row: int) -> None:
        """Ban all options of a craft in space that wait as long, where one breaks a limit before its first burn."""
        name, index = flight_key(self.flyer.problem, options, row), int(options.craft_class[row])
        course, legs = self.flyer.flights.courses.get(name), self.flyer.flights.legs.get(name)
        if not coasts(options, row) or course is None or not legs or name.engine is not None:
            return
        burn_s, scenario = float(options.burn_s[row]), self.flyer.problem.scenario
        burns = course.itinerary.impulses
        if not burns or abs(burns[0].time_s - burn_s) > 1e-6 or any(one.part == "time" for one in course.unknowns):
            return
        over = 0.0
        for limit, value in (
            (clearance.LIMIT, legs[0].lowest_m - clearance.top_m(scenario)),
            (apoapsis_max.LIMIT, legs[0].highest_m - scenario.body.radius_m),
        ):
            if not limit.kept(scenario, value):
                over += overstepped(Broken(craft="", limit=limit.key, value=value, allowed=limit.allowed(scenario)))
        if over > 0.0:
            self._astray.append(_Astray(index, int(options.route[row]), burn_s, over))

    def _screen(self, pool: Options) -> None:
        """Fly the options of a place that none beats until those that are left keep their limits.

        Where one after another breaks them, ever more are flown at once: with those that none beats also what only
        these beat.
        """
        most = 1
        while len(pool):
            pool = pool.take(self.allowed(pool))
            new = self._not_flown(pool.take(undominated(pool)))
            if not len(new) or self.spent:
                return
            fresh, before = self._with_next(pool, new, most), self.flyer.work_turns
            most = min(2 * most, SCREENED_MAX)
            self.flyer.fly([fresh])
            self._work_turns += self.flyer.work_turns - before
            for row in range(len(fresh)):
                if self.flyer.fails(fresh, row) or self.flyer.broken(fresh, row):
                    self._banned[key(fresh, row), int(fresh.craft_class[row])] = None

    def _not_flown(self, options: Options) -> Options:
        """Those that were not flown yet."""
        return options.take(np.array([not self.flyer.flown(options, r) for r in range(len(options))], dtype=bool))

    def _with_next(self, pool: Options, new: Options, most: int) -> Options:
        """Options that were not flown and none beats, with those that only they beat, and so on, up to a number."""
        left = pool
        while len(new) < most and len(left):
            left = left.take(~undominated(left))
            new = join([new, self._not_flown(left.take(undominated(left)))])
        return new

    def _pool(self, made: Catalogue, place: Place) -> Options:
        """Every option of a craft class into a slot, at that liftoff where it is launched; worked out once."""
        if self._pools is None or self._pools[0] is not made:
            space = join(from_space(Question(problem=made.problem, restriction=made.restriction)))
            self._pools = (made, space, {})
        _, space, known = self._pools
        if place not in known:
            known[place] = self._options_at(made, space, place)
        return known[place]

    def _options_at(self, made: Catalogue, found: Options, place: Place) -> Options:
        index, slot, liftoff_s = place
        if liftoff_s is not None:
            pads = sorted({way.pad for way in made.problem.ways})
            moment = np.array([liftoff_s])
            at_pass = found.take(np.abs(found.liftoff_s - liftoff_s) < 1e-6)
            launched = [from_pad(made.problem, pad, moment, made.restriction, prune=False)[0] for pad in pads]
            found = join([*launched, at_pass])
        own = found.take((found.craft_class == index) & (found.slot == slot) & (found.bundle < 0))
        return own if made.wanted is None else own.take(made.wanted(own))

    def _part(self, options: Options, plan: Plan) -> bool:
        """Keep apart two craft of a plan that break a limit together: by distance, or by liftoffs on one pad."""
        slots = self.flyer.problem.ring.slots
        rows = {int(slot): row for row, slot in enumerate(options.slot.tolist())}
        row_of = {part.craft: rows[part.plane * slots + part.slot] for part in plan.craft}
        scenario = self.flyer.problem.scenario
        found = False
        for part in plan.craft:
            near, who = part.flown.closest_m, part.flown.closest_to
            if near is None or who not in row_of or separation.LIMIT.kept(scenario, near):
                continue
            row, other = row_of[part.craft], row_of[who]
            meeting = (key(options, row), int(options.slot[other]), float(options.finish_s[other]))
            if options.column[row] == options.column[other] or meeting in self.meetings:
                continue
            self.meetings.append(meeting)
            for one in (row, other):
                self._places[_place(options, one)] = None
            found = True
        return self._turnarounds(options, plan.broken, row_of) or found

    def _turnarounds(self, options: Options, broken: Sequence[Broken], row_of: dict[str, int]) -> bool:
        """Hold liftoffs farther apart on a pad where the flight moves them towards one another."""
        found = False
        for one in broken:
            row = row_of.get(one.craft, -1)
            if not one.limit.endswith(".turnaround") or row < 0:
                continue
            pad = int(options.pad[row])
            before = (options.pad == pad) & (options.column != options.column[row])
            before &= options.liftoff_s <= options.liftoff_s[row] + 1e-6
            if not before.any():
                continue
            planned_s = float(options.liftoff_s[row] - options.liftoff_s[before].max())
            wanted_s = planned_s + one.allowed - one.value
            if wanted_s > self._apart_s.get(pad, 0.0):
                self._apart_s[pad] = wanted_s
                found = True
        return found

    def turnarounds_s(self) -> NDArray[np.float64]:
        """Least time between liftoffs as planned, for each pad: the turnaround, and what the flight takes of it.

        And last between arrivals of craft moved in space.
        """
        pads = self.flyer.problem.scenario.pads
        least = [max(pad.turnaround_s, self._apart_s.get(i, 0.0)) for i, pad in enumerate(pads)]
        return np.array([*least, between_craft.apart_s(self.flyer.problem.scenario)])


def _place(options: Options, row: int) -> Place:
    liftoff_s = float(options.liftoff_s[row])
    return (int(options.craft_class[row]), int(options.slot[row]), None if np.isnan(liftoff_s) else liftoff_s)


def overstepped(broken: Broken) -> float:
    """By how much of its size a limit is overstepped."""
    return abs(broken.value - broken.allowed) / max(abs(broken.allowed), abs(broken.value), 1e-12)
