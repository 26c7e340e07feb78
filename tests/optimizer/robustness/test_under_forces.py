"""Plans flown again under further forces: nothing changes without them, and what they do is what they do."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.flight.flown import Itinerary
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import fly
from ringwright.models.flight.smooth_mean import measure_smoothly, window, window_s
from ringwright.models.reading.scenario_reader import parse_scenario, read_scenario
from ringwright.models.units import DAY_S
from ringwright.optimizer.additions import corrected_or_said
from ringwright.optimizer.outcome import Front, Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.robustness import under_forces as module
from ringwright.optimizer.robustness.under_forces import under_forces
from ringwright.reports.figures import drawings
from ringwright.reports.figures.style import paper
from ringwright.reports.result import result
from ringwright.reports.terminal import plan_text
from ringwright.tests.tolerances import EXACT, FIRST_ORDER_REL, MILLISECOND_S, SLOT_DEG, WRITTEN_RAD
from ringwright.tests.worlds import LOW_RING, low_craft

from ...planned import SCENARIOS, outcome_of, scenario_of


def _text(forces: str, area: float = 0.5, ring: str = "") -> str:
    return f"""{LOW_RING}slots = 4
inclination_deg = 52
slot0_deg = 55
{ring}
[limits]
revolutions_max = 3
{forces}
{low_craft("Teal", 10, area, 100, 300)}{low_craft("Sage", 55, 0.5, 100, 300)}"""


@cache
def _planned(forces: str, area: float = 0.5, ring: str = "") -> Outcome:
    """Followed for a month: the years after the plan are for ``test_hold_by_forces.py``."""
    scenario = parse_scenario(_text(forces, area, ring))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "LOOK_S", 0.0)
        return make_plan(replace(scenario, ring=replace(scenario.ring, hold_for_s=30.0 * DAY_S)))


NONE = "[forces]\ndegree = 0\nsun = false\nmoon = false\ndrag = false\nsunlight = false"
FOURTH = "[forces]\ndegree = 4\nsunlight = false\ndrag = false\nsun = false\nmoon = false"
DRAG = "[forces]\ndegree = 0\nsun = false\nmoon = false\ndrag = true\nsunlight = false"


@pytest.fixture(scope="module")
def plain() -> Outcome:
    return _planned("")


def test_plan_1_is_corrected_and_the_others_stay(plain: Outcome) -> None:
    outcome = _planned(FOURTH)
    under = outcome.under
    assert plain.under is None
    assert under is not None
    assert under.corrected
    assert under.missed == ()
    errors = [one.spacing_rad for one in under.craft]
    assert errors
    assert all(error is not None and abs(error) < math.radians(SLOT_DEG) for error in errors)
    assert abs(under.common_shift_rad) < math.radians(SLOT_DEG)
    said, bare = result(outcome), result(plain)
    assert said["model"]["forces"]["flown"][:2] == ["bulge", "degree 4"]
    # what keeping takes is said of every plan under further forces
    assert all(row.pop("keeping")["hold_s"] > 0.0 for row in said["plans"])
    assert said["plans"][1:] == bare["plans"][1:]
    first = outcome.plans[0]
    assert first.delta_v_m_s - plain.plans[0].delta_v_m_s == pytest.approx(under.added_m_s)
    assert [point.delta_v_m_s for point in (outcome.front or _fail()).points if point.plan == 1] == [first.delta_v_m_s]
    text = " ".join(plan_text(outcome).split())
    assert "Its burns are those as corrected" in text
    assert "The other plans are made for the bulge alone." in text
    assert "without another burn, within" in text
    assert "Under further forces" not in plan_text(plain)
    assert said["plans"][0]["hold"]["forces"] == said["model"]["forces"]["flown"]
    with paper():
        figure = drawings(outcome)["spacing"]()
    lines = figure.axes[0].get_lines()
    # the middle, and each craft without trims and with them
    assert len(lines) == 1 + 2 * len(first.craft)
    assert "spacing" not in drawings(outcome, 2)
    assert "spacing" not in drawings(plain)


def _fail() -> Front:
    raise AssertionError("no front")


def test_a_craft_in_place_is_trimmed() -> None:
    """Slot 0 lies where Sage is, which need not move: under the harmonics its mean rate is not the ring's."""
    plan = _planned(FOURTH).plans[0]
    [sage] = [part for part in plan.craft if part.craft == "Sage"]
    assert len(sage.burns) == 2
    assert 0.0 < sage.delta_v_m_s < 1.0
    assert sage.in_slot_s == sage.burns[-1].time_s


