"""Many launches from one pad: few options, few schedules, and work that is counted instead of timed."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from ringwright.models.deadline import EndedError, effort, left_s, poll, searching, worked
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.catalogue import catalogue as made_by
from ringwright.optimizer.catalogue.catalogue import catalogue, further
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.limits.screening import passes_any_slot
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.schedule.lexicographic import solve_lexicographic
from ringwright.tests.tolerances import FLOAT
from ringwright.tests.worlds import PAD_UNDER_THE_RING

LANTERNS = f"""
[body]
name = "earth"
{PAD_UNDER_THE_RING}"""


def _lanterns(count: int, *, unlike: bool = False) -> Problem:
    craft = "".join(
        f'[[craft]]\nname = "Lantern {i}"\n'
        + (f"dry_mass_kg = {100 + i}\npropellant_kg = {90 + i}\nisp_s = 300\n" if unlike else "")
        for i in range(count)
    )
    return problems(parse_scenario(LANTERNS.format(count=count) + craft))[0]


def test_further_liftoffs_are_as_clear_of_others_as_the_first() -> None:
    made = catalogue(_lanterns(40))
    assert not made.whole
    assert made.clear == (True,)
    more = further(made, 0, np.linspace(0.0, 40 * 86400.0, 50))
    assert len(more)
    assert not passes_any_slot(made.problem, more).any()


def test_many_launches_take_few_schedules_and_are_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def counted(problem: Any, *rest: Any, **others: Any) -> Any:
        asked.append(problem.columns.cost.size)
        return solve_lexicographic(problem, *rest, **others)

    monkeypatch.setattr("ringwright.optimizer.choice.selection.solve_lexicographic", counted)
    chosen = Selection(catalogue(_lanterns(40))).best(("delta_v", "finish"), ties="none", flown=False)
    assert chosen is not None
    assert chosen.solved.gap == pytest.approx(0.0, abs=FLOAT)
    assert len(asked) <= 4
    assert max(asked) <= 200_000


def test_craft_that_differ_share_out_the_liftoffs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(made_by, "OPTIONS_MAX", 40_000)
    alike, unlike = (catalogue(_lanterns(16, unlike=unlike)) for unlike in (False, True))
    assert unlike.moments_s[0].size * 16 * 16 <= 1.5 * made_by.OPTIONS_MAX
    assert unlike.moments_s[0].size < alike.moments_s[0].size
    assert np.unique(unlike.options.craft_class).size == 16


def test_work_that_is_counted_ends_a_search() -> None:
    with searching(effort(100.0)):
        worked(99.0)
        poll()
        worked(1.0)
        with pytest.raises(EndedError):
            poll()
    assert left_s() == math.inf
