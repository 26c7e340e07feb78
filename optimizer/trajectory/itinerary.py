"""From an option to what is flown: the start state and the burns."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from ...models import frames, orbits
from ...models import oblate_coast as coast
from ...models.flight.integrate import Flight, Impulse, Itinerary
from ...models.launch import Ascent
from ...models.oblateness import apsis_lag, node_behind, ring_state
from ...models.opportunities import launch_state, tilt
from ...models.scenario import Orbit
from ..craft_plan import Route
from ..problem.options import ROUTES, F, Options
from ..problem.problem import Problem
from ..problem.timed_flight import TimedFlight
from ..routes.launch_tilt import apsis_burns, drift_of
from ..routes.plane_crossing import crossings
from .differential_correction import IN_PLANE, Part, Target, Unknown

NO_BURN_M_S = 1e-9
"""A burn smaller than this is none."""


@dataclass(frozen=True, kw_only=True)
class Course:
    """One option worked out: what is flown, and what the plan says about it.

    ``screened_from_s`` is when distances to craft in place begin to count: the start, the insertion or the drop.
    ``periapsis_m`` is the lowest one flown through, if any.
    ``unknowns`` are what a correction by the flight may change: none where the craft stays as it is. ``phasing_burn``
    is the index of the burn with which the phasing begins, None where there is none. ``last_at_ring`` is the index of
    the last burn at the ring, counted from the end: -2 where one at the relative node follows. ``plane`` of the ring.
    ``earlier`` is what was flown before the itinerary, where months without a burn lie between that were flown but not
    kept; ``full`` is then the itinerary of all of it.
    """

    itinerary: Itinerary
    route: Route
    insertion_s: float | None
    screened_from_s: float
    periapsis_m: float | None
    must_burn: bool
    unknowns: tuple[Unknown, ...] = ()
    phasing_burn: int | None = None
    targets: tuple[Target, ...] = IN_PLANE
    last_at_ring: int = -1
    plane: int = 0
    earlier: Flight | None = None
    full: Itinerary | None = None

    def corrected(self, itinerary: Itinerary) -> Course:
        """The same option as its correction has it: where that moved the start, what counts from there moves along.

        Liftoff and insertion as flown are read off here and nowhere else; the moment of the option is the guess that
        the correction began with.
        """
        by_s = itinerary.start_s - self.itinerary.start_s
        return replace(
            self,
            itinerary=itinerary,
            insertion_s=None if self.insertion_s is None else self.insertion_s + by_s,
            screened_from_s=self.screened_from_s + by_s,
        )

    def moved_s(self, way: Ascent | None, liftoff_s: float) -> float:
        """How much later than the liftoff of the option it lifts off, s: 0 where the site never leaves the plane."""
        if way is None or way.place is None or self.insertion_s is None:
            return 0.0
        return self.insertion_s - way.insertion_after_s - liftoff_s


def key(options: Options, row: int) -> tuple[float, ...]:
    """What distinguishes one flight from another, whichever craft of a class of alike craft flies it."""
    o = options
    who = float(o.way[row]) if o.way[row] >= 0 else -1.0 - float(o.craft_class[row])
    return (
        who,
        float(o.slot[row]),
        round(float(o.liftoff_s[row]), 6) if o.way[row] >= 0 else 0.0,
        round(float(o.parking_wait_s[row]), 6),
        float(o.passes[row]),
        float(o.revolutions[row]),
        float(o.ring_revolutions[row]),
        float(o.flight[row]),
        round(float(o.carrier_speed_m_s[row]), 6) if o.bundle[row] >= 0 else -1.0,
        0.0 if math.isnan(o.waiting_m[row]) else round(float(o.waiting_m[row]), 3),
        -1.0 if math.isnan(o.turned_s[row]) else round(float(o.turned_s[row]), 6),
    )


def flight_key(problem: Problem, options: Options, row: int) -> tuple[float, ...]:
    """The same, and by whose engine: what distinguishes one flight from another once burns take time."""
    group = problem.classes[options.craft_class[row]]
    engine = -1.0 if group.craft.thrust_n is None else float(options.craft_class[row])
    return (*key(options, row), engine)


def course(
    problem: Problem, options: Options, row: int, late_s: float | None = None, *, finite: bool = False
) -> Course:
    """Work out one option: its start state, and a burn at each touch that needs one.

    Args:
        problem, options, row: which option.
        late_s: how much later than at the pass a craft lifts off; None: so that its plane is the ring's at the end.
        finite: whether its burns take time, so that they are corrected by the flight over a round body too.

    Burns are those of point-mass gravity at the touches that the catalogue planned with: over an oblate body a first
    guess, in which burns of nothing are kept for the correction to fill, and the last one waits for the apsis, which
    has turned meanwhile.
    """
    if options.flight[row] >= 0:
        return _free_form(problem, problem.timed[options.flight[row]], finite)
    if not math.isnan(options.turned_s[row]):
        return _turned_over(problem, options, row, finite)
    ring = problem.ring
    radius, circular = ring.radius_m, ring.speed_m_s
    way = problem.ways[options.way[row]] if options.way[row] >= 0 else None
    plane = int(options.slot[row]) // ring.slots
    burn_s, turn_after_s = float(options.burn_s[row]), float(options.turn_after_s[row])
    finish_s = float(options.finish_s[row]) - turn_after_s
    speed, revolutions = float(options.speed_m_s[row]), int(options.revolutions[row])
    arrival = float(problem.arrival_speed(options.take(np.array([row])))[0])
    burns: list[tuple[float, float]] = []
    late = 0.0
    unknowns: tuple[Unknown, ...] = ()
    dips: list[float] = []
    insertion_s: float | None = None
    must_burn = False
    if way is not None:
        liftoff = float(options.liftoff_s[row])
        late = float(later(problem, way, options.take(np.array([row])))[0]) if late_s is None else late_s
        insertion_s = start_s = liftoff + late + way.insertion_after_s
        position, velocity = inserted(problem, way, liftoff, late, start_s)
        burn_s += late
        if late and revolutions:
            speed = float(problem.touch(arrival).speed(np.array((finish_s - burn_s) / revolutions / ring.period_s)))
        if way.parking:
            leave = start_s + float(options.parking_wait_s[row])
            sign = 1.0 if way.insertion.radius_m < radius else -1.0
            burns.append((leave, sign * way.entry_delta_v_m_s))
            dips.append(min(way.insertion.radius_m, radius))
            # leaving when planned, the transfer's height is a third thing to choose; arriving in place, so is its start
            unknowns = (Unknown(0, "along"),) if revolutions else (Unknown(0, "time"), Unknown(0, "along"))
        touch_m = way.arrival_radius_m
        must_burn = not way.parking and way.periapsis_m < problem.scenario.floor_m * (1.0 - 1e-9)
        screened = start_s
    else:
        group = problem.classes[options.craft_class[row]]
        start, orbit = group.start, group.craft.orbit
        if start is None or orbit is None:
            raise ValueError("an option without a way up belongs to a craft in space")
        start_s = 0.0 if not start.on_ring else start.first_s
        touch_m = start.touch_m
        position, velocity = state_in_space(problem, orbit, start.on_ring, start_s)
        screened = start_s
        if start.passed_other or options.passes[row] > 0:
            dips.append(min(start.other_m, radius))
        must_burn = start.other_m < problem.scenario.floor_m * (1.0 - 1e-9)
    first, last = (circular if revolutions == 0 else speed) - arrival, circular - speed
    if problem.oblate:
        settled, leaving = (
            coast.real_speed(problem.scenario.body, ring, v, touch_m or radius) for v in (circular, speed)
        )
        first, last = (0.0 if revolutions == 0 else leaving - settled) + circular - arrival, settled - leaving
    burns.append((burn_s, first))
    if revolutions > 0:
        semi = float(orbits.semi_major_from_speed(ring.gm, radius, speed))
        other = 2.0 * semi - radius
        if problem.oblate:
            # where the craft is back at its apsis, so that the last burn need not turn its velocity
            lag = apsis_lag(problem.scenario.body, semi, abs(radius - semi) / semi, ring.inclination_rad)
            finish_s += lag * (finish_s - burn_s)
        burns.append((finish_s, last))
        dips.append(min(other, radius))
    corrected = (problem.oblate or finite) and (revolutions > 0 or abs(burns[-1][1]) > NO_BURN_M_S)
    crosses = [0.0] * len(burns)
    at_ring, kept_tilt = -1, False
    if way is not None and way.place is not None:
        kept_tilt = way.tilt_at == "kept" and float(tilt(way, liftoff)) > 0.0
        turned_s = finish_s + turn_after_s + (0.0 if revolutions else late)
        burns, crosses = _tilted(problem, way, options, row, burns, turned_s)
        at_ring = -2 if way.tilt_at == "node" else -1
    back = 0.0 if way is not None else _drifted(problem, options, row)
    first_at_ring = at_ring - 1
    if back and revolutions > 0:
        time, part = _at_highest(problem, options, row, speed, finish_s, back)
        burns, crosses = [*burns[:-1], (time, 0.0), burns[-1]], [*crosses[:-1], part, 0.0]
        first_at_ring = at_ring - 2
    elif back:
        after_s = finish_s + turn_after_s
        north = math.sin(float(ring.phase(after_s, int(options.slot[row])))) > 0.0
        burns, crosses = [*burns, (after_s, 0.0)], [*crosses, (1.0 if north else -1.0) * circular * back]
        at_ring, corrected = -2, problem.oblate or finite
    if revolutions > 0:
        unknowns += (Unknown(first_at_ring, "along"),)
    unknowns += (Unknown(at_ring, "radial"), Unknown(at_ring, "along"))
    if finite and not revolutions and (way is None or not way.parking):
        # arriving in place, only the moment of its one burn is left to choose
        unknowns += (Unknown(at_ring, "time"),)
    targets = IN_PLANE
    if back:
        unknowns += (Unknown(-2, "cross"), Unknown(-1, "cross"))
        targets = (*IN_PLANE, "plane")
    if way is not None and way.place is not None and not kept_tilt:
        # the moment of liftoff turns the plane about the pole, a cross part about the burn: together they aim it
        unknowns += (Unknown(-1, "cross"), Unknown(0, "launch"))
        targets = (*IN_PLANE, "plane")
    impulses = tuple(
        Impulse(time_s=time, radial_m_s=0.0, along_m_s=along, cross_m_s=cross)
        for (time, along), cross in zip(burns, crosses, strict=True)
        if corrected or math.hypot(along, cross) > NO_BURN_M_S
    )
    itinerary = Itinerary.through_turn(
        min(start_s, burn_s), position, velocity, impulses, ring, 0.0 if impulses else max(finish_s - start_s, 0.0)
    )
    return Course(
        itinerary=itinerary,
        route=ROUTES[options.route[row]],
        insertion_s=insertion_s,
        screened_from_s=screened,
        periapsis_m=min(dips) if dips else None,
        must_burn=must_burn,
        unknowns=unknowns if corrected else (),
        targets=targets,
        last_at_ring=at_ring,
        plane=plane,
        phasing_burn=len(impulses) + first_at_ring if revolutions > 0 and len(impulses) == len(burns) else None,
    )


def _turned_over(problem: Problem, options: Options, row: int, finite: bool) -> Course:
    """What a craft flies that turns into another plane first: from there on what it would fly had it been there."""
    ring, index = problem.ring, int(options.craft_class[row])
    group = problem.classes[index]
    start, orbit = group.start, group.craft.orbit
    if start is None or orbit is None:
        raise ValueError("only a craft in space turns into another plane")
    plane, time = int(options.slot[row]) // ring.slots, float(options.turned_s[row])
    crossing = next(c for c in crossings(ring, start, orbit.plane, plane) if abs(c.time_s - time) < 1e-3)
    there = replace(orbit, plane=plane, angle_rad=crossing.angle_after_rad, at_s=time)
    moved = replace(
        group,
        start=replace(start, first_s=time, angle_rad=crossing.angle_after_rad),
        craft=replace(group.craft, orbit=there),
    )
    classes = (*problem.classes[:index], moved, *problem.classes[index + 1 :])
    one = replace(options.take(np.array([row])), turned_s=np.full(1, np.nan))
    after = course(replace(problem, classes=classes), one, 0, finite=finite)
    _, velocity = state_in_space(problem, orbit, True, time)
    here, turned = after.itinerary.position, after.itinerary.velocity
    parts = frames.to_local(here, velocity, turned - velocity)
    impulses = (Impulse(time, *parts.tolist()), *after.itinerary.impulses)
    unknowns = [Unknown(u.burn + 1 if u.burn >= 0 else u.burn, u.part) for u in after.unknowns]
    if problem.oblate or finite:
        turning = [Unknown(0, "time"), Unknown(0, "cross")]
        unknowns = [*turning, *(unknowns or [Unknown(-1, "radial"), Unknown(-1, "along")])]
    begun = state_in_space(problem, orbit, True, start.first_s)
    return replace(
        after,
        itinerary=Itinerary.through_turn(start.first_s, *begun, impulses, ring),
        screened_from_s=start.first_s,
        unknowns=tuple(dict.fromkeys(unknowns)),
        targets=(*IN_PLANE, "plane") if problem.oblate or finite else after.targets,
        phasing_burn=None if after.phasing_burn is None else after.phasing_burn + 1,
    )


def _free_form(problem: Problem, flight: TimedFlight, finite: bool) -> Course:
    """A free-form flight: its burns as they were found; all of them are what a correction may change, by the least."""
    ring, start, group = problem.ring, flight.start, problem.classes[flight.craft_class]
    orbit = group.craft.orbit
    if flight.way >= 0:
        way = problem.ways[flight.way]
        position, velocity = start.position, start.velocity
        dives = not way.parking and way.periapsis_m < problem.scenario.floor_m * (1.0 - 1e-9)
    elif orbit is not None:
        position, velocity = state_in_space(problem, orbit, start.on_ring, start.time_s)
        dives = min(orbit.periapsis_m, ring.radius_m) < problem.scenario.floor_m * (1.0 - 1e-9)
    else:
        raise ValueError("a free-form flight begins in space, or where a craft from the ground is let go")
    impulses = tuple(
        Impulse(burn.time_s, burn.radial_m_s, burn.along_m_s, burn.cross_m_s) for burn in flight.solution.burns
    )
    lowest = flight.periapsis_m
    drifts = ring.node_rate_rad_s != 0.0
    parts: tuple[Part, ...] = ("radial", "along", "cross") if drifts else ("radial", "along")
    unknowns = [Unknown(k, part) for k in range(len(impulses)) for part in parts]
    if len(impulses) == 1:
        unknowns.append(Unknown(0, "time"))
    return Course(
        itinerary=Itinerary.through_turn(start.time_s, position, velocity, impulses, ring),
        route="timed",
        insertion_s=start.time_s if flight.way >= 0 else None,
        screened_from_s=start.time_s,
        periapsis_m=None if lowest is None else min(lowest, ring.radius_m),
        must_burn=not start.on_ring and dives,
        unknowns=tuple(unknowns) if problem.oblate or finite else (),
        targets=(*IN_PLANE, "plane") if drifts else IN_PLANE,
        plane=flight.slot // ring.slots,
    )


def later(problem: Problem, way: Ascent, options: Options) -> F:
    """How much later than at the pass craft lift off by a way, s, so that their planes are the ring's at the end.

    Over an oblate body the node of a lower orbit drifts by another rate than the ring's. A first guess by secular
    rates, to be corrected by the flight; 0 over a round body, and for a site that never leaves the plane.

    Args:
        options: n of them, all by that way.

    Returns:
        Shape (n,).
    """
    ring, body = problem.ring, problem.scenario.body
    if way.place is None or not problem.oblate or ring.node_rate_rad_s == 0.0:
        return np.zeros(len(options))
    low: ArrayLike = way.insertion.radius_m if way.parking else way.periapsis_m
    semi = orbits.semi_major_from_speed(ring.gm, ring.radius_m, options.speed_m_s)
    phasing = np.where(options.revolutions > 0, options.phasing_s, 0.0)
    stages: list[tuple[ArrayLike, ArrayLike, ArrayLike]] = [
        (low, low, options.parking_wait_s if way.parking else 0.0),
        (low, ring.radius_m, way.coast_s),
        (np.where(options.revolutions > 0, 2.0 * semi - ring.radius_m, ring.radius_m), ring.radius_m, phasing),
    ]
    behind = node_behind(body, ring.inclination_rad, ring.node_rate_rad_s, stages)
    return np.asarray(np.broadcast_to(behind / way.place.relative_rate_rad_s, (len(options),)))


def _drifted(problem: Problem, options: Options, row: int) -> float:
    """By how much a craft in space has to turn its plane back to the ring's, rad, signed as its node is behind; 0: not.

    Over an oblate body the node of the phasing orbit drifts by another rate than the ring's.
    """
    group = problem.classes[options.craft_class[row]]
    if group.start is None or group.craft.orbit is None:
        return 0.0
    body, one = problem.scenario.body, options.take(np.array([row]))
    drift = drift_of(body, problem.ring, group.start, group.craft.orbit, one, problem.scenario.ring.tilt_tolerance_rad)
    return float(drift[0])


def _at_highest(
    problem: Problem, options: Options, row: int, speed_m_s: float, finish_s: float, back_rad: float
) -> tuple[float, float]:
    """When the last phasing revolution passes the farthest from the equator, and the part across there, m/s.

    That is where planes of one inclination and slightly different nodes cross. Of the two places the higher one is
    taken, where the craft is slower (conic, by Kepler's equation).
    """
    ring = problem.ring
    semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed_m_s))
    low, high = sorted((ring.radius_m, 2.0 * semi - ring.radius_m))
    touch = float(ring.phase(finish_s, int(options.slot[row])))
    at_apoapsis = semi < ring.radius_m
    found = []
    for highest in (0.5 * math.pi, 1.5 * math.pi):
        swept = (highest - touch) % (2.0 * math.pi)
        anomaly = (swept + (math.pi if at_apoapsis else 0.0)) % (2.0 * math.pi)
        past = orbits.time_from_periapsis(
            ring.gm, low, high, anomaly if anomaly <= math.pi else 2.0 * math.pi - anomaly
        )
        turn = float(orbits.period(ring.gm, semi))
        past = past if anomaly <= math.pi else turn - past
        after = (past - (0.5 * turn if at_apoapsis else 0.0)) % turn
        semilatus = 2.0 * low * high / (low + high)
        radius = semilatus / (1.0 + (high - low) / (high + low) * math.cos(anomaly))
        level = math.sqrt(ring.gm * semilatus) / radius
        found.append((radius, finish_s - turn + after, (1.0 if highest < math.pi else -1.0) * level * back_rad))
    _, time, part = max(found)
    return time, part


def _tilted(
    problem: Problem, way: Ascent, options: Options, row: int, burns: list[tuple[float, float]], turned_s: float
) -> tuple[list[tuple[float, float]], list[float]]:
    """The burns of a launch off the plane: times and parts along, with those across; one more for a separate node.

    ``turned_s``: when that one comes.
    """
    ring, liftoff = problem.ring, float(options.liftoff_s[row])
    angle = float(tilt(way, liftoff))
    if angle == 0.0 or way.tilt_at == "kept":
        crosses = [0.0] * len(burns)
        return (burns, crosses) if way.tilt_at != "node" else ([*burns, (turned_s, 0.0)], [*crosses, 0.0])
    launched = launch_state(way, liftoff)
    if way.tilt_at == "node":
        there = ring.phase(float(options.finish_s[row]), int(options.slot[row]))
        passed = float(there) - float(way.insertion_angle(liftoff))
        down = -1.0 if launched.rises_after(passed + way.insertion_angle0_rad) else 1.0
        speed = ring.speed_m_s
        burn = (turned_s, speed * (math.cos(angle) - 1.0))
        return [*burns, burn], [0.0] * len(burns) + [down * speed * math.sin(angle)]
    one = np.array([row])
    plan = apsis_burns(way, ring, options.speed_m_s[one], options.revolutions[one], np.array([angle]))
    # where the touch is on the flight from the site: a wait in a parking orbit leads there by whole half turns
    waited = float(options.parking_wait_s[row]) * (way.parking_rate_rad_s or 0.0)
    at_touch = launched.rises_after(way.angle0_rad + waited)
    out: list[tuple[float, float]] = []
    crosses = []
    for index, ((time, along), opposite) in enumerate(zip(burns, plan.opposite, strict=True)):
        share = float(plan.share_rad[0, index])
        after = float(plan.before_m_s[0, index]) + along
        out.append((time, along + after * (math.cos(share) - 1.0)))
        crosses.append((-1.0 if at_touch != opposite else 1.0) * after * math.sin(share))
    return out, crosses


def inserted(
    problem: Problem, way: Ascent, liftoff_s: float, late_s: float, time_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """State at insertion: on the given apsides, the apoapsis laid on the ring; a parking orbit keeps its height.

    From a site that passes through the plane: in the launch plane as it is at the liftoff planned, turned on with the
    body by the time that the craft lifts off later.
    """
    ring, insertion = problem.ring, way.insertion
    angle_rad = float(way.insertion_angle(liftoff_s))
    plane = (ring.inclination_rad, ring.node(time_s, way.plane))
    if way.place is not None:
        plane = (ring.inclination_rad, ring.node(liftoff_s, way.plane) + way.place.spin_rad_s * late_s)
        if float(tilt(way, liftoff_s)) > 0.0:
            launched = launch_state(way, liftoff_s)
            plane = (launched.inclination_rad, launched.node_rad + way.place.spin_rad_s * late_s)
            angle_rad = launched.site_rad + way.insertion_angle0_rad
    if problem.oblate and (way.parking or insertion.circular):
        radius = insertion.radius_m if way.parking else ring.radius_m
        return ring_state(problem.scenario.body, radius, angle_rad, *plane)
    periapsis, apoapsis = insertion.periapsis_m, ring.radius_m
    if way.parking:
        periapsis = apoapsis = insertion.radius_m
    return coast.apsis_state(ring.gm, periapsis, apoapsis, way.insertion_anomaly_rad, angle_rad, plane)


def state_in_space(problem: Problem, orbit: Orbit, on_ring: bool, time_s: float) -> tuple[np.ndarray, np.ndarray]:
    """State at a time of a craft that is in space already: on the ring, by Kepler's equation, or flown there."""
    ring, body = problem.ring, problem.scenario.body
    if not problem.oblate:
        return coast.point_mass_state(ring, orbit, time_s, on_ring=on_ring)
    if on_ring:
        angle = orbit.angle_rad + ring.rate_rad_s * (time_s - orbit.at_s)
        return ring_state(body, ring.radius_m, angle, ring.inclination_rad, ring.node(time_s, orbit.plane))
    return coast.state_as_given(body, ring, orbit, time_s)
