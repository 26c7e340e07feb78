"""Outcomes worked out by hand for the report tests: two-body, tangent burns, every number computed, none typed in.

A sample is small enough to search completely, so that its front is a true one. It is no planner: it knows two ways only
(an ellipse that touches the ring, and a craft that is on the ring already) and tries every assignment.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ringwright.models import kepler
from ringwright.models.insertions import Insertion
from ringwright.models.ring import Ring
from ringwright.models.scenario import Body, Craft, LimitSpec, Occupied, Orbit, Pad, RingSpec, Scenario
from ringwright.optimizer.craft_plan import Burn, CraftPlan, Flown, Side
from ringwright.optimizer.outcome import Bind, Broken, Front, FrontPoint, Infeasible, Kept, Margin, Outcome, Plan, Proof

TURN = 2.0 * math.pi
G0 = 9.80665  # standard gravity, m/s^2 (CGPM 1901)
# GM: IERS Conventions 2010, Table 1.1; equatorial radius: WGS 84
EARTH = Body(
    name="earth", gm=3.986004418e14, radius_m=6_378_137.0, atmosphere_top_m=100_000.0, sidereal_day_s=86164.0905
)
TESSALY = Body(name="Tessaly", gm=9120.5e9, radius_m=1_210_000.0, atmosphere_top_m=62_000.0, sidereal_day_s=19.5 * 3600)


@dataclass(frozen=True, kw_only=True)
class Arrival:
    """Where a craft first touches the ring: time, angle, speed there, and what came before."""

    craft: Craft
    time_s: float
    angle_rad: float
    speed_m_s: float
    launch_s: float | None = None
    insertion_s: float | None = None
    insertion_speed_m_s: float | None = None
    apsides_m: tuple[float, float]
    must_burn: bool = False


def speed_at(gm: float, radius_m: float, semi_major_m: float) -> float:
    return math.sqrt(gm * (2.0 / radius_m - 1.0 / semi_major_m))


def semi_major_of(gm: float, period_s: float) -> float:
    return math.pow(gm * (period_s / TURN) ** 2, 1.0 / 3.0)


def period_of(gm: float, semi_major_m: float) -> float:
    return TURN * math.sqrt(semi_major_m**3 / gm)


def wrap(angle_rad: float) -> float:
    """Into (-pi, pi]."""
    return -((-angle_rad + math.pi) % TURN - math.pi)


def ring_of(scenario: Scenario, slot0_rad: float) -> Ring:
    spec = scenario.ring
    return Ring(
        radius_m=spec.radius_m,
        slots=spec.slots,
        rate_rad_s=math.sqrt(scenario.body.gm / spec.radius_m**3),
        slot0_rad=slot0_rad,
        gm=scenario.body.gm,
    )


def from_space(scenario: Scenario, craft: Craft) -> Arrival:
    """A craft whose orbit touches the ring at the apsis it is given at, or which is on the ring."""
    orbit = craft.orbit
    assert orbit is not None
    semi_major_m = 0.5 * (orbit.periapsis_m + orbit.apoapsis_m)
    gm, radius_m = scenario.body.gm, scenario.ring.radius_m
    time_s, angle_rad = orbit.at_s, orbit.angle_rad
    if orbit.circular:
        time_s = craft.ready_s
        angle_rad += TURN / period_of(gm, radius_m) * time_s
    return Arrival(
        craft=craft,
        time_s=time_s,
        angle_rad=angle_rad,
        speed_m_s=speed_at(gm, radius_m, semi_major_m),
        apsides_m=(orbit.periapsis_m, orbit.apoapsis_m),
    )


def from_ground(scenario: Scenario, craft: Craft, launch_s: float) -> Arrival:
    """Straight to the ring: insertion on the way up, apoapsis on the ring."""
    pad, body, radius_m = scenario.pads[0], scenario.body, scenario.ring.radius_m
    insertion = pad.insertions[0]
    semi_major_m = 0.5 * (insertion.periapsis_m + radius_m)
    eccentricity = (radius_m - insertion.periapsis_m) / (radius_m + insertion.periapsis_m)
    anomaly = math.acos((semi_major_m * (1 - eccentricity**2) / insertion.radius_m - 1) / eccentricity)
    eccentric = 2 * math.atan(math.sqrt((1 - eccentricity) / (1 + eccentricity)) * math.tan(anomaly / 2))
    since_periapsis = (eccentric - eccentricity * math.sin(eccentric)) * math.sqrt(semi_major_m**3 / body.gm)
    insertion_s = launch_s + pad.ascent_s
    angle = pad.longitude_rad + body.spin_rad_s * launch_s + pad.downrange_rad
    return Arrival(
        craft=craft,
        time_s=insertion_s + 0.5 * period_of(body.gm, semi_major_m) - since_periapsis,
        angle_rad=angle + math.pi - anomaly,
        speed_m_s=speed_at(body.gm, radius_m, semi_major_m),
        launch_s=launch_s,
        insertion_s=insertion_s,
        insertion_speed_m_s=speed_at(body.gm, insertion.radius_m, semi_major_m),
        apsides_m=(insertion.periapsis_m, radius_m),
        must_burn=insertion.periapsis_m < scenario.floor_m,
    )


def craft_plan(
    scenario: Scenario, ring: Ring, arrival: Arrival, slot: int, k: int, m: int, *, passes: int = 0
) -> CraftPlan | None:
    """One option of a craft, None where it breaks floor, ceiling or wait."""
    gm, radius_m, limits = scenario.body.gm, ring.radius_m, scenario.limits
    craft = arrival.craft
    native_s = period_of(gm, 0.5 * sum(arrival.apsides_m))
    start_s = arrival.time_s + passes * native_s
    lead = wrap(float(ring.phase(start_s, slot)) - arrival.angle_rad)
    circular = ring.speed_m_s
    if k == 0:
        if abs(lead) > 1e-6:
            return None
        wait_s, period_s, speed = 0.0, None, circular
        side: Side = "level"
        apsides = (radius_m, radius_m)
        points = [(start_s, circular - arrival.speed_m_s, ring.period_s, apsides)]
        if abs(circular - arrival.speed_m_s) < 1e-6:
            points = []
    else:
        wait_s = (TURN * m - lead) / ring.rate_rad_s
        if wait_s <= 0 or wait_s + passes * native_s > limits.wait_within_s:
            return None
        period_s = wait_s / k
        semi_major_m = semi_major_of(gm, period_s)
        if 2 * semi_major_m <= radius_m:
            return None
        other_m = 2 * semi_major_m - radius_m
        apsides = (min(radius_m, other_m), max(radius_m, other_m))
        if apsides[0] < scenario.floor_m or apsides[1] > limits.apoapsis_max_m:
            return None
        speed = speed_at(gm, radius_m, semi_major_m)
        side = "below" if period_s < ring.period_s else "above"
        points = [
            (start_s, speed - arrival.speed_m_s, period_s, apsides),
            (start_s + wait_s, circular - speed, ring.period_s, (radius_m, radius_m)),
        ]
    total = math.fsum(abs(point[1]) for point in points)
    burns, spent = [], 0.0
    wet = None if craft.dry_mass_kg is None else craft.dry_mass_kg + (craft.propellant_kg or 0.0)
    for time_s, along, after_s, apsides_after in points:
        spent += abs(along)
        left = None
        if wet is not None and craft.dry_mass_kg is not None and craft.isp_s is not None:
            left = wet * math.exp(-spent / (G0 * craft.isp_s)) - craft.dry_mass_kg
            if left < 0:
                return None
        burns.append(
            Burn(
                time_s=time_s,
                delta_v_m_s=abs(along),
                radial_m_s=0.0,
                along_m_s=along,
                cross_m_s=0.0,
                duration_s=None,
                period_after_s=after_s,
                periapsis_after_m=apsides_after[0],
                apoapsis_after_m=apsides_after[1],
                propellant_after_kg=left,
            )
        )
    left = burns[-1].propellant_after_kg if burns else craft.propellant_kg
    lowest = [radius for radius in (apsides[0],) if k] + ([arrival.apsides_m[0]] if passes else [])
    return CraftPlan(
        craft=craft.name,
        plane=0,
        slot=slot,
        route="direct" if arrival.launch_s is not None else "shift",
        side=side,
        revolutions=k,
        ring_revolutions=m if k else 0,
        passes=passes,
        lead_rad=lead,
        pad=scenario.pads[0].name if arrival.launch_s is not None else None,
        carrier=None,
        insertion=scenario.pads[0].insertions[0].name if arrival.launch_s is not None else None,
        insertion_speed_m_s=arrival.insertion_speed_m_s,
        launch_s=arrival.launch_s,
        insertion_s=arrival.insertion_s,
        parking_wait_s=0.0,
        ring_arrival_s=arrival.time_s,
        in_slot_s=start_s + wait_s,
        phasing_period_s=period_s,
        lowest_periapsis_m=min(lowest) if lowest else None,
        must_burn=arrival.must_burn,
        delta_v_m_s=total,
        propellant_kg=None if left is None or craft.propellant_kg is None else craft.propellant_kg - left,
        propellant_left_kg=left,
        burns=tuple(burns),
        flown=Flown(
            slot_error_rad=math.radians(2e-5),
            period_error_s=1.5e-4,
            plane_error_rad=0.0,
            lowest_m=min(lowest) if lowest else radius_m,
            highest_m=radius_m,
            closest_m=None,
            closest_to=None,
        ),
    )


def margins_of(scenario: Scenario, craft: tuple[CraftPlan, ...]) -> tuple[Margin, ...]:
    limits = scenario.limits
    worst = min(craft, key=lambda part: part.lowest_periapsis_m or math.inf)
    last = max(craft, key=lambda part: part.in_slot_s)
    slowest = max(craft, key=lambda part: part.in_slot_s - part.ring_arrival_s)
    most = max(craft, key=lambda part: part.revolutions)
    rows: list[tuple[str, float, float, str]] = [
        ("finish_within", last.in_slot_s, limits.finish_within_s, last.craft),
        ("wait_within", slowest.in_slot_s - slowest.ring_arrival_s, limits.wait_within_s, slowest.craft),
        ("revolutions_max", float(most.revolutions), float(limits.revolutions_max), most.craft),
    ]
    above = [
        Margin(limit=f"limits.{name}", value=value, allowed=allowed, sense="at most", craft=who)
        for name, value, allowed, who in rows
        if math.isfinite(allowed)
    ]
    if worst.lowest_periapsis_m is None:
        return tuple(above)
    clear_m = worst.lowest_periapsis_m - scenario.body.radius_m - scenario.body.atmosphere_top_m
    low = Margin(
        limit="limits.clearance", value=clear_m, allowed=limits.clearance_m, sense="at least", craft=worst.craft
    )
    return (low, *above)


def plan_of(scenario: Scenario, craft: tuple[CraftPlan, ...], rank: int) -> Plan:
    propellant = [part.propellant_kg for part in craft]
    return Plan(
        rank=rank,
        delta_v_m_s=math.fsum(part.delta_v_m_s for part in craft),
        worst_delta_v_m_s=max(part.delta_v_m_s for part in craft),
        propellant_kg=None if None in propellant else math.fsum(value or 0.0 for value in propellant),
        finish_s=max(part.in_slot_s for part in craft),
        craft=craft,
        broken=(),
        margins=margins_of(scenario, craft),
        on_front=True,
    )


def search(scenario: Scenario, ring: Ring, choices: list[list[CraftPlan]], count: int) -> list[Plan]:
    """The front, cheapest first: for every finish that some option has, the cheapest assignment by then."""
    found: dict[tuple[float, float], tuple[CraftPlan, ...]] = {}
    finishes = sorted({part.in_slot_s for options in choices for part in options})
    slots = [sorted({part.slot for part in options}) for options in choices]
    assignments = [pick for pick in itertools.product(*slots) if len(set(pick)) == len(pick)]
    for finish_s in finishes:
        best: tuple[CraftPlan, ...] | None = None
        for pick in assignments:
            parts = []
            for options, slot in zip(choices, pick, strict=True):
                fits = [part for part in options if part.slot == slot and part.in_slot_s <= finish_s]
                if not fits:
                    break
                parts.append(min(fits, key=lambda part: (round(part.delta_v_m_s, 6), part.in_slot_s)))
            else:
                if best is None or sum(p.delta_v_m_s for p in parts) < sum(p.delta_v_m_s for p in best) - 1e-6:
                    best = tuple(parts)
        if best is not None:
            key = (round(sum(p.delta_v_m_s for p in best), 6), round(max(p.in_slot_s for p in best), 3))
            found.setdefault(key, best)
    efficient: list[tuple[CraftPlan, ...]] = []
    soonest = math.inf
    for (_, finish_s), ordered in sorted(found.items()):
        if finish_s < soonest - 1.0:
            soonest = finish_s
            efficient.append(ordered)
    return [plan_of(scenario, parts, rank) for rank, parts in enumerate(efficient[:count], start=1)]


def front_of(plans: list[Plan], *, note: str = "") -> Front:
    points = tuple(
        FrontPoint(delta_v_m_s=plan.delta_v_m_s, finish_s=plan.finish_s, plan=plan.rank, kind="step")
        for plan in sorted(plans, key=lambda plan: plan.finish_s)
        if plan.on_front
    )
    return Front(points=points, resolution_m_s=0.0, note=note)


def outcome_of(
    scenario: Scenario,
    ring: Ring,
    plans: list[Plan],
    *,
    kept: tuple[Kept, ...] = (),
    note: str = "",
    phase_rule: str = "",
) -> Outcome:
    bound = plans[0].delta_v_m_s
    return Outcome(
        scenario=scenario,
        ring=ring,
        proof=Proof(status="optimal", aim=scenario.minimize, bound=bound, unit="m/s", gap=0.0, options=4312),
        kept=kept,
        front=front_of(plans, note=note),
        plans=tuple(plans),
        infeasible=None,
        phase_rule=phase_rule,
    )


def options_of(scenario: Scenario, ring: Ring, arrival: Arrival, slots: list[int]) -> list[CraftPlan]:
    most = scenario.limits.revolutions_max
    tries = [
        craft_plan(scenario, ring, arrival, slot, k, m, passes=passes)
        for slot in slots
        for passes in ((0,) if arrival.must_burn else (0, 1))
        for k, m in [(0, 0), *itertools.product(range(1, most + 1), range(most + 3))]
    ]
    return [part for part in tries if part is not None]


def relay_scenario() -> Scenario:
    """Four craft over Earth's equator: one there, two in space with the apoapsis on the ring, one to be launched."""
    ground_m = EARTH.radius_m
    radius_m = ground_m + 10_000e3
    alike = Craft(name="", dry_mass_kg=310.0, propellant_kg=230.0, isp_s=312.0)
    cedar, hazel = (
        Orbit(periapsis_m=ground_m + low_m, apoapsis_m=radius_m, angle_rad=math.radians(deg), at="apoapsis", at_s=at_s)
        for low_m, deg, at_s in ((9230e3, 203, 0.0), (6300e3, 318, 4800.0))
    )
    climb = Insertion(name="climb", periapsis_m=ground_m - 400e3, apoapsis_m=radius_m, radius_m=ground_m + 190e3)
    jetty = Pad(
        name="Jetty",
        longitude_rad=math.radians(-38),
        turnaround_s=60 * 3600.0,
        ascent_s=540.0,
        downrange_rad=math.radians(18),
        insertions=(climb,),
    )
    return Scenario(
        title="Four relay craft over the equator",
        body=EARTH,
        ring=RingSpec(radius_m=radius_m, slots=4, occupied=(Occupied(name="Alder", angle_rad=math.radians(91.4)),)),
        craft=(
            replace(alike, name="Birch"),
            replace(alike, name="Cedar", orbit=cedar),
            replace(alike, name="Hazel", orbit=hazel),
        ),
        limits=LimitSpec(
            clearance_m=40e3,
            finish_within_s=20 * 86400.0,
            wait_within_s=4 * 86400.0,
            apoapsis_max_m=ground_m + 40_000e3,
        ),
        pads=(jetty,),
        epoch=datetime(2031, 5, 1, tzinfo=UTC),
    )


