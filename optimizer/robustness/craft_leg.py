"""What a craft of a plan has before it, as numbers from which many flights of it with errors are propagated at once.

The closed forms are those of point-mass gravity and impulses. Over an oblate body, and where part of a burn turns the
plane, the plan flown burns a little more or less than they do: that difference is carried along as it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

from ...models import orbits
from ...models.insertions import Insertion
from ...models.ring import Ring
from ...models.scenario import INJECTION_ERRORS, Errors, Scenario
from ..craft_plan import CraftPlan
from ..limits import finish_within, revolutions_max, wait_within

TANGENT = ("direct", "park", "shift")
"""Routes that touch the ring with tangent burns."""


@dataclass(frozen=True, kw_only=True, eq=False)
class CraftStory:
    """What there is to know of any craft, however its flights are propagated.

    Args:
        craft: its name.
        errors: standard deviations.
        ring: where it goes.
        trim_turns: ring turns over which a slot error may be taken out at the end, one at least.
        too_late: whether the limits leave no turn for that.
        tolerance_rad, tilt_tolerance_rad: of the slot, and of the plane.
        floor_m: lowest radius allowed.
        match_s: how well the period must match the ring's.
        planned_m_s: what the plan burns.
    """

    craft: str
    errors: Errors
    ring: Ring
    trim_turns: int
    too_late: bool
    tolerance_rad: float
    tilt_tolerance_rad: float
    floor_m: float
    match_s: float
    planned_m_s: float

    def with_errors(self, errors: Errors) -> Self:
        """The same craft with other errors."""
        return replace(self, errors=errors)


@dataclass(frozen=True, kw_only=True)
class Story(CraftStory):
    """One craft's way into its slot by tangent burns, with its errors and its room for corrections.

    Args:
        insertion: where the launcher lets go; None for a craft in space, whose orbit is taken as given.
        parking: whether it leaves for the ring from a parking orbit.
        coast_share: time from insertion (or from leaving the parking orbit) to the ring, in periods of that orbit.
        arrival_speed_m_s: with which it touches the ring.
        revolutions, wait_s: of the phasing, none where it arrives in place.
        touch_rad: argument of latitude of the touch.
        may_go_on: whether the limits leave room for one more revolution.
    """

    insertion: Insertion | None
    parking: bool
    coast_share: float
    arrival_speed_m_s: float
    revolutions: int
    wait_s: float
    touch_rad: float
    may_go_on: bool

    @property
    def launched(self) -> bool:
        """Whether a launcher lets it go."""
        return self.insertion is not None


def errors_of(scenario: Scenario, part: CraftPlan) -> Errors:
    """Errors that one craft meets: the launcher's from its site, those of burns and readings its own."""
    general = scenario.errors or Errors()
    craft = next(c for c in scenario.craft if c.name == part.craft)
    own = craft.errors or general
    if part.pad is None:
        return replace(own, **dict.fromkeys(INJECTION_ERRORS, 0.0))
    pad = next(p for p in scenario.pads if p.name == part.pad)
    launcher = pad.errors or general
    return replace(own, **{name: getattr(launcher, name) for name in INJECTION_ERRORS})


def has_closed_form(part: CraftPlan) -> bool:
    """Whether a craft goes by tangent burns at the ring that it pays itself."""
    return part.route in TANGENT and not any(burn.by_stage_m_s > 0.0 for burn in part.burns)


def trim_turns(scenario: Scenario, period_s: float, part: CraftPlan, waited_s: float) -> int:
    """Over how many turns of that period the limits allow a slot error to be phased out at the end, 0 for none."""
    limits = scenario.limits
    left_s = min(limits.finish_within_s - part.in_slot_s, limits.wait_within_s - waited_s)
    if math.isinf(left_s):
        return limits.revolutions_max
    return max(min(int(left_s // period_s), limits.revolutions_max), 0)


def story_of(scenario: Scenario, ring: Ring, part: CraftPlan, match_s: float) -> Story:
    """The story of a craft that `has_closed_form`; ``match_s`` is how well its period must match the ring's."""
    gm, spec = ring.gm, scenario.ring
    circle = 2.0 * math.pi / float(orbits.rate(gm, ring.radius_m))
    insertion = None
    if part.pad is not None:
        offered = next(p for p in scenario.pads if p.name == part.pad).insertions
        insertion = next((one for one in offered if one.name == (part.insertion or "")), offered[0])
    arrival = _arrival_speed(scenario, ring, part, insertion)
    wait = part.phasing_period_s * part.revolutions if part.phasing_period_s is not None else 0.0
    # the closed forms turn at the two-body rate; the ratio of periods is what phasing lives on
    wait *= circle / ring.period_s
    longer_s = circle
    may_go_on = (
        part.revolutions > 0
        and revolutions_max.LIMIT.kept(scenario, part.revolutions + 1)
        and wait_within.LIMIT.kept(scenario, wait + longer_s)
        and finish_within.LIMIT.kept(scenario, part.in_slot_s + longer_s)
    )
    turns = trim_turns(scenario, circle, part, wait)
    coast = 0.5
    if insertion is not None and part.route == "direct":
        apsis = ring.radius_m
        low = min(insertion.periapsis_m, apsis)
        anomaly = orbits.anomaly_at(low, apsis, insertion.radius_m)
        semi = 0.5 * (low + apsis)
        coast = 0.5 - orbits.time_from_periapsis(gm, low, apsis, anomaly) / float(orbits.period(gm, semi))
    return Story(
        craft=part.craft,
        errors=errors_of(scenario, part),
        ring=replace(ring, rate_rad_s=2.0 * math.pi / circle, node_rate_rad_s=0.0),
        insertion=insertion,
        parking=part.route == "park",
        coast_share=coast,
        arrival_speed_m_s=arrival,
        revolutions=part.revolutions,
        wait_s=wait,
        touch_rad=float(ring.phase(part.in_slot_s, part.slot, part.plane)),
        may_go_on=may_go_on,
        trim_turns=max(turns, 1),
        too_late=turns < 1,
        tolerance_rad=spec.tolerance_rad,
        tilt_tolerance_rad=spec.tilt_tolerance_rad,
        floor_m=scenario.floor_m,
        match_s=match_s,
        planned_m_s=part.delta_v_m_s,
    )


def _arrival_speed(scenario: Scenario, ring: Ring, part: CraftPlan, insertion: Insertion | None) -> float:
    """Speed at the touch, m/s, of the orbit on which a craft comes to the ring (vis-viva)."""
    gm, radius = ring.gm, ring.radius_m
    if insertion is not None:
        other = insertion.radius_m if part.route == "park" else insertion.periapsis_m
        return float(orbits.speed(gm, radius, 0.5 * (other + radius)))
    orbit = next(c for c in scenario.craft if c.name == part.craft).orbit
    if orbit is None:
        raise ValueError("a craft without a pad is in space")
    apsides = sorted((orbit.periapsis_m, orbit.apoapsis_m), key=lambda r: abs(r - radius))
    return float(orbits.speed(gm, radius, 0.5 * (radius + apsides[1]))) if not orbit.circular else ring.speed_m_s
