"""What a carrier flies, and what the craft that it drops fly from there.

A carrier's own burns are those of a craft that would phase in the carrier's orbit until some pass and then enter the
ring: over an oblate body they are corrected by that flight, up to the pass that brings the last slot of a round, and
the last burn is left out. Each craft begins where the carrier's flight has brought it, and burns for itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models import orbits
from ...models.carriers import PASSES, SKIPS_MAX
from ...models.flight.integrate import Impulse, Itinerary, fly_each
from ...models.frames import wrap
from ...models.oblateness import apsis_lag
from ..problem.options import NO_TABLES, UNNAMED, Options
from ..problem.problem import Problem
from ..trajectory.course import NO_BURN_M_S, Carried, CarrierKey, Course
from ..trajectory.differential_correction import IN_PLANE, Target, Unknown, correct_each
from . import direct, parking_orbit
from .carrier_change import AFTER_TURNS, change_orbits, last_there, level_parts
from .carrier_drop_orbits import Drops, turn_s
from .carrier_turns import turning
from .route import row_of

ALIGNED = 1e-6
"""Passes that are this close to a whole number of slots apart, in slots, bring slots to the touching point."""

SETTLED: tuple[Target, ...] = ("period", "eccentricity")
"""What a craft can still see to that is dropped at its slot: where the slot is was the carrier's business."""


def carrier_key(options: Options, row: int) -> CarrierKey:
    """What distinguishes the flight of one carrier from another's: way, liftoff, wait and its drop orbits."""
    one = options.one(row)
    liftoff_s = round(one.liftoff_s, 6)
    if not isinstance(options.tables.get(one.route), Drops):
        # it lets go at its insertion, and waits are those of the craft
        return CarrierKey(
            way=one.way, liftoff_s=liftoff_s, parking_wait_s=0.0, speed_m_s=0.0, then_m_s=0.0, changes_on=0
        )
    _, first_m_s, then_m_s, changes_on, _ = one.own
    return CarrierKey(
        way=one.way,
        liftoff_s=liftoff_s,
        parking_wait_s=round(one.parking_wait_s, 6),
        speed_m_s=first_m_s,
        then_m_s=then_m_s,
        changes_on=int(changes_on),
    )


def fly_carriers(problem: Problem, chosen: Sequence[Options]) -> dict[CarrierKey, Carried]:
    """Fly every distinct carrier of some plans, corrected first over an oblate body.

    Those that cannot be flown are left out.
    """
    stand_ins: dict[CarrierKey, _StandIn] = {}
    last: dict[CarrierKey, int] = {}
    for options in chosen:
        for rows, table in options.detailed():
            if not isinstance(table, Drops):
                continue
            for at, row in enumerate(rows.tolist()):
                name = carrier_key(options, row)
                if name not in stand_ins:
                    speed, place = float(table.first_m_s[at]), float(table.place_rad[at])
                    stand_ins[name] = _stand_in(problem, options, row, speed, place)
                last[name] = max(last.get(name, 0), int(options.passes[row]))
    if not stand_ins:
        return {}
    courses = {name: _stand_in_course(problem, one) for name, one in stand_ins.items()}
    if problem.oblate:
        _correct(problem, stand_ins, courses)
    planned = {}
    for name, what in courses.items():
        one, own = stand_ins[name], what.itinerary.impulses[:-1]
        touch, every = _passes(problem, what, one)
        passes = name.changes_on or last[name]
        end = touch + (passes + AFTER_TURNS) * (every or 0.5 * problem.ring.period_s)
        planned[name] = (replace(what.itinerary, impulses=own, end_s=end), touch, every)
    flights = fly_each([item for item, _, _ in planned.values()], problem.gravity)
    found = {}
    for (name, (item, touch, every)), flight in zip(planned.items(), flights, strict=True):
        if flight is None or not all(math.isfinite(shown.period_s) for shown in flight.readouts()):
            continue
        one, way = stand_ins[name], problem.ways[name.way]
        moved = item.start_s - float(one.options.liftoff_s[0]) - way.insertion_after_s
        found[name] = Carried(
            name=name,
            flight=flight,
            moved_s=moved,
            first_pass_s=touch,
            pass_every_s=every,
            must_burn=_dips(problem, one.speed_m_s),
        )
    return change_orbits(problem, found, {name: one.place_rad for name, one in stand_ins.items()}, last)