@pytest.mark.soak
def test_with_every_force_out_it_stands_as_it_was_flown() -> None:
    outcome = _planned(NONE)
    under = outcome.under
    assert under is not None
    assert under.chosen.flown == ("bulge",)
    plan = outcome.plans[0]
    last = max(plan.craft, key=lambda part: part.in_slot_s)
    [found] = [one for one in under.craft if one.craft == last.craft]
    assert found.spacing_rad is not None
    assert found.spacing_rad + under.common_shift_rad == pytest.approx(last.flown.slot_error_rad, abs=WRITTEN_RAD)
    assert found.period_error_s == pytest.approx(last.flown.period_error_s, abs=MILLISECOND_S)


@pytest.mark.soak
def test_drag_parts_craft_of_unlike_surface() -> None:
    """At 400 km, two craft that stay, one with four times the area: they part by half the difference of their second
    derivatives, 3/2 rho w^2 Cd A / (m a) each (Soop 1994, chapter 4), times the mean square of the time."""
    text = _text(DRAG, 2.0)
    text = text.replace("angle_deg = 55 }", "angle_deg = 100 }").replace("area_m2", "stay = true\narea_m2")
    text = text.replace("slot0_deg = 55\n", "")
    text += '[[craft]]\nname = "Fern"\norbit = { altitude_km = 400, angle_deg = 230 }\n'
    outcome = make_plan(parse_scenario(text))
    under = outcome.under
    assert under is not None
    earth = bodies.body("earth")
    radius = earth.radius_m + 400e3
    # the air turns along
    wind = 1.0 - earth.spin_rad_s * math.cos(math.radians(52.0)) / math.sqrt(earth.gm / radius**3)
    strength = 1.5 * 3.725e-12 * earth.gm / radius**2 * wind**2 * 2.2 / 200.0
    times, weights = window(outcome.ring, under.at_s)
    squared = float(weights @ times**2)
    spacing = {one.craft: one.spacing_rad or 0.0 for one in under.craft}
    assert set(spacing) == {"Teal", "Sage", "Fern"}
    # but for drag, craft that stay turn with the ring
    parted = spacing["Teal"] - spacing["Sage"]
    assert parted == pytest.approx(0.5 * strength * 1.5 * squared, rel=FIRST_ORDER_REL)
    assert sum(spacing.values()) == pytest.approx(0.0, abs=EXACT)


@pytest.mark.soak
def test_craft_that_stay_are_flown_too() -> None:
    ring = '[[ring.occupied]]\nname = "Fern"\nslot = 2\nangle_deg = 235.2'
    under = _planned(DRAG, ring=ring).under
    assert under is not None
    assert {one.craft for one in under.craft} == {"Teal", "Sage", "Fern"}
    assert all(one.spacing_rad is not None for one in under.craft)


def test_a_craft_that_comes_down_is_told() -> None:
    outcome = _planned(DRAG + "\ndensity_factor = 1000", area=200.0)
    under = outcome.under
    assert under is not None
    lost = [one.craft for one in under.craft if one.spacing_rad is None]
    assert "Teal" in lost
    text = " ".join(plan_text(outcome).split())
    assert "Teal" in text
    assert "DO NOT FLY PLAN 1 AS IT IS" in text
    part = next(one for one in result(outcome)["plans"][0]["craft"] if one["craft"] == "Teal")
    assert part["flown"]["mean_slot_error_deg"] is None


@pytest.mark.soak
def test_a_plan_too_long_is_not_flown_again(monkeypatch: pytest.MonkeyPatch) -> None:
    outcome = _planned(NONE)
    monkeypatch.setattr(module, "MOST_TURNS", 1.0)
    found = under_forces(outcome, outcome.plans[0])
    assert found is not None
    plan, under = found
    assert plan is outcome.plans[0]
    assert under.craft == ()
    assert "NOT FLOWN WITH" in " ".join(plan_text(replace(outcome, under=under)).split())


