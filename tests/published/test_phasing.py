"""Published phasing examples, run as routes: a scenario in, the published option found in the plan that comes out.

Every example needs the constants of its source, so each has a body with them.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes import rephase as shift

from ..independent.scenario_maker import Draft, write_toml
from ..planned import planned, scenario_of

# Vallado, Fundamentals of Astrodynamics and Applications, constants of his companion tests
VALLADO = {"name": "Earth of Vallado", "gm_km3_s2": 398600.4415, "radius_km": 6378.1363, "atmosphere_top_km": 100.0}
# Curtis, Orbital Mechanics for Engineering Students; Weber, Orbital Mechanics & Astrodynamics (orbital-mechanics.space)
CURTIS = {"name": "Earth of Curtis", "gm_km3_s2": 398600.0, "radius_km": 6378.0, "atmosphere_top_km": 100.0}

PRINTED_KM_S = 2e-9
"""Vallado's companion tests print ten decimals of km/s."""
PRINTED_MIN = 2e-9
"""And ten decimals of a minute."""
CURTIS_KM_S = 3e-5
"""Curtis rounds the rotation rate of the Earth, which moves his total by 2.3e-5 km/s between editions."""
RULE = 0.01
"""A rule of thumb holds to a hundredth."""


def on_ring(body: dict[str, Any], radius_km: float, ahead_deg: float, **limits: Any) -> Draft:
    """One craft on the ring, its only free slot so far ahead of it (negative: behind)."""
    return {
        "title": "one craft, one free slot",
        "body": body,
        "ring": {
            "radius_km": radius_km,
            "slots": 2,
            "slot0_deg": ahead_deg,
            "occupied": [{"name": "Rowan", "slot": 1}],
        },
        "limits": {"separation_km": 0.0, **limits},
        "craft": [
            {
                "name": "Alder",
                "orbit": {
                    "periapsis_km": radius_km - body["radius_km"],
                    "apoapsis_km": radius_km - body["radius_km"],
                    "angle_deg": 0.0,
                },
            }
        ],
    }


def first_craft(draft: Draft) -> dict[str, Any]:
    """The one craft of plan 1."""
    item: dict[str, Any] = planned(write_toml(draft))["plans"][0]["craft"][0]
    return item


@pytest.mark.parametrize(
    ("turns", "minutes", "total_km_s"),
    [
        # Vallado, Example 6-8, companion tests (maneuver/test_transfer.py)
        (1, 225.6949830406, 0.2192686616),
        (2, 464.6661415543, 0.1064813979),
    ],
)
def test_vallado_example_6_8(turns: int, minutes: float, total_km_s: float) -> None:
    """A target 20 deg ahead on the same circle; as many revolutions of the interceptor as of the target."""
    draft = on_ring(VALLADO, 12756.274, 20.0, revolutions_max=turns, finish_within_min=minutes + 1.0)
    item = first_craft(draft)
    assert (item["revolutions"], item["ring_revolutions"], item["side"]) == (turns, turns, "below")
    assert item["in_slot_s"] / 60.0 == pytest.approx(minutes, abs=PRINTED_MIN + 1e-6 / 60.0)
    # the result rounds to a micrometer a second
    assert item["delta_v_m_s"] / 1e3 == pytest.approx(total_km_s, abs=PRINTED_KM_S)
    # the first burn is against the motion: the companion test's minus sign
    assert item["burns"][0]["along_m_s"] < 0.0 < item["burns"][1]["along_m_s"]


# Weber, Phasing chapter: GEO from 0 to 137.2 W in one phasing revolution while the slot makes n turns. The page's own
# code was read and evaluated with its constants (mu 3.986e5, day 86164.0905 s); the page prints no table.
WEBER_DAY_S = 86164.0905
WEBER = {1: (33.05616, 0.569125), 2: (56.99063, 1.227795), 5: (128.79404, 1.807693)}


def weber_ring_km() -> float:
    """Radius of a circle that turns in the source's day."""
    return float((CURTIS["gm_km3_s2"] * (WEBER_DAY_S / math.tau) ** 2) ** (1.0 / 3.0))  # type: ignore[operator]


def options_by_turns(draft: Draft) -> dict[int, tuple[float, float]]:
    """What the route lists, before pruning: ring revolutions to (time in the slot, s; delta-v, m/s)."""
    (problem,) = problems(scenario_of(write_toml(draft)))
    (group,) = problem.classes
    assert group.start is not None
    options = shift.phased(
        shift.Phasing(
            craft_class=0,
            touch=problem.touch(group.start.speed_m_s),
            start=group.start,
            slots=np.array([0]),
            floor_m=problem.scenario.floor_m,
            ceiling_m=problem.scenario.limits.apoapsis_max_m,
        )
    )
    return {
        int(m): (float(finish), float(delta_v))
        for m, finish, delta_v in zip(options.ring_revolutions, options.finish_s, options.delta_v_m_s, strict=True)
    }


