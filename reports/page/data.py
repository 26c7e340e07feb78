"""What the page draws from: the outcome as plain values, every number and sentence made by the code that prints text.

Plans share most of their parts, so that each distinct part of a craft is written once and plans refer to it by number.
Between burns a craft is drawn on a conic: semi-major axis, eccentricity, argument of periapsis (as an argument of
latitude) and mean anomaly at a moment, which Kepler's equation turns into places.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ...models.readouts import clock, instant, plain, span
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.one_plan import plan_of_rank
from ...optimizer.outcome import Outcome, Plan
from ..burn_table import burn_words
from ..figures.arcs import Stretch, craft_stretches, gm_drawn
from ..figures.spares import spares_said, waiting
from ..figures.style import INKS
from ..flown_words import flown_text, model_text
from ..limits import limit_amount, limit_words, room_amount, room_of
from ..proof_words import proof_text
from ..remarks import CAUTION, remark_texts
from ..result import result
from ..terminal import answer_text
from ..wording import way_text
from .drawn import drawn_words


def page_data(outcome: Outcome, rank: int | None = None) -> dict[str, Any]:
    """Everything that the page shows, ready for JSON.

    Args:
        outcome: feasible or not; without plans the page says why there are none.
        rank: of the plan that is shown at first, the best one without.

    Returns:
        ``title``, ``answer``, ``proof``, ``remarks`` and ``caution`` (sentences), ``ring``, ``body``,
        ``inks`` (colors of the craft), ``craft`` (names), ``open`` (rank of the plan shown at first), ``drawn`` (how
        far its pictures are off), ``front``, ``parts`` (each distinct part of a craft), ``plans`` (with the numbers
        of their parts), ``kept``, ``spares`` (that wait in the ring) and ``spares_said`` (for each plane). Times are
        seconds from the epoch, altitudes km, angles rad where they are drawn and deg where they are read.

    Raises:
        InputError: there is no plan of that rank.
    """
    shown = plan_of_rank(outcome, rank) if outcome.plans else None
    values = result(outcome)
    ring, scenario = outcome.ring, outcome.scenario
    # those that plan 1 moves first, so that a craft has the same color here and in the figures
    moved = [part.craft for part in outcome.plans[0].craft] if outcome.plans else []
    names = list(dict.fromkeys([*moved, *(craft.name for craft in scenario.craft)]))
    plans, parts = _plans_and_parts(outcome, names)
    return {
        "title": scenario.title,
        "epoch_ms": None if scenario.epoch is None else round(scenario.epoch.timestamp() * 1e3),
        "answer": answer_text(outcome, rank),
        "proof": "" if outcome.proof is None or shown is None else proof_text(outcome.proof),
        "remarks": remark_texts(outcome) if shown is not None else [],
        "caution": CAUTION,
        "inks": list(INKS),
        "craft": names,
        "kept": [{"name": kept.craft, "plane": kept.plane, "slot": kept.slot} for kept in outcome.kept],
        "spares": [
            {"plane": plane, "ahead_rad": ahead, "name": name}
            for plane in range(ring.planes)
            for ahead, name in waiting(outcome, plane)
        ],
        "spares_said": [spares_said(outcome, plane) for plane in range(ring.planes)],
        "body": _body(outcome),
        "ring": {
            "radius_km": ring.radius_m * 1e-3,
            "altitude_km": values["ring"]["altitude_km"],
            "slots": ring.slots,
            "ahead_rad": ring.ahead(np.arange(ring.slots)).tolist(),
            "even": not ring.pattern_rad,
            "planes": ring.planes,
            "rate_rad_s": ring.rate_rad_s,
            "gm_km3_s2": gm_drawn(ring) * 1e-9,
        },
        "open": 1 if shown is None else shown.rank,
        "drawn": "" if shown is None else drawn_words(outcome, shown),
        "front": values["front"],
        "parts": parts,
        "plans": plans,
    }


def _plans_and_parts(outcome: Outcome, names: list[str]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Every plan, by rank, with the numbers of its parts, and every distinct part."""
    parts: list[dict[str, Any]] = []
    numbers: dict[int, int] = {}
    seen: dict[str, int] = {}
    plans = []
    for plan in sorted(outcome.plans, key=lambda plan: plan.rank):
        own = []
        for part in plan.craft:
            if id(part) not in numbers:
                made = _part(outcome.at_phase_of(plan), part, names.index(part.craft))
                key = repr(made)
                if key not in seen:
                    seen[key] = len(parts)
                    parts.append(made)
                numbers[id(part)] = seen[key]
            own.append(numbers[id(part)])
        plans.append(_plan(outcome, plan, own))
    return plans, parts


