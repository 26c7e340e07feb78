"""A result written by hand from enumerated options, in the form that the planner's JSON has: food for the checker."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from .enumeration import G0, Option, orbit_period
from .small_reader import Case, Craft

Result = dict[str, Any]


def _burns(case: Case, craft: Craft, option: Option, parking: float | None) -> list[Result]:
    """The burns with what they lead to; ``parking`` is the parking orbit's radius where there is one."""
    after = []
    if parking is not None:
        after.append((parking, case.radius))
    if option.other_apsis is not None:
        after.append((min(option.other_apsis, case.radius), max(option.other_apsis, case.radius)))
    after.append((case.radius, case.radius))
    left = _loaded(craft, option)
    mass = None if left is None or craft.dry is None else craft.dry + left
    burns = []
    for (time, along), (low, high) in zip(option.burns, after, strict=True):
        if mass is not None and craft.isp is not None:
            mass *= math.exp(-abs(along) / (craft.isp * G0))
        burns.append(
            {
                "time_s": time,
                "delta_v_m_s": abs(along),
                "radial_m_s": 0.0,
                "along_m_s": along,
                "cross_m_s": 0.0,
                "duration_s": None,
                "period_after_s": orbit_period(case.gm, low, high),
                "periapsis_after_km": (low - case.body_radius) / 1e3,
                "apoapsis_after_km": (high - case.body_radius) / 1e3,
                "propellant_after_kg": None if mass is None or craft.dry is None else mass - craft.dry,
            }
        )
    return burns


def _loaded(craft: Craft, option: Option) -> float | None:
    if craft.dry is None or craft.propellant is None or craft.isp is None:
        return None
    if craft.least:
        return craft.dry * math.expm1((option.delta_v + craft.reserve) / (craft.isp * G0))
    return craft.propellant


def _lowest_passed(case: Case, craft: Craft, option: Option, parking: float | None) -> float | None:
    """Lowest periapsis that is flown through, m; a parking orbit counts, the ring itself does not."""
    passed = [] if parking is None else [parking]
    if option.other_apsis is not None and option.side == "below":
        passed.append(option.other_apsis)
    if option.insertion_periapsis is not None and option.passes:
        passed.append(option.insertion_periapsis)
    own = craft.orbit
    if own is not None and own.at is not None and own.periapsis < case.radius - 1.0:
        half = 0.5 * orbit_period(case.gm, own.periapsis, own.apoapsis)
        # from the epoch on, its own periapsis lies half a period before the first burn
        if option.burns[0][0] >= half:
            passed.append(own.periapsis)
    return min(passed, default=None)


def craft_item(case: Case, craft: Craft, option: Option, parking: float | None = None) -> Result:
    """One craft's part of a plan."""
    loaded = _loaded(craft, option)
    used = None
    if loaded is not None and craft.dry is not None and craft.isp is not None:
        used = (craft.dry + loaded) * -math.expm1(-option.delta_v / (craft.isp * G0))
    low = _lowest_passed(case, craft, option, parking)
    return {
        "craft": craft.name,
        "plane": 0,
        "slot": option.slot,
        "route": option.route,
        "side": option.side,
        "revolutions": option.revolutions,
        "ring_revolutions": option.ring_revolutions,
        "pad": None if option.liftoff is None else "",
        "carrier": None,
        "insertion": option.insertion,
        "launch_s": option.liftoff,
        "ring_arrival_s": option.ring_arrival,
        "in_slot_s": option.finish,
        "phasing_period_s": option.phasing_period,
        "lowest_periapsis_km": None if low is None else (low - case.body_radius) / 1e3,
        "must_burn": option.must_burn,
        "closest_km": 0.0 if case.occupied or len(case.craft) > 1 else None,
        "closest_to": None,
        "delta_v_m_s": option.delta_v,
        "propellant_kg": used,
        "propellant_left_kg": None if loaded is None or used is None else loaded - used,
        "flown": {"slot_error_deg": 0.0, "period_error_s": 0.0, "plane_error_deg": 0.0},
        "burns": _burns(case, craft, option, parking) if option.burns else [],
    }


def plan_of(items: Sequence[Result]) -> Result:
    """A plan of the craft's parts, not yet ranked."""
    each = [item["delta_v_m_s"] for item in items]
    used = [item["propellant_kg"] for item in items if item["propellant_kg"] is not None]
    return {
        "rank": 1,
        "delta_v_m_s": sum(each),
        "worst_delta_v_m_s": max(each),
        "propellant_kg": sum(used) if used else None,
        "finish_s": max(item["in_slot_s"] for item in items),
        "within_limits": True,
        "broken": [],
        "craft": list(items),
    }


def result_of(case: Case, slot0: float, plans: Sequence[Result]) -> Result:
    """The whole result of plans (any order, none better than another in both aims), ranked by delta-v."""
    ranked = sorted(plans, key=lambda plan: (plan["delta_v_m_s"], plan["finish_s"]))
    for rank, plan in enumerate(ranked, 1):
        plan["rank"] = rank
    front = [
        {
            "delta_v_m_s": plan["delta_v_m_s"],
            "finish_s": plan["finish_s"],
            "plan": plan["rank"],
            "kind": "step",
        }
        for plan in reversed(ranked)
    ]
    return {
        "format": "ringwright-plan/1",
        "title": "by hand",
        "epoch": None,
        "body": {
            "name": "world",
            "gm_km3_s2": case.gm / 1e9,
            "radius_km": case.body_radius / 1e3,
            "atmosphere_top_km": case.top / 1e3,
        },
        "ring": {
            "altitude_km": (case.radius - case.body_radius) / 1e3,
            "period_s": case.period,
            "speed_m_s": case.speed,
            "slots": case.slots,
            "slot0_deg": math.degrees(slot0),
        },
        "model": {"gravity": "two-body", "burns": "impulsive"},
        "proof": {
            "status": "optimal",
            "aim": "delta_v",
            "bound": ranked[0]["delta_v_m_s"],
            "unit": "m/s",
            "gap": 0.0,
            "over": "catalogue",
            "options": len(ranked),
        },
        "kept": [],
        "front": front,
        "plans": ranked,
        "infeasible": None,
    }