@cache
def relay(*, count: int = 30) -> Outcome:
    """A mixed ring with a stepped front."""
    scenario = relay_scenario()
    slot0 = math.radians(91.4)
    ring = ring_of(scenario, slot0)
    birch, cedar, hazel = scenario.craft
    arrivals = [from_ground(scenario, birch, 3 * 3600.0), from_space(scenario, cedar), from_space(scenario, hazel)]
    choices = [options_of(scenario, ring, arrival, [1, 2, 3]) for arrival in arrivals]
    plans = search(scenario, ring, choices, count)
    falling = [[part for part in options if part.craft != "Cedar" or part.side == "above"] for options in choices]
    other = replace(
        search(scenario, ring, falling, 1)[0], rank=len(plans) + 1, on_front=False, kind="Cedar above the ring"
    )
    return outcome_of(
        scenario,
        ring,
        [*plans, other],
        kept=(Kept(craft="Alder", slot=0, error_rad=0.0),),
        phase_rule="Alder stays, so the ring is laid through it",
    )


@cache
def dozen() -> Outcome:
    """Twelve slots around a made-up world, all craft in the ring already but badly spaced."""
    radius_m = TESSALY.radius_m + 900e3
    offsets = [0.0, 7.0, -9.0, 14.0, 3.0, -12.0, 10.0, -4.0, 6.0, -13.0, 8.0, -2.0]
    names = ["Ash", "Beech", "Clover", "Dill", "Elm", "Fern", "Gorse", "Heather", "Ivy", "Juniper", "Kale", "Larch"]
    scenario = Scenario(
        title="Spacing twelve craft evenly around Tessaly",
        body=TESSALY,
        ring=RingSpec(radius_m=radius_m, slots=12, slot0_rad=0.0),
        craft=tuple(
            Craft(
                name=name,
                orbit=Orbit(periapsis_m=radius_m, apoapsis_m=radius_m, angle_rad=math.radians(30.0 * j + offset)),
            )
            for j, (name, offset) in enumerate(zip(names, offsets, strict=True))
        ),
        limits=LimitSpec(clearance_m=20e3, finish_within_s=5 * 86400.0, revolutions_max=8),
    )
    ring = ring_of(scenario, 0.0)
    arrivals = [from_space(scenario, craft) for craft in scenario.craft]
    choices = [options_of(scenario, ring, arrival, [j]) for j, arrival in enumerate(arrivals)]
    return outcome_of(scenario, ring, search(scenario, ring, choices, 40))