def test_time_that_ran_out_is_said() -> None:
    late = make_plan(parse_scenario(_text(NONE)), left_s=lambda: 0.0)
    assert late.under is None
    assert not late.plans or "plan 1 was not flown under further forces" in late.unfinished


def test_a_pull_of_an_own_world_moves_on_with_the_epoch() -> None:
    text = """
body = { name = "Tessaly", gm_km3_s2 = 9120.5, radius_km = 1210.0 }
ring = { altitude_km = 700.0, slots = 2 }
pull = [{ name = "Corbel", gm_km3_s2 = 900, orbit = { radius_km = 90000, period_d = 20, angle_deg = 30 } }]
craft = [{ name = "Nut", orbit = { altitude_km = 700, angle_deg = 0 } }]
"""
    [one] = parse_scenario(text).pulls
    assert math.degrees(one.later(5.0 * 86_400.0).angle_rad) == pytest.approx(120.0)
    assert np.isclose(one.later(0.0).angle_rad, one.angle_rad)


TIGHT = """
body = { name = "mars" }
ring = { altitude_km = 1614, slots = 2, inclination_deg = 4.0 }
limits = { revolutions_max = 4, finish_within_d = 3.25 }
craft = [{ name = "Thimble", dry_mass_kg = 100.0, propellant_kg = 8.9, isp_s = 300.0 }]
[launch]
latitude_deg = 0.0
longitude_deg = 51
insertion = { periapsis_km = 222.0, apoapsis_km = 1614.0, altitude_km = 222.0 }
"""


def test_a_correction_that_would_break_a_limit_is_not_made() -> None:
    outcome = outcome_of(parse_scenario(TIGHT))
    assert outcome.under is not None
    assert outcome.under.breaks
    assert not outcome.under.corrected
    assert not outcome.plans[0].broken
    assert outcome.plans[0].delta_v_m_s == outcome_of(scenario_of(TIGHT)).plans[0].delta_v_m_s
    text = " ".join(plan_text(outcome).split())
    assert "since corrected for more it would break craft.Thimble.delta_v" in text
    assert "NOT FLOWN WITH" in text


LIKE_REL = 0.03
"""By so much of itself what an error does may differ with and without the forces."""


@pytest.mark.soak
def test_what_errors_do_is_the_same_without_the_forces() -> None:
    # why a budget may count from the corrected plan what errors add to the plan for the bulge alone
    given = read_scenario(SCENARIOS / "low-mars.toml", [])
    outcome = corrected_or_said(make_plan(replace(given, forces=None)), given, lambda _: None)
    under, made = outcome.under, outcome.made
    assert under is not None
    assert under.slots is not None
    assert made is not None
    shares = np.random.default_rng(17).normal(0.0, 0.005, 8)
    ways = (
        (outcome.plans[0], under.chosen.field, under.slots),
        (made, gravity_around(given.body), outcome.ring),
    )
    for name in ("Thyme", "Fennel"):
        moved = []
        for plan, gravity, ring in ways:
            [part] = [part for part in plan.craft if part.craft == name]
            assert part.itinerary is not None
            item = replace(part.itinerary, end_s=under.at_s + 1.2 * window_s(ring))
            flights = fly([_with_error(item, share) for share in (0.0, *shares.tolist())], gravity, relative=1e-11)
            seen = [measure_smoothly(flight, ring, part.plane, part.slot, under.at_s) for flight in flights]
            off = np.array([[one.slot_error_rad, one.period_error_s] for one in seen])
            moved.append(off[1:] - off[0])
        forced, bare = moved
        assert np.abs(bare[:, 0]).max() > math.radians(1.0)
        assert np.abs(forced - bare)[:, 0].max() < LIKE_REL * np.abs(bare[:, 0]).max()
        assert np.abs(forced - bare)[:, 1].max() < LIKE_REL * np.abs(bare[:, 1]).max()


def _with_error(item: Itinerary, share: float) -> Itinerary:
    """The first burn too long by a share of itself."""
    first, *others = item.impulses
    longer = first._replace(along_m_s=(1.0 + share) * first.along_m_s, radial_m_s=(1.0 + share) * first.radial_m_s)
    return replace(item, impulses=(longer, *others))
