"""The machine-readable result: the whole outcome as plain JSON values.

Names carry units; times are seconds from the epoch, lengths km (altitudes above the body's equatorial radius), angles
degrees. This is the one place where the outcome leaves SI and radians for a program to read. Numbers are rounded far
below any meaning (a micrometer a second, a microsecond, a millimeter), so that sums over the file still agree.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from ..models.scenario import Scenario
from ..optimizer.craft_plan import Burn, CarrierPlan, CraftPlan, NextOrbit
from ..optimizer.outcome import (
    AimFront,
    Bind,
    Broken,
    Front,
    Hold,
    Infeasible,
    Margin,
    Outcome,
    Plan,
    Proof,
)
from ..optimizer.standing import UnderForces
from .flown_words import burn_model_of, gravity_of
from .keeping import plan_keeping_values
from .least_possible import least_possible_of
from .left_alone import left_alone_of
from .let_go import let_go_values
from .limits import limit_key, limit_value, outcome_as_written, serving_value
from .risk import risk_values
from .under_forces import forces_of, hold_by_forces_of, standing_of
from .values import degrees, finite, json_text, named, number

FORMAT = "ringwright-plan/1"


def result(outcome: Outcome) -> dict[str, Any]:
    """Turn an outcome into JSON-ready values.

    Returns:
        A dict of str, int, float, bool, None, list and dict only, its keys always in the same order. ``front`` is
        sorted by ``finish_s`` and ``plan`` in it is a rank; ``infeasible`` is None when there are plans. Where several
        limits bind, ``infeasible`` names the first and lists all of them under ``binds``. Where no plan keeps its
        limits in the flight, ``rejected`` holds those that come nearest, each with what it breaks.

    Raises:
        ValueError: a value that must be a number is not finite (a fault of the planner, never of the input).
    """
    outcome = outcome_as_written(outcome)
    scenario, body, ring = outcome.scenario, outcome.scenario.body, outcome.ring
    several = ("plane",) if ring.planes > 1 else ()
    return {
        "format": FORMAT,
        "title": scenario.title,
        "epoch": None if scenario.epoch is None else scenario.epoch.isoformat().replace("+00:00", "Z"),
        "body": {
            "name": body.name,
            "gm_km3_s2": float(f"{body.gm * 1e-9:.15g}"),
            **named(body, "radius_km", "atmosphere_top_km", "j2", "j2_radius_km"),
            "spin_deg_s": float(f"{math.degrees(body.spin_rad_s):.15g}"),
            "prime_meridian_deg": number(math.degrees(body.prime_meridian_rad) % 360.0, "deg"),
        },
        "ring": {
            "altitude_km": number((ring.radius_m - body.radius_m) * 1e-3, "km"),
            **named(ring, "period_s", "speed_m_s", "slots"),
            **({"slots_deg": [degrees(one) for one in ring.pattern_rad]} if ring.pattern_rad else {}),
            "slot0_deg": number(math.degrees(ring.slot0_rad) % 360.0, "deg"),
            "planes": ring.planes,
            **_pattern(outcome),
            **named(scenario.ring, "tolerance_deg"),
            "phase_rule": outcome.phase_rule or None,
        },
        "model": {"gravity": gravity_of(outcome), "burns": burn_model_of(outcome), **forces_of(outcome)},
        "proof": None if outcome.proof is None else _proof(outcome.proof),
        "kept": [named(one, "craft", *several, "slot", "error_deg") for one in outcome.kept],
        "front": [] if outcome.front is None else _front(outcome.front),
        "front_note": None if outcome.front is None else outcome.front.note or None,
        "front_resolution_m_s": None if outcome.front is None else number(outcome.front.resolution_m_s, "m_s"),
        "plans": [_plan(scenario, plan, outcome.under) for plan in sorted(outcome.plans, key=lambda plan: plan.rank)],
        **({"rejected": [_plan(scenario, plan, None) for plan in outcome.rejected]} if outcome.rejected else {}),
        "infeasible": None if outcome.infeasible is None else _infeasible(outcome.infeasible),
        "notes": list(outcome.notes),
        "warnings": list(scenario.warnings),
        **({"fronts": fronts(outcome.fronts)} if outcome.fronts else {}),
        **({"let_go": [let_go_values(row, body.radius_m) for row in outcome.let_go]} if outcome.let_go else {}),
        **left_alone_of(outcome),
        **least_possible_of(outcome),
        **({"weighed": [risk_values(one) for one in outcome.weighed]} if outcome.weighed else {}),
        **({"unfinished": outcome.unfinished} if outcome.unfinished else {}),
    }


def _pattern(outcome: Outcome) -> dict[str, float]:
    """How a ring that is inclined lies, and how its planes stand to one another."""
    ring = outcome.ring
    if ring.inclination_rad == 0.0:
        return {}
    found = {
        "inclination_deg": degrees(ring.inclination_rad),
        "node_deg": number(math.degrees(ring.node_rad) % 360.0, "deg"),
    }
    if ring.planes > 1:
        found |= {"phasing": ring.phasing, "spread_deg": degrees(ring.spread_rad)}
    return found


def result_text(outcome: Outcome) -> str:
    """Write the result as strict JSON: stable order, two-space indents, a newline at the end, never NaN or Infinity."""
    return json_text(result(outcome))


def _proof(proof: Proof) -> dict[str, Any]:
    phases = proof.phases
    chosen = phases and {"proved": phases.proved, "bound": finite(phases.bound, 6), "planned": phases.tried}
    return {
        **named(proof, "status", "aim"),
        "bound": finite(proof.bound, 6),
        "unit": proof.unit,
        "gap": finite(proof.gap, 9),
        "over": proof.over,
        "catalogue_bound": finite(proof.catalogue_bound, 6),
        "flown_differs_by": finite(proof.flown_differs_by, 6),
        "all_flown": proof.all_flown,
        **({"free_form_options": proof.free_form} if proof.free_form else {}),
        "options": proof.options,
        "phase": proof.phase or ("given" if proof.phases is None else "chosen"),
        **({"phases": chosen} if chosen else {}),
    }


def _front(front: Front) -> list[dict[str, Any]]:
    points = sorted(front.points, key=lambda point: point.finish_s)
    return [named(point, "delta_v_m_s", "finish_s", "plan", "kind") for point in points]


def fronts(found: tuple[AimFront, ...]) -> dict[str, list[dict[str, Any]]]:
    """The other fronts by name, each a list of points from fast to slow; empty for one that was not walked."""
    by_name = {front.name: front for front in found}
    names = ("worst_delta_v", "propellant", "first_service")
    return {name: aim_points(by_name[name]) if name in by_name else [] for name in names}


def aim_points(front: AimFront) -> list[dict[str, Any]]:
    """The points of a front whose plans are not listed."""
    names = ("delta_v_m_s", "worst_delta_v_m_s", "propellant_kg", "finish_s", "first_service_s", "kind")
    return [named(point, *names) for point in front.points]


def _plan(scenario: Scenario, plan: Plan, under: UnderForces | None = None) -> dict[str, Any]:
    return {
        **named(plan, "rank", "delta_v_m_s", "worst_delta_v_m_s", "propellant_kg", "finish_s"),
        "within_limits": not plan.broken,
        "broken": [{"craft": one.craft, **_judged(one)} for one in plan.broken],
        **named(plan, "on_front", "kind"),
        **({} if plan.slot0_rad is None else {"slot0_deg": number(math.degrees(plan.slot0_rad) % 360.0, "deg")}),
        **({} if plan.by_period_alone else {"by_period_alone": False}),
        "margins": [{**_judged(one), **named(one, "sense", "craft")} for one in plan.margins],
        **_holds(plan, under),
        **plan_keeping_values(plan),
        "craft": [_craft(scenario, part, under if plan.rank == 1 else None) for part in plan.craft],
        **({"carriers": [_carrier(scenario, carrier) for carrier in plan.carriers]} if plan.carriers else {}),
    }


def _next_orbit(scenario: Scenario, orbit: NextOrbit) -> dict[str, Any]:
    return {
        "from_touch": orbit.number + 1,
        "touch_every_s": number(orbit.pass_every_s, "s"),
        **named(orbit, "period_s", "periapsis_km", "apoapsis_km", from_m=scenario.body.radius_m),
    }


def _carrier(scenario: Scenario, carrier: CarrierPlan) -> dict[str, Any]:
    ground_m = scenario.body.radius_m
    return {
        **named(carrier, "carrier", "pad", "insertion", "launch_s", "insertion_s", "parking_wait_s"),
        "first_touch_s": None if carrier.parks_in is not None else number(carrier.first_pass_s, "s"),
        **({} if carrier.parks_in is None else {"parks_in_plane": carrier.parks_in}),
        "touch_every_s": number(carrier.pass_every_s, "s"),
        **named(carrier, "period_s", "periapsis_km", "apoapsis_km", from_m=ground_m),
        **({} if carrier.then is None else {"then": _next_orbit(scenario, carrier.then)}),
        **named(carrier, "lowest_km", "delta_v_m_s", from_m=ground_m),
        "delta_v_allowed_m_s": number(carrier.allowed_m_s, "m_s"),
        "burns": [_burn(scenario, burn) for burn in carrier.burns],
        "drops": [
            {
                "craft": drop.craft,
                "touch": drop.number + 1 if carrier.parks_in is None else 0,
                "time_s": number(drop.time_s, "s"),
            }
            for drop in carrier.drops
        ],
        "open_duty": {
            "what": "disposal",
            "re_enters": not carrier.periapsis_safe,
            **named(carrier, "meets_s", "meets"),
        },
    }


def _holds(plan: Plan, under: UnderForces | None) -> dict[str, Any]:
    """How long a plan holds: by the further forces where plan 1 was followed under them, else by its periods."""
    if under is not None and plan.rank == 1 and (under.hold is not None or under.corrected):
        return hold_by_forces_of(under)
    return {} if plan.hold is None else {"hold": _hold(plan.hold)}


def _hold(hold: Hold) -> dict[str, Any]:
    claimed = hold.holds_s is not None and hold.known_s is not None
    doubt_s = finite(min(hold.known_s or 0.0, hold.holds_s or 0.0), 3) if claimed else None
    return {
        "first_to_leave": hold.craft,
        "holds_s": finite(hold.holds_s, 3),
        "holds_with_doubt_s": doubt_s,
        "by_periods_s": finite(hold.flown_s, 3),
        "missing_force": hold.missing or None,
        "missing_force_estimate_s": finite(hold.missing_s, 0),
        "no_figure": hold.refused or None,
        "first_to_leave_period_error_s": number(hold.period_error_s, "s"),
        **named(hold, "period_known_to_s", "wanted_s"),
        "period_match_s": number(hold.match_s, "s"),
        "trim_m_s_year": None if hold.trim_m_s_year is None else number(hold.trim_m_s_year, "m_s"),
    }


def _judged(one: Broken | Margin) -> dict[str, Any]:
    """A limit, what a plan comes to and what is allowed, in the unit of its key."""
    value, allowed = (number(limit_value(one.limit, size), "") for size in (one.value, one.allowed))
    return {"limit": limit_key(one.limit), "value": value, "allowed": allowed}


def _craft(scenario: Scenario, part: CraftPlan, under: UnderForces | None) -> dict[str, Any]:
    flown, ground_m = part.flown, scenario.body.radius_m
    return {
        **named(part, "craft", "plane", "slot", "route", "side", "revolutions", "ring_revolutions", "passes"),
        **named(part, "lead_deg", "pad", "carrier", "insertion", "insertion_speed_m_s", "launch_s"),
        **_launch(part),
        **named(part, "insertion_s", "parking_wait_s", "ring_arrival_s", "in_slot_s"),
        **({"phasing_period_s": None} if part.side == "level" else named(part, "phasing_period_s")),
        **named(part, "lowest_periapsis_km", "must_burn", from_m=ground_m),
        **named(flown, "closest_km", "closest_to"),
        **named(part, "delta_v_m_s", "propellant_kg", "propellant_left_kg"),
        "flown": {
            **named(flown, "slot_error_deg", "period_error_s", "plane_error_deg", "lowest_km", from_m=ground_m),
            **standing_of(under, part.craft),
            **_corrected(part),
        },
        "burns": [_burn(scenario, burn) for burn in part.burns],
        **_free_form(part),
    }


def _free_form(part: CraftPlan) -> dict[str, Any]:
    """The fields of a free-form flight alone."""
    if part.free_form is None:
        return {}
    return {
        "free_form": {
            "primer_excess": number(part.free_form.primer_excess, ""),
            **named(part.free_form, "linear_estimate_m_s"),
            "estimate_model": "motion linearized about the slot",
            "family": part.free_form.family,
        }
    }


def _launch(part: CraftPlan) -> dict[str, Any]:
    """How a launch is aimed, and the inertial state at insertion."""
    state = part.insertion_state
    if part.azimuth_rad is None or state is None:
        return {}
    return {
        **named(part, "azimuth_deg"),
        **_heading(part),
        "insertion_position_km": [number(x * 1e-3, "km") for x in state[:3]],
        "insertion_velocity_m_s": [number(x, "m_s") for x in state[3:]],
    }


def _heading(part: CraftPlan) -> dict[str, Any]:
    """The fields of a launch from a site that passes through the ring plane."""
    heading = part.heading
    if heading is None:
        return {}
    return {
        **named(heading, "flight_azimuth_deg"),
        "direction": "ascending" if heading.ascending else "descending",
        **named(heading, "tilt_deg"),
        "tilt_at": heading.tilt_at if heading.tilt_rad else None,
        "liftoff_moved_s": number(heading.moved_s, "s"),
        **({} if heading.plane == part.plane else {"launch_plane": heading.plane}),
    }


def _corrected(part: CraftPlan) -> dict[str, Any]:
    """The fields of a plan that was corrected by its flight."""
    if part.first_guess_error_rad is None:
        return {}
    return {
        "first_guess_error_deg": degrees(part.first_guess_error_rad),
        "eccentricity": number(part.flown.eccentricity, ""),
    }


def _burn(scenario: Scenario, burn: Burn) -> dict[str, Any]:
    return {
        **named(burn, "time_s", "delta_v_m_s"),
        **({"by_stage_m_s": number(burn.by_stage_m_s, "m_s")} if burn.by_stage_m_s else {}),
        **named(burn, "radial_m_s", "along_m_s", "cross_m_s", "duration_s", "period_after_s"),
        **named(burn, "periapsis_after_km", "apoapsis_after_km", "propellant_after_kg", from_m=scenario.body.radius_m),
    }


def _bind(bind: Bind) -> dict[str, Any]:
    return {
        "limit": limit_key(bind.limit),
        "value": number(limit_value(bind.limit, bind.value), ""),
        "serves": None if bind.serves is None else serving_value(bind.limit, bind.serves),
    }


def _infeasible(infeasible: Infeasible) -> Mapping[str, Any]:
    binds = [_bind(bind) for bind in infeasible.binds]
    first = binds[0] if binds else {"limit": None, "value": None, "serves": None}
    return {**first, "binds": binds, "together": infeasible.together, "reason": infeasible.reason or None}