@cache
def single() -> Outcome:
    """Nothing to trade: three launches onto their slots, one point on the front, eighteen days of waiting."""
    scenario = relay_scenario()
    scenario = replace(
        scenario,
        title="Three launches, each straight into its slot",
        ring=replace(scenario.ring, occupied=(), slots=3),
        craft=tuple(replace(craft, orbit=None) for craft in scenario.craft),
    )
    first = from_ground(scenario, scenario.craft[0], 0.0)
    rate = math.sqrt(scenario.body.gm / scenario.ring.radius_m**3)
    ring = ring_of(scenario, first.angle_rad - rate * first.time_s)
    parts = []
    for index, craft in enumerate(scenario.craft):
        after = index * 9 * 86400.0
        gain = ring.rate_rad_s - scenario.body.spin_rad_s
        probe = from_ground(scenario, craft, after)
        behind = (probe.angle_rad - float(ring.phase(probe.time_s, index))) % TURN
        part = craft_plan(scenario, ring, from_ground(scenario, craft, after + behind / gain), index, 0, 0)
        assert part is not None
        parts.append(part)
    return outcome_of(
        scenario,
        ring,
        [plan_of(scenario, tuple(parts), 1)],
        note="nothing to trade: waiting on the pad is free, so each craft lifts off when its slot comes by",
        phase_rule="nothing is up yet: the first arrival lays slot 0; this is a rule, not an optimum",
    )


