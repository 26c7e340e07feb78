"""The result as a JSON Schema (2020-12): one row an object, each field with its kind.

``?``: may be null; ``~``: may be missing; ``[...]``: a list. Readers ignore fields that they do not know, so that more
may be added.
"""

from __future__ import annotations

from typing import Any

from ..models.reading.schema import DRAFT

OBJECTS = {
    "result": "format=text title=text epoch=text? body=body ring=ring model=model proof=proof? kept=[kept] "
    "front=[point] front_note=text? front_resolution_m_s=number? plans=[plan] infeasible=infeasible? "
    "notes=[text] warnings=[text] fronts=fronts~ unfinished=text~ "
    "rejected=[plan]~ weighed=[risk]~ let_go=[let_go]~ left_alone=[left_alone]~",
    "left_alone": "what=text who=[text] periapsis_km=number apoapsis_km=number lasts_s=number? followed_s=number "
    "eccentricity_reached=number forces=[text]",
    "let_go": "pad=text insertion=text periapsis_km=number apoapsis_km=number payload_kg=number? delta_v_m_s=number? "
    "finish_s=number?",
    "risk": "plan=count load_p99_m_s=number? load_p99_kg=number? finish_p50_s=number? finish_p90_s=number? "
    "share_in_time=number? share_never=number",
    "body": "name=text gm_km3_s2=number radius_km=number atmosphere_top_km=number j2=number j2_radius_km=number "
    "spin_deg_s=number prime_meridian_deg=number",
    "ring": "altitude_km=number period_s=number speed_m_s=number slots=count slots_deg=[number]~ slot0_deg=number "
    "planes=count inclination_deg=number~ node_deg=number~ phasing=count~ spread_deg=number~ tolerance_deg=number "
    "phase_rule=text?",
    "model": "gravity=text burns=text forces=forces~",
    "forces": "flown=[text] left_out=[left_out] higher_degrees_may_matter=flag",
    "left_out": "force=text estimate_deg_year=number",
    "proof": "status=text aim=text bound=number? unit=text gap=number? over=text "
    "free_form_options=count~ options=count catalogue_bound=number? flown_differs_by=number all_flown=flag phase=text "
    "phases=phases~",
    "phases": "proved=flag bound=number? planned=count",
    "kept": "craft=text plane=count~ slot=count error_deg=number",
    "point": "delta_v_m_s=number finish_s=number plan=count kind=text",
    "fronts": "worst_delta_v=[aim_point] propellant=[aim_point] first_service=[aim_point]",
    "aim_point": "delta_v_m_s=number worst_delta_v_m_s=number propellant_kg=number? finish_s=number "
    "first_service_s=number? kind=text",
    "plan": "rank=count delta_v_m_s=number worst_delta_v_m_s=number propellant_kg=number? finish_s=number "
    "within_limits=flag broken=[broken] on_front=flag kind=text? slot0_deg=number~ by_period_alone=flag~ "
    "margins=[margin] hold=hold~ keeping=keeping~ craft=[craft] carriers=[carrier]~",
    "keeping": "hold_s=number m_s_year=number m_s=number with_plan_m_s=number plane_drift_deg_year=number? "
    "craft=[kept_up]",
    "kept_up": "craft=text from_s=number drag_m_s_year=number east_west_m_s_year=number north_south_m_s_year=number",
    "broken": "craft=text limit=text value=number allowed=number",
    "margin": "limit=text value=number allowed=number sense=text craft=text",
    "hold": "first_to_leave=text? holds_s=number? holds_with_doubt_s=number?~ by_periods_s=number?~ "
    "missing_force=text?~ missing_force_estimate_s=number?~ no_figure=text?~ first_to_leave_period_error_s=number~ "
    "period_known_to_s=number?~ wanted_s=number~ period_match_s=number~ trim_m_s_year=number? forces=[text]~ "
    "comes_down=text?~ from_s=number~ looked_ahead_s=number~ eccentricity_reached=number~ too_oval_s=number?~ "
    "too_low_s=number?~ dead_band_deg=number~ drag_make_up_m_s_year=number~ trims=[trim]~",
    "trim": "craft=text time_s=number along_m_s=number",
    "craft": "craft=text plane=count slot=count route=text side=text revolutions=count ring_revolutions=whole "
    "passes=count lead_deg=number pad=text? carrier=text? insertion=text? insertion_speed_m_s=number? launch_s=number? "
    "azimuth_deg=number~ flight_azimuth_deg=number~ direction=text~ tilt_deg=number~ tilt_at=text?~ "
    "liftoff_moved_s=number~ launch_plane=count~ insertion_position_km=[number]~ "
    "insertion_velocity_m_s=[number]~ insertion_s=number? parking_wait_s=number ring_arrival_s=number in_slot_s=number "
    "phasing_period_s=number? lowest_periapsis_km=number? must_burn=flag closest_km=number? closest_to=text? "
    "delta_v_m_s=number propellant_kg=number? propellant_left_kg=number? flown=flown burns=[burn] free_form=free_form~",
    "flown": "slot_error_deg=number period_error_s=number plane_error_deg=number lowest_km=number "
    "first_guess_error_deg=number~ eccentricity=number~ span_s=number~ mean_slot_error_deg=number?~ "
    "common_shift_deg=number?~",
    "burn": "time_s=number delta_v_m_s=number by_stage_m_s=number~ radial_m_s=number along_m_s=number cross_m_s=number "
    "duration_s=number? period_after_s=number periapsis_after_km=number apoapsis_after_km=number "
    "propellant_after_kg=number?",
    "free_form": "primer_excess=number linear_estimate_m_s=number estimate_model=text family=text",
    "carrier": "carrier=text pad=text insertion=text launch_s=number insertion_s=number parking_wait_s=number "
    "first_touch_s=number touch_every_s=number period_s=number periapsis_km=number apoapsis_km=number "
    "then=next_orbit~ lowest_km=number delta_v_m_s=number delta_v_allowed_m_s=number burns=[burn] drops=[drop] "
    "open_duty=open_duty",
    "next_orbit": "from_touch=count touch_every_s=number period_s=number periapsis_km=number apoapsis_km=number",
    "drop": "craft=text touch=count time_s=number",
    "open_duty": "what=text re_enters=flag meets_s=number? meets=text?",
    "infeasible": "limit=text? value=number? serves=number? binds=[bind] together=flag reason=text?",
    "bind": "limit=text value=number serves=number?",
}