def _body(outcome: Outcome) -> dict[str, Any]:
    scenario, body = outcome.scenario, outcome.scenario.body
    return {
        "name": body.name,
        "radius_km": body.radius_m * 1e-3,
        "air_km": body.atmosphere_top_m * 1e-3,
        "floor_km": (scenario.floor_m - body.radius_m) * 1e-3,
    }


def _plan(outcome: Outcome, plan: Plan, parts: list[int]) -> dict[str, Any]:
    return {
        "rank": plan.rank,
        "delta_v_m_s": round(plan.delta_v_m_s, 6),
        "finish_s": round(plan.finish_s, 6),
        "cost": f"{plain(plan.delta_v_m_s)} m/s",
        "finish": span(plan.finish_s),
        "flown": f"{model_text(outcome, plan)} {flown_text(outcome, plan)}".strip(),
        "at": instant(outcome.scenario.epoch, plan.finish_s) if outcome.scenario.epoch is not None else "",
        "broken": [
            f"{one.craft}: {limit_words(one.limit).words}, {limit_amount(one.limit, one.value)} "
            f"where {limit_amount(one.limit, one.allowed)} is allowed"
            for one in plan.broken
        ],
        "limits": [
            {
                "words": limit_words(margin.limit).words,
                "craft": margin.craft,
                "value": limit_amount(margin.limit, margin.value),
                "allowed": f"{margin.sense} {limit_amount(margin.limit, margin.allowed)}",
                "room": room_amount(margin, plan.broken),
                "share": _share(margin.allowed, room_of(margin), margin.value),
            }
            for margin in plan.margins
            if math.isfinite(margin.allowed)
        ],
        "parts": parts,
    }


def _share(allowed: float, room: float, value: float) -> float:
    """Room as a share of the limit, 0 to 1, for a bar."""
    return round(min(max(room / max(abs(allowed), abs(value), 1e-12), 0.0), 1.0), 3)


def _part(outcome: Outcome, part: CraftPlan, craft: int) -> dict[str, Any]:
    gm = gm_drawn(outcome.ring)
    loaded = None if part.propellant_left_kg is None else part.propellant_left_kg + (part.propellant_kg or 0.0)
    return {
        "craft": craft,
        "plane": part.plane,
        "slot": part.slot,
        "phase_rad": float(outcome.ring.phase(0.0, 0, part.plane)) % (2.0 * math.pi),
        "way": way_text(part),
        "cost": f"{plain(part.delta_v_m_s)} m/s",
        "in_slot": span(part.in_slot_s),
        "in_slot_s": round(part.in_slot_s, 3),
        "launch_s": None if part.launch_s is None else round(part.launch_s, 3),
        "loaded_kg": None if loaded is None else round(loaded, 3),
        "stretches": [_stretch(one, gm) for one in craft_stretches(outcome, part)],
        "burns": [
            {
                "s": round(burn.time_s, 3),
                "at": instant(outcome.scenario.epoch, burn.time_s, 1),
                "give": burn_words(burn),
                "period": clock(burn.period_after_s),
                "low": plain((burn.periapsis_after_m - outcome.scenario.body.radius_m) * 1e-3),
                "high": plain((burn.apoapsis_after_m - outcome.scenario.body.radius_m) * 1e-3),
                "kg": None if burn.propellant_after_kg is None else round(burn.propellant_after_kg, 3),
            }
            for burn in part.burns
        ],
    }


def _stretch(one: Stretch, gm: float) -> list[Any]:
    """Stage, from, to, semi-major axis km, eccentricity, argument of periapsis rad, mean anomaly rad at its start."""
    position, velocity = one.position_m, one.velocity_m_s
    radius = float(np.hypot(*position))
    speed2 = float(velocity @ velocity)
    axis = 1.0 / (2.0 / radius - speed2 / gm)
    vector = ((speed2 - gm / radius) * position - float(position @ velocity) * velocity) / gm
    eccentricity = float(np.hypot(*vector))
    # a circle has no periapsis: any place serves, here that of the craft
    toward = float(np.arctan2(vector[1], vector[0]) if eccentricity > 1e-9 else np.arctan2(position[1], position[0]))
    true = float(np.arctan2(position[1], position[0])) - toward
    anomaly = 2.0 * math.atan2(
        math.sqrt(max(1.0 - eccentricity, 0.0)) * math.sin(0.5 * true),
        math.sqrt(1.0 + eccentricity) * math.cos(0.5 * true),
    )
    mean = anomaly - eccentricity * math.sin(anomaly) + math.sqrt(gm / abs(axis) ** 3) * (one.from_s - one.at_s)
    return [
        one.stage,
        round(one.from_s, 3),
        round(one.to_s, 3),
        round(axis * 1e-3, 6),
        round(eccentricity, 9),
        round(toward % (2.0 * math.pi), 9),
        round(mean % (2.0 * math.pi), 9),
    ]