@dataclass(frozen=True, kw_only=True)
class _StandIn:
    """A carrier as a craft (one option) that phases in its orbit, of that speed at the ring, and enters the ring.

    ``finds`` says whether a slot is there on its last pass; ``place_rad`` is how far ahead of slot 0 of its plane
    the touching point is on its first.
    """

    options: Options
    speed_m_s: float
    place_rad: float
    finds: bool = True

    @property
    def passes(self) -> int:
        """So many revolutions in that orbit; 0 where it does not come round."""
        return int(self.options.revolutions[0])


def _stand_in(problem: Problem, options: Options, row: int, speed: float, place: float) -> _StandIn:
    """The stand-in for the carrier of an option, phasing as long as its orbit comes round."""
    ring = problem.ring
    touch = float(options.touch_s[row])
    one = row_of(options, row)
    rides = not _dips(problem, speed) and abs(speed - ring.speed_m_s) > 1e-9
    period = turn_s(ring, speed)
    most = _carrier_passes(problem, options, row)
    # the slot that is there on the last pass
    plane, turned = problem.ways[int(options.way[row])].plane, ring.rate_rad_s * period
    last = last_there(ring, place, turned, max(most, 1)) if rides else 0
    passes = last or (max(min(ring.slots - 1, most), 1) if rides else 0)
    there = plane * ring.slots + int(ring.nearest(place - turned * passes))
    own = replace(
        one,
        slot=np.array([there]),
        passes=np.zeros(1, dtype=np.int64),
        revolutions=np.array([passes]),
        ring_revolutions=np.array([passes]),
        burn_s=np.array([touch]),
        finish_s=np.array([touch + passes * period]),
        lead_rad=np.zeros(1),
        turn_after_s=np.zeros(1),
        speed_m_s=np.array([speed if passes else ring.speed_m_s]),
        bundle=np.array([-1]),
        route=np.array([UNNAMED]),
        tables=NO_TABLES,
    )
    return _StandIn(options=own, speed_m_s=speed, place_rad=place, finds=last > 0)


def _stand_in_course(problem: Problem, one: _StandIn) -> Course:
    """What it flies, launched at the pass itself: later, and its plane would be nearer to the ring's, but not its slot.

    What planes drift apart meanwhile is left as it is, and judged by the flight.
    """
    by = parking_orbit.course if problem.ways[int(one.options.way[0])].parking else direct.course
    found = by(problem, one.options, 0, late_s=0.0)
    kept = tuple(unknown for unknown in found.unknowns if unknown.part in ("along", "radial"))
    return replace(found, unknowns=kept, targets=IN_PLANE)


def _carrier_passes(problem: Problem, options: Options, row: int) -> int:
    name = problem.classes[options.craft_class[row]].craft.carrier
    return next(c.passes_max for c in problem.scenario.carriers if c.name == name)


def _aligned(problem: Problem, speed_m_s: float) -> bool:
    """Whether the passes of a carrier bring slot after slot to the touching point."""
    ring = problem.ring
    period = turn_s(ring, speed_m_s)
    if ring.pattern_rad:
        turned = ring.rate_rad_s * period * np.arange(1, PASSES + 1)
        place = ring.ahead(np.arange(ring.slots))[:, None] - turned
        slot = ring.nearest(place)
        near = np.abs(wrap(place - ring.ahead(slot))) < ring.spacing_rad * ALIGNED
        return bool(np.any(near & (slot != np.arange(ring.slots)[:, None])))
    steps = period / ring.period_s * ring.slots * np.arange(1, SKIPS_MAX + 1)
    return bool(np.any(np.abs(steps - np.round(steps)) < ALIGNED))


def _dips(problem: Problem, speed_m_s: float) -> bool:
    return _other(problem, speed_m_s) < problem.scenario.floor_m * (1.0 - 1e-9)


