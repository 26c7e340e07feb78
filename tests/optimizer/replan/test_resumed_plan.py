"""The plan that a replan leaves, as a plan by itself; and several looks one after another.

What is left of a plan flown exactly is the rest of that plan: its burns are those that were still to come, and lead
into the slot by scipy's integrator (see ``test_mending.py``).
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from ringwright.cli import main
from ringwright.models.deadline import OutOfTimeError
from ringwright.models.errors import InputError
from ringwright.models.reading.observed import Observed, parse_observed
from ringwright.optimizer.replan import resumed_plan
from ringwright.optimizer.replan.replan import replan
from ringwright.optimizer.replan.resumed_plan import from_here, go_on
from ringwright.reports.replan import replan_text
from ringwright.reports.result import result
from ringwright.tests.tolerances import (
    AVERAGED_DEG,
    FLOAT_M_S,
    MILLISECOND_S,
    SCREEN_M_S,
    SECOND_S,
    TWO_DIGITS_M_S,
    TWO_SECONDS_S,
    WRITTEN_M_S,
    WRITTEN_S,
)

from ...planned import BULGE_ALONE, bundled_outcome
from .test_repair import FOLDER, all_seen, flown_again, state_at

SEEN = """now_h = 1.0

[[craft]]
name = "Flint"
orbit = { period = "11:05:20", apoapsis_km = 9000, at = "apoapsis", at_h = 0, angle_deg = 0 }
"""


def nothing_seen(now_s: float) -> Observed:
    return Observed(now_s=now_s)


@pytest.mark.parametrize("seen", [False, True])
def test_the_rest_of_a_plan_is_a_plan(seen: bool) -> None:
    before = bundled_outcome("low-mars", BULGE_ALONE)
    old = before.plans[0]
    now = 3600.0
    done = replan(before, all_seen(before, now) if seen else nothing_seen(now))
    here = from_here(done)
    assert here is not None
    plan = here.outcome.plans[0]
    to_come = {part.craft: [burn for burn in part.burns if burn.time_s > now] for part in old.craft}
    for part in plan.craft:
        assert [burn.time_s for burn in part.burns] == pytest.approx(
            [b.time_s for b in to_come[part.craft]], abs=SECOND_S
        )
        sizes = [b.delta_v_m_s for b in to_come[part.craft]]
        assert [burn.delta_v_m_s for burn in part.burns] == pytest.approx(sizes, abs=TWO_DIGITS_M_S)
        before_it = next(one for one in old.craft if one.craft == part.craft)
        state = state_at(before.scenario, before_it, now)
        times, states = flown_again(before.scenario.body, state, now, part, before.ring.period_s)
        angle = np.unwrap(np.arctan2(states[:, 1], states[:, 0]))
        gap = angle - np.array([float(before.ring.phase(t, part.slot)) for t in times])
        miss = math.remainder(float(np.trapezoid(gap, times)) / before.ring.period_s, 2.0 * math.pi)
        assert abs(miss) < math.radians(AVERAGED_DEG)
    assert not plan.broken
    assert {one.craft for one in here.outcome.kept} == {"Sorrel"}
    spent = dict(here.past.spent)
    assert plan.delta_v_m_s + sum(spent.values()) == pytest.approx(old.delta_v_m_s, abs=TWO_DIGITS_M_S)
    # the same format as any plan
    assert set(result(here.outcome)) == set(result(before))
    assert result(here.outcome)["plans"][0]["within_limits"]


def test_looks_one_after_another_come_to_the_same_as_the_plan() -> None:
    before = bundled_outcome("low-mars", BULGE_ALONE)
    old = before.plans[0]
    last = max(burn.time_s for part in old.craft for burn in part.burns)
    times = [1200.0, 30_000.0, last - 1200.0]

    def look(now_s: float) -> Observed:
        return all_seen(before, now_s)

    done, here = go_on(before, [lambda _, t=t: look(t) for t in times])  # type: ignore[misc]
    assert here is not None
    assert done.total_m_s == pytest.approx(old.delta_v_m_s, abs=SCREEN_M_S)
    assert done.finish_s == pytest.approx(old.finish_s, abs=TWO_SECONDS_S)
    assert done.old_total_m_s == pytest.approx(old.delta_v_m_s, abs=SCREEN_M_S)
    assert set(here.past.done) == {"Sorrel", "Thyme"}
    after, nobody = go_on(before, [lambda _: nothing_seen(last + 60.0)])
    assert nobody is None
    assert after.total_m_s == pytest.approx(old.delta_v_m_s, abs=FLOAT_M_S)


def test_a_look_sees_what_the_one_before_it_left() -> None:
    before = bundled_outcome("one-craft-mars", BULGE_ALONE)
    first = parse_observed(SEEN, before.scenario, before.ring)
    second = "now_h = 12.0\n"
    done, here = go_on(before, [lambda _: first, lambda now: parse_observed(second, now.scenario, now.ring)])
    # nothing new was seen: the plan that the first look left goes on, and it is not the old one
    assert here is not None
    assert done.remaining.as_planned
    assert done.total_m_s == pytest.approx(done.old_total_m_s, abs=WRITTEN_M_S)
    assert done.total_m_s > before.plans[0].delta_v_m_s + 1.0
    assert done.finish_s == pytest.approx(done.old_plan.finish_s, abs=WRITTEN_S)
    [part] = here.outcome.plans[0].craft
    assert len(part.burns) == len(done.old_plan.craft[0].burns) - 1


def test_looks_come_in_the_order_of_their_times() -> None:
    before = bundled_outcome("one-craft-mars", BULGE_ALONE)
    with pytest.raises(InputError, match="in the order of their times"):
        go_on(before, [lambda _: nothing_seen(7200.0), lambda _: nothing_seen(3600.0)])


@pytest.mark.usefixtures("shared_plans")
def test_command_line_writes_the_plan_from_here(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen, later = tmp_path / "seen.toml", tmp_path / "later.toml"
    seen.write_text(SEEN, encoding="utf-8")
    later.write_text("now_h = 12\n", encoding="utf-8")
    out = tmp_path / "out"
    command = ["replan", f"{FOLDER}/one-craft-mars.toml", "--observed", str(seen), "--observed", str(later)]
    assert main([*command, "--out", str(out)]) == 0
    assert "sheets are in" in capsys.readouterr().out
    plan = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    answer = json.loads((out / "replan.json").read_text(encoding="utf-8"))
    assert plan["format"] == "ringwright-plan/1"
    assert answer["format"] == "ringwright-replan/1"
    [part] = plan["plans"][0]["craft"]
    assert part["in_slot_s"] == pytest.approx(answer["finish_s"], abs=MILLISECOND_S)
    assert all(burn["time_s"] > answer["now_s"] for burn in part["burns"])
    assert plan["plans"][0]["delta_v_m_s"] == pytest.approx(answer["craft"][0]["rest_m_s"], abs=WRITTEN_M_S)
    assert (out / "sheet-1-flint.txt").exists()
    assert (out / "turning_view.svg").exists()
    assert "ringwright plan" not in (out / "plan.txt").read_text(encoding="utf-8")


def test_a_replan_is_shown_where_what_it_leaves_was_not_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    before = bundled_outcome("one-craft-mars", BULGE_ALONE)
    seen = parse_observed(SEEN, before.scenario, before.ring)

    def never(_: object) -> None:
        raise OutOfTimeError

    monkeypatch.setattr(resumed_plan, "from_here", never)
    done, here = go_on(before, [lambda _: seen, lambda _: seen])
    assert here is None
    assert done.changes
    assert "any later observation are left out. --time-limit" in " ".join(replan_text(done, 80).split())
