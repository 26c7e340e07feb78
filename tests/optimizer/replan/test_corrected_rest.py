"""Gone on from a plan that is corrected for further forces: nothing new where all goes as planned, else in the slot.

Flown from what is printed by code that is not ours in ``tests/independent/test_replanned.py``.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from ringwright.models.errors import FlightError
from ringwright.models.flight.integrate import fly
from ringwright.models.reading.observed import Observed, parse_observed
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.additions import corrected_or_said
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.replan import corrected_rest
from ringwright.optimizer.replan.real_flight import forced, gravity_of
from ringwright.optimizer.replan.resumed_plan import go_on
from ringwright.reports.replan import replan_json, replan_text
from ringwright.tests.tolerances import EXACT, HALF_THIRD_DECIMAL

from ...independent.test_under_forces import FORCES
from ...planned import as_read


@pytest.fixture(scope="module")
def before() -> Outcome:
    # the companion alone, which is the quickest to fly
    given = parse_scenario(FORCES, settings=["forces.degree=0", "forces.drag=false"])
    return corrected_or_said(make_plan(replace(given, forces=None)), given, lambda _: None)


def _long_burn(before: Outcome, now_s: float) -> Observed:
    """What is seen of the first craft that phases, its burn two per mil too long."""
    part = next(one for one in before.plans[0].craft if one.phasing_burn is not None)
    assert part.itinerary is not None
    burn = part.itinerary.impulses[0]
    longer = burn._replace(along_m_s=1.002 * burn.along_m_s, radial_m_s=1.002 * burn.radial_m_s)
    item = replace(part.itinerary, impulses=(longer,), end_s=burn.time_s + now_s)
    [flight] = fly([item], gravity_of(before))
    text = f"now_s = {item.end_s!r}\n{as_read(part.craft, flight.end_state)}"
    return parse_observed(text, before.scenario, before.ring)


def test_what_goes_as_planned_is_as_it_was(before: Outcome) -> None:
    assert forced(before) is not None
    done, here = go_on(before, [lambda _: Observed(now_s=600.0)])
    assert here is not None
    assert done.total_m_s == pytest.approx(before.plans[0].delta_v_m_s, abs=EXACT)
    assert done.under is before.under is here.outcome.under
    assert all(change.same for change in done.changes)


def test_after_a_long_burn_craft_are_in_the_same_slots_under_the_same_forces(before: Outcome) -> None:
    seen = _long_burn(before, 900.0)
    done, here = go_on(before, [lambda _: seen])
    assert here is not None
    assert before.under is not None
    assert done.under is not None
    assert done.under.corrected
    assert done.under.chosen is before.under.chosen
    tolerance = before.scenario.ring.tolerance_rad
    assert {one.craft for one in done.under.craft} == {one.craft for one in before.under.craft}
    assert all(abs(one.spacing_rad or 0.0) < tolerance for one in done.under.craft)
    assert done.total_m_s == pytest.approx(
        sum(change.spent_m_s + change.rest_m_s for change in done.changes), abs=HALF_THIRD_DECIMAL
    )
    for change in done.changes:
        [part] = [part for part in here.outcome.plans[0].craft if part.craft == change.craft]
        assert change.rest_m_s == pytest.approx(part.delta_v_m_s, abs=HALF_THIRD_DECIMAL)
    text = " ".join(replan_text(done, 80).split())
    assert "corrected for and flown with the forces of the plan: point mass, Corbel" in text
    assert json.loads(replan_json(done))["forces"] == list(before.under.chosen.flown)


def test_a_rest_that_cannot_be_flown_says_so(before: Outcome, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_: object, **__: object) -> None:
        raise FlightError("it comes down")

    monkeypatch.setattr(corrected_rest, "under_forces", lost)
    seen = _long_burn(before, 900.0)
    done, _ = go_on(before, [lambda _: seen])
    assert corrected_rest.LOST in done.unfinished
    assert done.under is None
    assert np.isfinite(done.total_m_s)
