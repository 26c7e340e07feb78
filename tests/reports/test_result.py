"""The machine-readable result: every field that readers rely on, its type, its unit, and that sums agree."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from ringwright.optimizer.outcome import Bind, Infeasible, Outcome
from ringwright.reports.flown_words import gravity_of
from ringwright.reports.limits import limit_value, serving_value
from ringwright.reports.result import result, result_text
from ringwright.tests.reports import sample
from ringwright.tests.tolerances import EIGHT_DECIMALS_D, FLOAT_DEG, WRITTEN_DEG

NUMBER, TEXT, WHOLE, TRUTH = "number", "text", "whole", "truth"
MAYBE = "?"

TOP = {"format": TEXT, "title": TEXT, "epoch": TEXT + MAYBE}
BODY = {"name": TEXT, "gm_km3_s2": NUMBER, "radius_km": NUMBER, "atmosphere_top_km": NUMBER}
RING = {"altitude_km": NUMBER, "period_s": NUMBER, "speed_m_s": NUMBER, "slots": WHOLE, "slot0_deg": NUMBER}
PROOF = {
    "status": TEXT,
    "aim": TEXT,
    "bound": NUMBER,
    "unit": TEXT,
    "gap": NUMBER,
    "over": TEXT,
    "options": WHOLE,
}
KEPT = {"craft": TEXT, "slot": WHOLE, "error_deg": NUMBER}
POINT = {"delta_v_m_s": NUMBER, "finish_s": NUMBER, "plan": WHOLE, "kind": TEXT}
PLAN = {
    "rank": WHOLE,
    "delta_v_m_s": NUMBER,
    "worst_delta_v_m_s": NUMBER,
    "propellant_kg": NUMBER + MAYBE,
    "finish_s": NUMBER,
    "within_limits": TRUTH,
}
BROKEN = {"craft": TEXT, "limit": TEXT, "value": NUMBER, "allowed": NUMBER}
CRAFT = {
    "craft": TEXT,
    "plane": WHOLE,
    "slot": WHOLE,
    "route": TEXT,
    "side": TEXT,
    "revolutions": WHOLE,
    "ring_revolutions": WHOLE,
    "pad": TEXT + MAYBE,
    "carrier": TEXT + MAYBE,
    "launch_s": NUMBER + MAYBE,
    "ring_arrival_s": NUMBER,
    "in_slot_s": NUMBER,
    "phasing_period_s": NUMBER + MAYBE,
    "lowest_periapsis_km": NUMBER + MAYBE,
    "must_burn": TRUTH,
    "closest_km": NUMBER + MAYBE,
    "closest_to": TEXT + MAYBE,
    "delta_v_m_s": NUMBER,
    "propellant_kg": NUMBER + MAYBE,
    "propellant_left_kg": NUMBER + MAYBE,
}
FLOWN = {"slot_error_deg": NUMBER, "period_error_s": NUMBER, "plane_error_deg": NUMBER}
BURN = {
    "time_s": NUMBER,
    "delta_v_m_s": NUMBER,
    "radial_m_s": NUMBER,
    "along_m_s": NUMBER,
    "cross_m_s": NUMBER,
    "duration_s": NUMBER + MAYBE,
    "period_after_s": NUMBER,
    "periapsis_after_km": NUMBER,
    "apoapsis_after_km": NUMBER,
    "propellant_after_kg": NUMBER + MAYBE,
}
FEASIBLE = [sample.relay, sample.dozen, sample.single, sample.broken, sample.sloped, sample.freeform, sample.parked]


def fits(value: Any, kind: str) -> bool:
    if kind.endswith(MAYBE):
        return value is None or fits(value, kind.removesuffix(MAYBE))
    if kind == TRUTH:
        return isinstance(value, bool)
    if kind == WHOLE:
        return isinstance(value, int) and not isinstance(value, bool)
    if kind == NUMBER:
        return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return isinstance(value, str) and value != ""


def misfits(values: dict[str, Any], fields: dict[str, str]) -> list[str]:
    return [name for name, kind in fields.items() if name not in values or not fits(values[name], kind)]


def read(outcome: Outcome) -> dict[str, Any]:
    def refuse(name: str) -> float:
        raise AssertionError(f"{name} is no JSON number (RFC 8259, section 6)")

    text = result_text(outcome)
    assert text.endswith("}\n")
    values: dict[str, Any] = json.loads(text, parse_constant=refuse)
    return values


@pytest.mark.parametrize("make", FEASIBLE)
def test_every_field_is_there_with_its_type(make: Callable[[], Outcome]) -> None:
    values = read(make())
    assert misfits(values, TOP) == []
    assert values["format"] == "ringwright-plan/1"
    assert misfits(values["body"], BODY) == []
    assert misfits(values["ring"], RING) == []
    assert misfits(values["proof"], PROOF) == []
    assert values["model"]["gravity"] in {"two-body", "j2"}
    assert values["model"]["burns"] in {"impulsive", "finite"}
    assert values["infeasible"] is None
    assert all(misfits(kept, KEPT) == [] for kept in values["kept"])
    assert all(misfits(point, POINT) == [] for point in values["front"])
    assert values["plans"]
    for plan in values["plans"]:
        assert misfits(plan, PLAN) == []
        assert all(misfits(broken, BROKEN) == [] for broken in plan["broken"])
        for part in plan["craft"]:
            assert misfits(part, CRAFT) == []
            assert misfits(part["flown"], FLOWN) == []
            assert part["side"] in {"below", "above", "level"}
            assert part["route"] in {"direct", "park", "shift", "carrier", "drift", "timed"}
            assert all(misfits(burn, BURN) == [] for burn in part["burns"])


@pytest.mark.parametrize("make", FEASIBLE)
def test_sums_over_the_written_numbers_agree(make: Callable[[], Outcome]) -> None:
    millimeter = 1e-3
    plans = read(make())["plans"]
    assert plans
    for plan in plans:
        parts = plan["craft"]
        assert plan["delta_v_m_s"] == pytest.approx(sum(part["delta_v_m_s"] for part in parts), abs=millimeter)
        assert plan["worst_delta_v_m_s"] == max(part["delta_v_m_s"] for part in parts)
        assert plan["finish_s"] == max(part["in_slot_s"] for part in parts)
        assert parts
        for part in parts:
            burns = part["burns"]
            assert part["delta_v_m_s"] == pytest.approx(sum(burn["delta_v_m_s"] for burn in burns), abs=millimeter)
            for burn in burns:
                axes = math.hypot(burn["radial_m_s"], burn["along_m_s"], burn["cross_m_s"])
                assert burn["delta_v_m_s"] == pytest.approx(axes, abs=millimeter)
            if burns:
                assert burns[-1]["time_s"] == part["in_slot_s"]


@pytest.mark.parametrize("make", FEASIBLE)
def test_front_is_sorted_and_points_at_plans(make: Callable[[], Outcome]) -> None:
    values = read(make())
    plans = {plan["rank"]: plan for plan in values["plans"]}
    assert [plan["rank"] for plan in values["plans"]] == sorted(plans)
    finishes = [point["finish_s"] for point in values["front"]]
    assert finishes == sorted(finishes)
    assert values["front"]
    for point in values["front"]:
        assert point["delta_v_m_s"] == plans[point["plan"]]["delta_v_m_s"]
        assert point["finish_s"] == plans[point["plan"]]["finish_s"]
        assert plans[point["plan"]]["on_front"]


def test_no_phasing_has_no_phasing_period() -> None:
    plans = read(sample.single())["plans"]
    assert plans
    for plan in plans:
        assert [part["phasing_period_s"] for part in plan["craft"]] == [None] * 3
    outcome = sample.relay()
    spoiled = replace(outcome.plans[0], craft=tuple(replace(part, side="level") for part in outcome.plans[0].craft))
    assert {part["phasing_period_s"] for part in result(replace(outcome, plans=(spoiled,)))["plans"][0]["craft"]} == {
        None
    }


def test_lengths_leave_as_altitudes_and_angles_as_degrees() -> None:
    outcome = sample.relay()
    values = read(outcome)
    assert values["ring"]["altitude_km"] == 10_000.0
    assert values["body"]["radius_km"] == 6378.137  # WGS 84
    assert values["body"]["gm_km3_s2"] == 398600.4418  # IERS Conventions 2010, Table 1.1
    assert values["ring"]["slot0_deg"] == pytest.approx(91.4, abs=FLOAT_DEG)
    assert values["epoch"] == "2031-05-01T00:00:00Z"
    last = values["plans"][0]["craft"][0]["burns"][-1]
    assert (last["periapsis_after_km"], last["apoapsis_after_km"]) == (10_000.0, 10_000.0)


def test_slot_zero_is_written_within_one_turn() -> None:
    outcome = sample.relay()
    turned = replace(outcome, ring=replace(outcome.ring, slot0_rad=outcome.ring.slot0_rad - 4.0 * math.pi))
    assert result(turned)["ring"]["slot0_deg"] == pytest.approx(91.4, abs=WRITTEN_DEG)


def test_a_broken_limit_is_written_in_its_own_unit() -> None:
    plan = read(sample.broken())["plans"][0]
    assert plan["within_limits"] is False
    assert plan["broken"] == [{"craft": "Cedar", "limit": "limits.clearance_km", "value": 31.25, "allowed": 40.0}]
    days = next(margin for margin in plan["margins"] if margin["limit"] == "limits.finish_within_d")
    assert days["allowed"] == 20.0
    assert days["value"] == pytest.approx(plan["finish_s"] / 86400.0, abs=EIGHT_DECIMALS_D)


def test_infeasible_names_the_limit_and_what_serves() -> None:
    values = read(sample.impossible())
    assert values["plans"] == []
    assert values["front"] == []
    assert values["proof"] is None
    infeasible = values["infeasible"]
    assert (infeasible["limit"], infeasible["value"], infeasible["serves"]) == ("limits.finish_within_d", 2.0, 2.91)


def test_several_binding_limits_are_all_listed() -> None:
    infeasible = read(sample.impossible_together())["infeasible"]
    assert infeasible["together"] is True
    assert [bind["limit"] for bind in infeasible["binds"]] == ["limits.clearance_km", "limits.wait_within_d"]
    assert infeasible["limit"] == infeasible["binds"][0]["limit"]


def test_a_limit_that_nothing_serves_is_null() -> None:
    outcome = sample.impossible()
    bind = Bind(limit="ring.slots", value=3.0, serves=None)
    values = result(replace(outcome, infeasible=Infeasible(binds=(bind,), together=False)))["infeasible"]
    assert (values["limit"], values["value"], values["serves"]) == ("ring.slots", 3.0, None)


@pytest.mark.parametrize("value", [0.1234567, 86400.0 * 2.9100001, 251_425.0, 40_000.0])
def test_what_serves_is_rounded_to_the_side_that_serves(value: float) -> None:
    for limit in ("limits.finish_within", "limits.wait_within_h", "limits.apoapsis_max"):
        assert serving_value(limit, value, 3) >= limit_value(limit, value) - 1e-9
    for limit in ("limits.clearance", "limits.separation_km", "launch.turnaround"):
        assert serving_value(limit, value, 3) <= limit_value(limit, value) + 1e-9


def test_a_number_that_is_none_is_refused() -> None:
    outcome = sample.relay()
    spoiled = replace(outcome, plans=(replace(outcome.plans[0], finish_s=math.nan),))
    with pytest.raises(ValueError, match="nan"):
        result_text(spoiled)


def test_order_is_stable() -> None:
    assert result_text(sample.relay()) == result_text(sample.relay())


def test_gravity_is_read_off_the_ring() -> None:
    outcome = sample.relay()
    assert gravity_of(outcome) == "two-body"
    quicker = replace(outcome.ring, rate_rad_s=outcome.ring.rate_rad_s * 1.0004)
    assert gravity_of(replace(outcome, ring=quicker)) == "j2"
    # a body that has a J2 may still be planned with a point mass
    oblate = replace(outcome.scenario, body=replace(outcome.scenario.body, j2=1.08263e-3))
    assert gravity_of(replace(outcome, scenario=oblate)) == "two-body"
