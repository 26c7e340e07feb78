"""What is said of the order in which drifting craft reach their planes."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from ringwright.optimizer.choice.oblate_notes import _order_of_drifts
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.tests.worlds import TWO_PLANES

from ...planned import scenario_of

TEXT = TWO_PLANES.format(ring=900.0, start=550.0, lean=66.0, spread=40.0, days=150.0)
DAY = 86_400.0


def plan_of(*parts: tuple[str, int, float, str]) -> Any:
    return SimpleNamespace(
        craft=[SimpleNamespace(craft=c, plane=p, in_slot_s=d * DAY, route=r) for c, p, d, r in parts]
    )


@pytest.mark.parametrize("apart", ["", "between_craft_d = 3.0\n"])
def test_the_order_is_that_of_arrivals_and_the_gaps_are_theirs(apart: str) -> None:
    (problem,) = problems(scenario_of(TEXT.replace("[[craft]]", apart + "[[craft]]")))
    plan = plan_of(
        ("Ash", 0, 40.0, "drift"), ("Elm", 2, 4.0, "drift"), ("Oak", 1, 10.0, "drift"), ("Fir", 3, 1.0, "shift")
    )
    (said,) = _order_of_drifts(problem, plan)
    assert "in the order 2 (Elm), 1 (Oak) and 0 (Ash), 6.0 to 30.0 d one after another" in said
    assert ("limits.between_craft" in said) == (apart == "")


def test_two_planes_have_no_order_worth_saying() -> None:
    (problem,) = problems(scenario_of(TEXT))
    assert _order_of_drifts(problem, plan_of(("Ash", 0, 40.0, "drift"), ("Elm", 1, 4.0, "drift"))) == []