@pytest.mark.parametrize("turns", WEBER)
def test_weber_phasing_of_a_geostationary_craft(turns: int) -> None:
    """The slot is 137.2 deg behind. The route lists every n; a plan takes n = 1, cheaper and sooner than the others."""
    hours, total_km_s = WEBER[turns]
    found = options_by_turns(on_ring(CURTIS, weber_ring_km(), -137.2, revolutions_max=1))
    assert found[turns][0] / 3600.0 == pytest.approx(hours, abs=1e-5)
    assert found[turns][1] / 1e3 == pytest.approx(total_km_s, abs=1e-6)


def test_weber_lowest_orbit_is_rejected() -> None:
    """n = 0 dips to 2163 km from the center, inside the Earth; the cheapest is n = 1, as the source says."""
    draft = on_ring(CURTIS, weber_ring_km(), -137.2, revolutions_max=1, finish_within_d=10.0)
    assert 0 not in options_by_turns(draft)
    result = planned(write_toml(draft))
    assert result["plans"][0]["craft"][0]["ring_revolutions"] == 1
    assert min(point["finish_s"] for point in result["front"]) > 30.0 * 3600.0
    # and with nothing but n = 0 in time there is no plan at all
    draft = on_ring(CURTIS, weber_ring_km(), -137.2, revolutions_max=1, finish_within_h=20.0)
    result = planned(write_toml(draft))
    assert result["plans"] == []
    assert result["infeasible"] is not None


def test_curtis_example_6_5() -> None:
    """GEO, 12 deg west in three phasing revolutions (inputs of Curtis, Example 6.5; the total recomputed from them)."""
    draft = on_ring(CURTIS, 42164.0, -12.0, revolutions_max=3, finish_within_d=3.2)
    item = first_craft(draft)
    assert (item["revolutions"], item["ring_revolutions"], item["side"]) == (3, 3, "above")
    assert item["delta_v_m_s"] / 1e3 == pytest.approx(0.0225363, abs=CURTIS_KM_S)
    assert item["phasing_period_s"] == pytest.approx(87121.4688, abs=2.0)
    assert item["burns"][0]["apoapsis_after_km"] + 6378.0 == pytest.approx(42787.811, abs=0.5)


@pytest.mark.parametrize("ahead_deg", [10.0, -10.0])
def test_drift_of_one_degree_a_day(ahead_deg: float) -> None:
    """2.84 m/s starts a drift of 1 deg/day on the geostationary ring, and as much stops it (from memory)."""
    draft = on_ring(VALLADO, 42164.169, ahead_deg, revolutions_max=10, finish_within_d=10.3)
    item = first_craft(draft)
    assert item["revolutions"] == 10
    days = item["in_slot_s"] / 86400.0
    for burn in item["burns"]:
        assert burn["delta_v_m_s"] * days / 10.0 == pytest.approx(2.84, rel=RULE)
    assert item["delta_v_m_s"] * days / 10.0 == pytest.approx(5.68, rel=RULE)


def test_gaining_150_degrees_in_one_revolution() -> None:
    """A phasing orbit of 58.3 % of the ring's period (common practice, no source: 1 - 150/360)."""
    draft = on_ring(VALLADO, 42164.169, 150.0, revolutions_max=1, finish_within_h=24.0)
    item = first_craft(draft)
    assert item["side"] == "below"
    ring_s = planned(write_toml(draft))["ring"]["period_s"]
    assert item["phasing_period_s"] / ring_s == pytest.approx(0.583, abs=5e-4)


def test_letting_the_ring_run_10_degrees_ahead() -> None:
    """Lengthen the period by about 3 % for one revolution (common practice, no source: 10/360, good to a degree)."""
    draft = on_ring(VALLADO, 42164.169, -10.0, revolutions_max=1, finish_within_h=26.0)
    item = first_craft(draft)
    assert item["side"] == "above"
    longer = item["phasing_period_s"] / planned(write_toml(draft))["ring"]["period_s"] - 1.0
    assert abs(longer - 0.03) * 360.0 < 1.0


def test_circularizing_at_the_apoapsis() -> None:
    """Raise the far side at the apoapsis: burn forward until the periapsis equals it (common practice, no source).

    The craft's own orbit brings it to the ring just where its slot is.
    """
    draft = on_ring(VALLADO, 12756.274, 0.0)
    draft["craft"][0]["orbit"].update(periapsis_km=800.0, at="apoapsis")
    item = first_craft(draft)
    (burn,) = item["burns"]
    assert item["side"] == "level"
    assert burn["along_m_s"] > 0.0
    assert burn["radial_m_s"] == pytest.approx(0.0, abs=1e-6)
    assert burn["periapsis_after_km"] == pytest.approx(burn["apoapsis_after_km"], abs=1e-3)
    # vis-viva at the apoapsis of 7178.1363 x 12756.274 km
    before = math.sqrt(398600.4415 * (2.0 / 12756.274 - 2.0 / (7178.1363 + 12756.274)))
    assert burn["along_m_s"] / 1e3 == pytest.approx(math.sqrt(398600.4415 / 12756.274) - before, abs=1e-8)