@cache
def freeform() -> Outcome:
    """One craft falls back 60 deg in 2 turns with two burns that have radial parts (solved with scipy)."""
    from scipy.optimize import root

    radius_m = TESSALY.radius_m + 900e3
    scenario = Scenario(
        title="A return that does not fit",
        body=TESSALY,
        ring=RingSpec(radius_m=radius_m, slots=6, slot0_rad=0.0),
        craft=(Craft(name="Sorrel", orbit=Orbit(periapsis_m=radius_m, apoapsis_m=radius_m, angle_rad=0.0)),),
        limits=LimitSpec(clearance_m=20e3, finish_within_s=2 * 86400.0),
    )
    ring = ring_of(scenario, 0.0)
    flight_s, swept = 2.0 * ring.period_s, 2.0 * TURN - TURN / 6

    def miss(speeds: NDArray[np.float64], /) -> NDArray[np.float64]:
        end, _ = kepler.propagate(np.array([radius_m, 0.0]), speeds * ring.speed_m_s, np.array(flight_s), ring.gm)
        return np.asarray(end / radius_m - [math.cos(swept), math.sin(swept)])

    guesses = [
        root(miss, np.array([radial, along])) for radial in (-0.3, -0.1, 0.1) for along in (0.95, 1.0, 1.05, 1.1)
    ]
    best = min(
        (guess.x for guess in guesses if guess.success and max(map(abs, guess.fun)) < 1e-9),
        key=lambda speeds: math.hypot(speeds[0], speeds[1] - 1.0),
    )
    radial, along = (float(value) * ring.speed_m_s for value in best)
    _, after = kepler.propagate(np.array([radius_m, 0.0]), np.array([radial, along]), np.array(flight_s), ring.gm)
    out = np.array([math.cos(swept), math.sin(swept)])
    end_radial, end_along = float(after @ out), float(after @ np.array([-out[1], out[0]]))
    low, high = kepler.apsides(np.array([radius_m, 0.0]), np.array([radial, along]), ring.gm)
    parts = [(0.0, radial, along - ring.speed_m_s), (flight_s, -end_radial, ring.speed_m_s - end_along)]
    burns = [
        Burn(
            time_s=time_s,
            delta_v_m_s=math.hypot(out_m_s, along_m_s),
            radial_m_s=out_m_s,
            along_m_s=along_m_s,
            cross_m_s=0.0,
            duration_s=None,
            period_after_s=ring.period_s if time_s else period_of(ring.gm, 0.5 * float(low + high)),
            periapsis_after_m=radius_m if time_s else float(low),
            apoapsis_after_m=radius_m if time_s else float(high),
            propellant_after_kg=None,
        )
        for time_s, out_m_s, along_m_s in parts
    ]
    tangent = craft_plan(scenario, ring, from_space(scenario, scenario.craft[0]), 5, 1, 1)
    assert tangent is not None
    unhurried = replace(
        tangent,
        route="timed",
        revolutions=1,
        ring_revolutions=1,
        in_slot_s=flight_s,
        phasing_period_s=burns[0].period_after_s,
        lowest_periapsis_m=float(low),
        delta_v_m_s=math.fsum(burn.delta_v_m_s for burn in burns),
        burns=tuple(burns),
        flown=replace(tangent.flown, lowest_m=float(low)),
    )
    # the slower way is the cheaper one, so both are on the front
    return outcome_of(scenario, ring, [plan_of(scenario, (unhurried,), 1), plan_of(scenario, (tangent,), 2)])


