"""A limit is one file and one line in the registry, and a row of keys to be read from files.

One that the planner lacks is read, screened, judged, printed and written; and where it leaves no plan, the value that
would serve is named.
"""

from __future__ import annotations

import json
import math

import jsonschema
import pytest

from ringwright.models.keys import TABLES, Default, Key
from ringwright.optimizer.limits import registry
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.reports.no_plan import infeasible_text
from ringwright.reports.result import result_text
from ringwright.reports.result_schema import result_schema
from ringwright.reports.terminal import plan_text
from ringwright.tests.tolerances import WRITTEN_M_S
from ringwright.tests.worlds import SALTMARSH

from ...planned import scenario_of
from . import largest_burn

ONE = (
    f'\ntitle = "Small burns only"\n{SALTMARSH}'
    + """[limits]
finish_within_d = {days}
{more}
[[craft]]
name = "Curlew"
orbit = {{ altitude_km = 3000.0, angle_deg = 20.0 }}
"""
)
ROUNDING_M_S = 0.05
"""What serves is proposed to a tenth of a meter a second."""


@pytest.fixture(autouse=True)
def _registered(monkeypatch: pytest.MonkeyPatch) -> None:
    row = Key(
        name=largest_burn.NAME, kind="speed", meaning="Largest burn.", default=Default(value=math.inf), infinite=True
    )
    monkeypatch.setitem(TABLES, "limits", (*TABLES["limits"], row))
    monkeypatch.setattr(registry, "LIMITS", (*registry.LIMITS, largest_burn.LIMIT))


def _made(days: float, more: str = "") -> Outcome:
    return make_plan(scenario_of(ONE.format(days=days, more=more)))


def _largest(outcome: Outcome, rank: int) -> float:
    return max(burn.delta_v_m_s for part in outcome.plans[rank].craft for burn in part.burns)


def test_it_is_screened_judged_printed_and_written() -> None:
    free, bound = _made(3.0), _made(3.0, "burn_most_m_s = 60.0")
    assert max(_largest(free, rank) for rank in range(len(free.plans))) > 60.0
    assert all(_largest(bound, rank) <= 60.0 for rank in range(len(bound.plans)))
    assert free.proof is not None
    assert bound.proof is not None
    assert bound.proof.options < free.proof.options
    assert "largest burn (Curlew)" in plan_text(bound)
    written = json.loads(result_text(bound))
    jsonschema.validate(written, result_schema())
    (margin,) = [one for one in written["plans"][0]["margins"] if one["limit"] == "limits.burn_most_m_s"]
    assert margin["allowed"] == 60.0
    assert margin["value"] == pytest.approx(_largest(bound, 0), abs=WRITTEN_M_S)
    assert margin["sense"] == "at most"


def test_where_it_leaves_no_plan_it_says_what_would_serve() -> None:
    least = min(_largest(made, rank) for made in [_made(0.4)] for rank in range(len(made.plans)))
    none = _made(0.4, "burn_most_m_s = 5.0")
    assert none.infeasible is not None
    serves = {bind.limit: bind.serves for bind in none.infeasible.binds}["limits.burn_most"]
    assert serves is not None
    assert least <= serves <= least + 2.0 * ROUNDING_M_S
    assert "limits.burn_most_m_s = 5 (largest burn)" in " ".join(infeasible_text(none, width=200).split())
    assert _made(0.4, f"burn_most_m_s = {serves}").plans


def test_without_its_line_in_the_registry_the_planner_does_without_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(registry, "LIMITS", registry.LIMITS[:-1])
    made = _made(3.0, "burn_most_m_s = 5.0")
    assert made.plans
    assert "largest burn" not in plan_text(made)
