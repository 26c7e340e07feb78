"""A plan against the limits of its scenario: how much room it leaves under each, and which it breaks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from ...models.craft import delta_v_allowed
from ...models.scenario import Scenario
from ..craft_plan import CarrierPlan, CraftPlan
from ..outcome import Broken, Margin, Plan

LENGTH_SLACK_M = 1.0
"""The integrator and its search for the lowest point are good to less than this."""

PLANE_SLACK_RAD = math.radians(0.01)
"""A tilt below this is none: the corrector and the ring's own mean plane over an oblate body are no better."""

MOVED_SLACK_S = 0.01
"""A liftoff nearer to the limits of its pad than this keeps them: corrections of a flight agree to a thousandth."""


def judged(
    scenario: Scenario, craft: Sequence[CraftPlan], carriers: Sequence[CarrierPlan] = (), *, moved: bool
) -> Plan:
    """The parts of craft and carriers as one plan, its totals taken and its limits judged; not yet ranked (0).

    ``moved``: whether the flight may have moved liftoffs, see `broken_of`.
    """
    used = [c.propellant_kg for c in craft]
    margins = margins_of(scenario, craft, carriers)
    return Plan(
        rank=0,
        delta_v_m_s=math.fsum(c.delta_v_m_s for c in craft),
        worst_delta_v_m_s=max((c.delta_v_m_s for c in craft), default=0.0),
        propellant_kg=None if any(u is None for u in used) else math.fsum(u for u in used if u is not None),
        finish_s=max((c.in_slot_s for c in craft), default=0.0),
        craft=tuple(craft),
        broken=broken_of(scenario, craft, margins, moved=moved),
        margins=margins,
        on_front=False,
        carriers=tuple(carriers),
    )


def margins_of(
    scenario: Scenario,
    craft: Sequence[CraftPlan],
    carriers: Sequence[CarrierPlan] = (),
) -> tuple[Margin, ...]:
    """How much room a plan leaves under each limit that the scenario sets, by the flight where it decides that.

    Args:
        scenario: with the limits.
        craft: the parts of the plan.
        carriers: those of the plan.
    """
    limits, body = scenario.limits, scenario.body
    top = body.radius_m + body.atmosphere_top_m
    found: list[Margin] = []

    def note(limit: str, allowed: float, sense: str, values: list[tuple[float, str]]) -> None:
        if not values or not math.isfinite(allowed):
            return
        # of craft alike but for rounding the first is named
        value, who = (min if sense == "at least" else max)(values, key=lambda pair: round(float(f"{pair[0]:.8g}"), 6))
        found.append(Margin(limit=limit, value=value, allowed=allowed, sense=sense, craft=who))  # type: ignore[arg-type]

    note(
        "limits.clearance",
        limits.clearance_m,
        "at least",
        [(c.flown.lowest_m - top, c.craft) for c in craft] + [(c.lowest_m - top, c.carrier) for c in carriers],
    )
    note("limits.finish_within", limits.finish_within_s, "at most", [(c.in_slot_s, c.craft) for c in craft])
    note(
        "limits.wait_within",
        limits.wait_within_s,
        "at most",
        [(c.in_slot_s - c.ring_arrival_s, c.craft) for c in craft],
    )
    note("limits.revolutions_max", limits.revolutions_max, "at most", [(float(c.revolutions), c.craft) for c in craft])
    note(
        "limits.apoapsis_max",
        limits.apoapsis_max_m - body.radius_m,
        "at most",
        [(c.flown.highest_m - body.radius_m, c.craft) for c in craft],
    )
    if limits.separation_m > 0.0:
        note(
            "limits.separation",
            limits.separation_m,
            "at least",
            [(c.flown.closest_m, c.craft) for c in craft if c.flown.closest_m is not None],
        )
    note(
        "ring.tolerance",
        scenario.ring.tolerance_rad,
        "at most",
        [(abs(c.flown.slot_error_rad), c.craft) for c in craft],
    )
    note(
        "ring.tilt_tolerance",
        scenario.ring.tilt_tolerance_rad,
        "at most",
        [(c.flown.plane_error_rad, c.craft) for c in craft if c.flown.plane_error_rad > PLANE_SLACK_RAD],
    )
    by_name = {c.name: c for c in scenario.craft}
    tight = [(delta_v_allowed(by_name[c.craft]) - c.delta_v_m_s, c) for c in craft if c.propellant_kg is not None]
    if tight:
        _, who = min(tight, key=lambda pair: pair[0])
        note(
            f"craft.{who.craft}.delta_v",
            delta_v_allowed(by_name[who.craft]),
            "at most",
            [(who.delta_v_m_s, who.craft)],
        )
    for c in carriers:
        note(f"carrier.{c.carrier}.delta_v", c.allowed_m_s, "at most", [(c.delta_v_m_s, c.carrier)])
    return tuple(found)


def broken_of(
    scenario: Scenario, craft: Sequence[CraftPlan], margins: Sequence[Margin], *, moved: bool
) -> tuple[Broken, ...]:
    """Limits that the flight finds broken: none should be, and if one is the plan says so.

    ``moved``: whether the flight may have moved liftoffs, which is so for sites that pass through the ring plane.
    """
    slack = {
        "ring.tilt_tolerance": PLANE_SLACK_RAD,
        "limits.clearance": LENGTH_SLACK_M,
        "limits.apoapsis_max": LENGTH_SLACK_M,
        "limits.separation": LENGTH_SLACK_M,
        "limits.finish_within": 1e-3,
        "limits.wait_within": 1e-3,
    }
    found = []
    for margin in margins:
        over = margin.allowed - margin.value if margin.sense == "at least" else margin.value - margin.allowed
        if over > slack.get(margin.limit, 1e-6):
            found.append(Broken(craft=margin.craft, limit=margin.limit, value=margin.value, allowed=margin.allowed))
    by_moving = _broken_by_moving(scenario, craft) if moved and scenario.body.j2 != 0.0 else []
    return (*found, *by_moving)


def _broken_by_moving(scenario: Scenario, craft: Sequence[CraftPlan]) -> list[Broken]:
    """Limits of a pad that liftoffs break which the flight over an oblate body has moved, by minutes at most."""
    found = []
    ready = {one.name: one.ready_s for one in scenario.craft}
    for pad in scenario.pads:
        name = "launch" if len(scenario.pads) == 1 else f"launch.{pad.name}"
        # those on one carrier go up together
        launches = {(c.launch_s, c.carrier or c.craft) for c in craft if c.pad == pad.name and c.launch_s is not None}
        here = sorted(launches)
        for time, who in here:
            if time < pad.ready_s - MOVED_SLACK_S:
                found.append(Broken(craft=who, limit=f"{name}.ready", value=time, allowed=pad.ready_s))
            if time < ready.get(who, 0.0) - MOVED_SLACK_S:
                found.append(Broken(craft=who, limit=f"craft.{who}.ready", value=time, allowed=ready[who]))
            if time > pad.until_s + MOVED_SLACK_S:
                found.append(Broken(craft=who, limit=f"{name}.until", value=time, allowed=pad.until_s))
            for start, end in pad.blackouts_s:
                if start + MOVED_SLACK_S < time < end - MOVED_SLACK_S:
                    found.append(Broken(craft=who, limit=f"{name}.blackout", value=time, allowed=end))
        for (early, _), (late, who) in pairwise(here):
            if late - early < pad.turnaround_s - MOVED_SLACK_S:
                limit = f"{name}.turnaround"
                found.append(Broken(craft=who, limit=limit, value=late - early, allowed=pad.turnaround_s))
    return found
