"""Where launchers let go: against vis-viva, against each insertion planned by itself, and the launcher's table."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pytest

from ringwright.models.readouts import plain
from ringwright.optimizer.outcome import Outcome
from ringwright.reports.result import result
from ringwright.reports.terminal import plan_text
from ringwright.tests.worlds import ELLORY, ring

from ..planned import outcome_of, scenario_of
from ..tolerances import SCREEN_M_S, UNSEEN_M_S

WRITTEN_KG = 1e-6
"""Results write masses to a milligram."""
ROUNDED_KM, ROUNDED_KG = 0.05, 0.02
"""The name of an insertion rounds its altitude to 100 m; the launcher brings up to 0.25 kg less for each km."""

GM, BODY_KM, RING_KM = 42000.0, 3400.0, 6000.0

RING = f"""
title = "A choice of insertions"
{ELLORY}{ring(6000.0, 3, 10.0)}[limits]
clearance_km = 40.0
finish_within_d = 12.0
revolutions_max = 6
[launch]
name = "Flat Rock"
latitude_deg = 0.0
longitude_deg = 20.0
turnaround_d = 1.5
insertion = {{insertion}}
[[craft]]
name = "Fen"
dry_mass_kg = 200.0
propellant_kg = 150.0
load = "least"
isp_s = 300.0
"""


@lru_cache
def planned(insertion: str) -> Outcome:
    return outcome_of(scenario_of(RING.replace("{insertion}", insertion)))


def burn_at_ring_m_s(periapsis_km: float) -> float:
    """From the transfer's apoapsis into the ring: vis-viva (Curtis, Orbital Mechanics, 6.2)."""
    ring, low = BODY_KM + RING_KM, BODY_KM + periapsis_km
    return 1e3 * (math.sqrt(GM / ring) - math.sqrt(GM * (2.0 / ring - 2.0 / (ring + low))))


def test_without_a_payload_the_highest_is_the_cheapest() -> None:
    outcome = planned("{ periapsis_km = [130.0, 600.0], apoapsis_km = 6000.0 }")
    [part] = outcome.plans[0].craft
    assert part.insertion == "periapsis 600 km"
    assert outcome.plans[0].delta_v_m_s == pytest.approx(burn_at_ring_m_s(600.0), abs=SCREEN_M_S)


LIMITED = (
    "{ periapsis_km = [130.0, 600.0], apoapsis_km = 6000.0, payload = ["
    "{ periapsis_km = 100, mass_kg = 330.0 }, { periapsis_km = 300, mass_kg = 300.0 }, "
    "{ periapsis_km = 700, mass_kg = 200.0 }] }"
)


def lifted_kg(periapsis_km: float) -> float:
    """The launcher's table, by NumPy."""
    return float(np.interp(periapsis_km, [100.0, 300.0, 700.0], [330.0, 300.0, 200.0]))


def mass_kg(delta_v_m_s: float) -> float:
    """The craft with what it burns: the rocket equation (Curtis, 13.2)."""
    return 200.0 * math.exp(delta_v_m_s / (300.0 * 9.80665))


def test_the_launcher_decides_how_high() -> None:
    """The highest periapsis to which the launcher brings the craft with what it burns there, found by bisection."""
    low, high = 130.0, 600.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        fits = mass_kg(burn_at_ring_m_s(middle)) <= lifted_kg(middle)
        low, high = (middle, high) if fits else (low, middle)
    assert 150.0 < low < 590.0  # the table binds
    outcome = planned(LIMITED)
    [part] = outcome.plans[0].craft
    periapsis_km = float(str(part.insertion).split()[1])
    assert mass_kg(part.delta_v_m_s) <= lifted_kg(periapsis_km) + ROUNDED_KG
    # the grid ends at steps of a sixteenth of the first one, 50 km
    assert low - 50.0 / 16.0 <= periapsis_km <= low + ROUNDED_KM
    assert "every 3.1 km around those chosen" in " ".join(outcome.notes)


def test_never_worse_than_any_insertion_by_itself() -> None:
    outcome = planned(LIMITED)
    for periapsis_km in (130.0, 210.0, 300.0, 385.0, 470.0, 600.0):
        alone = planned(LIMITED.replace("[130.0, 600.0]", str(periapsis_km)))
        if alone.plans:
            assert outcome.plans[0].delta_v_m_s <= alone.plans[0].delta_v_m_s + SCREEN_M_S
    assert any(row.delta_v_m_s < math.inf for row in outcome.let_go)


def test_the_table_is_what_each_insertion_gives_by_itself() -> None:
    outcome = planned(LIMITED)
    assert [round(row.periapsis_m * 1e-3 - BODY_KM, 6) for row in outcome.let_go] == [
        130.0,
        150.0,
        200.0,
        250.0,
        300.0,
        350.0,
        400.0,
        450.0,
        500.0,
        550.0,
        600.0,
    ]
    assert len(outcome.let_go) > 1
    for row in (outcome.let_go[0], outcome.let_go[3], outcome.let_go[-1]):
        altitude_km = row.periapsis_m * 1e-3 - BODY_KM
        assert row.payload_kg == pytest.approx(lifted_kg(altitude_km), abs=WRITTEN_KG)
        alone = planned(LIMITED.replace("[130.0, 600.0]", f"{altitude_km:.6f}"))
        best = alone.plans[0].delta_v_m_s if alone.plans else math.inf
        assert row.delta_v_m_s == pytest.approx(best, abs=UNSEEN_M_S)
    text = plan_text(outcome, 100)
    assert "Where Flat Rock lets go" in text
    assert plain(outcome.let_go[0].delta_v_m_s) in text
    assert result(outcome)["let_go"][0]["periapsis_km"] == 130.0


@pytest.mark.soak
def test_a_parking_orbit_may_be_chosen_too() -> None:
    """From a circle the two burns of a Hohmann transfer (Curtis, 6.2): the higher the circle the less they take."""
    outcome = planned("{ periapsis_km = [200.0, 500.0], apoapsis_km = [200.0, 500.0] }")
    [part] = outcome.plans[0].craft
    assert part.insertion == "periapsis 500 km"
    low, ring = BODY_KM + 500.0, BODY_KM + RING_KM
    leave = 1e3 * (math.sqrt(GM * (2.0 / low - 2.0 / (low + ring))) - math.sqrt(GM / low))
    assert outcome.plans[0].delta_v_m_s == pytest.approx(leave + burn_at_ring_m_s(500.0), abs=SCREEN_M_S)