KINDS: dict[str, dict[str, Any]] = {
    "text": {"type": "string"},
    "number": {"type": "number"},
    "count": {"type": "integer", "minimum": 0},
    "whole": {"type": "integer"},
    "flag": {"type": "boolean"},
}


def result_schema() -> dict[str, Any]:
    """The schema of ``ringwright plan --json``."""
    made = {name: _object(rows) for name, rows in OBJECTS.items()}
    return {"$schema": DRAFT, "title": "a Ringwright plan", **made.pop("result"), "$defs": made}


def always(name: str) -> tuple[str, ...]:
    """Fields of an object that are always there and hold a single value, in their order."""
    fields = (row.split("=") for row in OBJECTS[name].split())
    return tuple(field for field, kind in fields if kind.strip("?") in KINDS)


def _object(rows: str) -> dict[str, Any]:
    fields = dict(row.split("=") for row in rows.split())
    return {
        "type": "object",
        "properties": {name: _field(kind) for name, kind in fields.items()},
        "required": [name for name, kind in fields.items() if "~" not in kind],
    }


def _field(kind: str) -> dict[str, Any]:
    bare = kind.rstrip("?~")
    if bare.startswith("["):
        return {"type": "array", "items": _field(bare.strip("[]"))}
    made = KINDS.get(bare, {"$ref": f"#/$defs/{bare}"})
    return {"anyOf": [made, {"type": "null"}]} if "?" in kind else made