def _correct(problem: Problem, stand_ins: dict[CarrierKey, _StandIn], courses: dict[CarrierKey, Course]) -> None:
    """Correct those carriers that bring slots to the touching point; the others are flown as planned.

    Those whose first guess cannot be flown are taken out.
    """
    names = [
        name
        for name, what in courses.items()
        if what.unknowns
        and stand_ins[name].passes > 0
        and stand_ins[name].finds
        and _aligned(problem, stand_ins[name].speed_m_s)
    ]
    cases = [courses[name].case(problem, int(stand_ins[name].options.slot[0])) for name in names]
    for name, result in zip(names, correct_each(cases, problem.gravity), strict=True):
        if result is None:
            del courses[name]
        else:
            courses[name] = replace(courses[name], itinerary=result.itinerary)


def _passes(problem: Problem, what: Course, one: _StandIn) -> tuple[float, float]:
    """First touch and time between passes, as the stand-in was flown."""
    impulses, passes = what.itinerary.impulses, one.passes
    planned = float(one.options.burn_s[0])
    if passes == 0:
        return impulses[-1].time_s if impulses else planned, 0.0
    # staying in the orbit it came by takes no burn
    touch = impulses[-2].time_s if abs(_entry(problem, one)) > NO_BURN_M_S or problem.oblate else planned
    return touch, (impulses[-1].time_s - touch) / passes


def _entry(problem: Problem, one: _StandIn) -> float:
    """The burn into the drop orbit, m/s."""
    return one.speed_m_s - problem.ways[int(one.options.way[0])].arrival_speed_m_s


def dropped(problem: Problem, options: Options, row: int, carried: Carried, *, finite: bool = False) -> Course:
    """What a craft flies that a carrier drops: from the drop on, its own burns.

    Over an oblate body the burn that enters the ring at the drop itself can only mend period and shape.
    """
    ring = problem.ring
    drop = carried.pass_s(int(options.passes[row]))
    state = carried.flight.states(drop)[0]
    speed, revolutions = float(options.speed_m_s[row]), int(options.revolutions[row])
    radial, along = level_parts(state)
    wanted = ring.speed_m_s if revolutions == 0 else speed
    impulses = [Impulse(drop, -radial, wanted - along)]
    unknowns: tuple[Unknown, ...] = (Unknown(0, "radial"), Unknown(0, "along"))
    targets: tuple[Target, ...] = SETTLED
    dips = [] if options.passes[row] == 0 else [_other(problem, float(problem.arrival_speed(row_of(options, row))[0]))]
    phasing_burn = None
    if revolutions > 0:
        wait = float(options.phasing_s[row])
        semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed))
        if problem.oblate:
            shape = abs(ring.radius_m - semi) / semi
            wait *= 1.0 + apsis_lag(problem.scenario.body, semi, shape, ring.inclination_rad)
        impulses.append(Impulse(drop + wait, 0.0, ring.speed_m_s - speed))
        unknowns = (Unknown(0, "along"), Unknown(-1, "radial"), Unknown(-1, "along"))
        targets = ("slot", "period", "eccentricity")
        dips.append(_other(problem, speed))
        phasing_burn = 0
    course = Course(
        itinerary=Itinerary.through_turn(drop, state[:3], state[3:], impulses, ring),
        insertion_s=carried.flight.itinerary.start_s,
        screened_from_s=drop,
        periapsis_m=min((min(d, ring.radius_m) for d in dips), default=None),
        must_burn=carried.must_burn,
        unknowns=unknowns if problem.oblate or finite else (),
        targets=targets,
        phasing_burn=phasing_burn,
        carried=carried,
        plane=int(options.slot[row]) // ring.slots,
    )
    table = options.tables[int(options.route[row])].take(options.detail[[row]])
    if not isinstance(table, Drops) or not table.turns[0]:
        return course
    return turning(problem, options.one(row), course, float(table.fold_rad[0]), float(table.rest_rad[0]))


def _other(problem: Problem, speed_m_s: float) -> float:
    return float(orbits.other_apsis(problem.ring.gm, problem.ring.radius_m, speed_m_s))