@cache
def parked() -> Outcome:
    """One launch by a parking orbit: nineteen hours of waiting, then a Hohmann transfer onto its slot."""
    scenario = relay_scenario()
    pad = scenario.pads[0]
    low_m = EARTH.radius_m + 190e3
    scenario = replace(
        scenario,
        title="By a parking orbit",
        craft=(scenario.craft[0],),
        pads=(replace(pad, insertions=(Insertion(name="low", periapsis_m=low_m, apoapsis_m=low_m, radius_m=low_m),)),),
    )
    ring = ring_of(scenario, math.radians(91.4))
    gm, radius_m = EARTH.gm, ring.radius_m
    rate, transfer_m = math.sqrt(gm / low_m**3), 0.5 * (low_m + radius_m)
    transfer_s = 0.5 * period_of(gm, transfer_m)
    angle = pad.longitude_rad + EARTH.spin_rad_s * 0.0 + pad.downrange_rad
    gap = (float(ring.phase(pad.ascent_s, 2)) - angle - (math.pi - ring.rate_rad_s * transfer_s)) % TURN
    leave_s = pad.ascent_s + gap / (rate - ring.rate_rad_s) + 5 * TURN / (rate - ring.rate_rad_s)
    arrive_s = leave_s + transfer_s
    first = speed_at(gm, low_m, transfer_m) - math.sqrt(gm / low_m)
    second = ring.speed_m_s - speed_at(gm, radius_m, transfer_m)
    base = options_of(scenario, ring, from_ground(relay_scenario(), scenario.craft[0], 0.0), [2])[0]
    burns = tuple(
        replace(
            base.burns[0],
            time_s=time_s,
            delta_v_m_s=along,
            along_m_s=along,
            period_after_s=period_s,
            periapsis_after_m=periapsis_m,
            apoapsis_after_m=radius_m,
        )
        for time_s, along, period_s, periapsis_m in (
            (leave_s, first, period_of(gm, transfer_m), low_m),
            (arrive_s, second, ring.period_s, radius_m),
        )
    )
    part = replace(
        base,
        route="park",
        side="level",
        revolutions=0,
        ring_revolutions=0,
        lead_rad=0.0,
        insertion="low",
        insertion_speed_m_s=math.sqrt(gm / low_m),
        insertion_s=pad.ascent_s,
        launch_s=0.0,
        parking_wait_s=leave_s - pad.ascent_s,
        ring_arrival_s=arrive_s,
        in_slot_s=arrive_s,
        phasing_period_s=None,
        lowest_periapsis_m=low_m,
        must_burn=False,
        delta_v_m_s=first + second,
        burns=burns,
    )
    return outcome_of(
        scenario, ring, [plan_of(scenario, (part,), 1)], kept=(Kept(craft="Alder", slot=0, error_rad=0.0),)
    )


def broken() -> Outcome:
    """A plan that the flight found to break a limit."""
    outcome = relay(count=3)
    first = outcome.plans[0]
    marked = replace(first, broken=(Broken(craft="Cedar", limit="limits.clearance", value=31_250.0, allowed=40_000.0),))
    return replace(outcome, plans=(marked, *outcome.plans[1:]))


def sloped() -> Outcome:
    """A front with a slope and a curve between its points."""
    outcome = relay(count=6)
    assert outcome.front is not None
    points = outcome.front.points
    bent = tuple(
        replace(point, kind="slope" if index == 1 else "curve" if index == 2 else "step")
        for index, point in enumerate(points)
    )
    return replace(outcome, front=replace(outcome.front, points=bent, resolution_m_s=0.4))


def impossible() -> Outcome:
    """No plan: one limit binds."""
    outcome = relay(count=1)
    return replace(
        outcome,
        proof=None,
        front=None,
        plans=(),
        infeasible=Infeasible(
            binds=(Bind(limit="limits.finish_within", value=2 * 86400.0, serves=2.91 * 86400.0),),
            together=False,
            reason="Hazel cannot lift off before 2 d 15 h: the pad needs 60 h after Birch",
        ),
    )


def impossible_together() -> Outcome:
    """No plan: two limits bind, and only both moved would serve."""
    outcome = impossible()
    return replace(
        outcome,
        infeasible=Infeasible(
            binds=(
                Bind(limit="limits.clearance", value=40e3, serves=15e3),
                Bind(limit="limits.wait_within", value=86400.0, serves=1.25 * 86400.0),
            ),
            together=True,
        ),
    )
