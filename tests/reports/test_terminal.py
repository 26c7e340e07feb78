"""What the console shows: widths, order, the number to fly, loud marks, and the numbers that help to fly it."""

from __future__ import annotations

import json
import math
import shlex
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace

import pytest

from ringwright.cli import main
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.readouts import clock
from ringwright.models.scenario import Source
from ringwright.optimizer.craft_plan import Burn
from ringwright.optimizer.outcome import Broken, FrontPoint, Outcome
from ringwright.reports.burn_table import burn_words
from ringwright.reports.first_to_act import after_burn_command, next_periods_s
from ringwright.reports.limits import as_written, limit_key
from ringwright.reports.price_of_time import ROWS_SHOWN, marked_points
from ringwright.reports.remarks import CAUTION
from ringwright.reports.result import result_text
from ringwright.reports.terminal import plan_text
from ringwright.tests.reports import sample
from ringwright.tests.tolerances import SIX_DECIMALS

ALL = [
    sample.relay,
    sample.dozen,
    sample.single,
    sample.broken,
    sample.sloped,
    sample.freeform,
    sample.parked,
    sample.impossible,
    sample.impossible_together,
]


@pytest.mark.parametrize("width", [40, 60, 80, 100, 120, 200])
@pytest.mark.parametrize("make", ALL)
def test_no_line_is_longer_than_the_width(make: Callable[[], Outcome], width: int) -> None:
    text = plan_text(make(), width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert text.endswith("\n")
    assert "\x1b" not in text
    assert "\t" not in text


def test_names_of_any_length_fit() -> None:
    outcome = sample.relay()
    name = "Cedar-of-the-long-valley-beyond-the-river-and-the-hills-and-then-some"
    plans = tuple(
        replace(plan, craft=tuple(replace(part, craft=name + part.craft) for part in plan.craft))
        for plan in outcome.plans
    )
    text = plan_text(replace(outcome, plans=plans), 80)
    assert max(len(line) for line in text.splitlines()) <= 80


@pytest.mark.parametrize("width", [80, 120])
def test_sections_come_in_order(width: int) -> None:
    text = plan_text(sample.relay(), width)
    order = [
        "craft reach their slots for",
        "What to fly",
        "proved over the catalogue",
        "Flown numerically: two-body gravity",
        "What shapes it",
        "The price of time",
        "Other ways",
        "First to act",
        "At cut-off",
        "A planning aid, not flight software.",
    ]
    flat = " ".join(text.split())
    places = [flat.index(" ".join(part.split())) for part in order]
    assert places == sorted(places)
    assert " ".join(CAUTION.split()) in flat


@pytest.mark.parametrize("make", [sample.relay, sample.dozen, sample.single])
def test_every_craft_has_its_period_at_cut_off(make: Callable[[], Outcome]) -> None:
    outcome = make()
    text = plan_text(outcome, 120)
    for part in outcome.plans[0].craft:
        cut_off_s = part.cut_off_period_s
        row = next(line for line in text.splitlines() if line.split()[:1] == [part.craft])
        assert (clock(cut_off_s) if cut_off_s is not None else "is in place") in row


def test_a_broken_limit_is_loud() -> None:
    text = " ".join(plan_text(sample.broken(), 80).split())
    assert "!!! PLAN 1 BREAKS A LIMIT: Cedar, lowest pass above the atmosphere: 31.2 km" in text
    assert "limits.clearance_km allows no less than 40 km" in text
    assert "DO NOT FLY IT AS IT IS" in text


def test_a_limit_broken_by_seconds_says_so_and_names_the_key_as_written() -> None:
    outcome = sample.broken()
    first = outcome.plans[0]
    short = Broken(craft="Cedar", limit="launch.turnaround", value=3 * 86400.0 - 8.7, allowed=3 * 86400.0)
    spelled = Source(spelled={"launch.turnaround": "turnaround_d", "limits.clearance": "clearance_m"})
    outcome = replace(
        outcome,
        scenario=replace(outcome.scenario, source=spelled),
        plans=(replace(first, broken=(*first.broken, short)), *outcome.plans[1:]),
    )
    text = " ".join(plan_text(outcome, 80).split())
    assert "8.7 s short of 3 d, where launch.turnaround_d allows no less than 3 d" in text
    assert " m, where limits.clearance_m allows no less than 40 000 m" in text
    bounds = {one["limit"]: one["allowed"] for one in json.loads(result_text(outcome))["plans"][0]["broken"]}
    assert bounds == {"limits.clearance_m": 40000.0, "launch.turnaround_d": 3.0}


def test_the_reader_keeps_how_keys_are_spelled() -> None:
    pads = """
    [[launch]]
    name = "{}"
    latitude_deg = 0
    longitude_deg = 0
    turnaround_{} = {}
    insertion = {{ periapsis_km = 200, apoapsis_km = 9000 }}
    """
    text = """
    [body]
    name = "mars"
    [ring]
    altitude_km = 9000
    slots = 2
    [limits]
    finish_within = "72:00:00"
    wait_within_min = 4000
    [[craft]]
    name = "Teal"
    propellant_kg = 10
    dry_mass_kg = 20
    isp_s = 300
    """
    one = parse_scenario(text + pads.format("Quay", "d", 3)).source
    two = parse_scenario(text + pads.format("Quay", "d", 3) + pads.format("Reef", "min", 90)).source
    set_to = parse_scenario(text + pads.format("Quay", "d", 3), settings=["launch.turnaround_s=60"]).source
    assert as_written("launch.turnaround", one) == "launch.turnaround_d"
    assert as_written("launch.turnaround", set_to) == "launch.turnaround_s"
    assert as_written("launch.Reef.turnaround", two) == "launch.Reef.turnaround_min"
    assert as_written("limits.wait_within", one) == "limits.wait_within_min"
    assert as_written("craft.Teal.propellant", one) == "craft.Teal.propellant_kg"
    # a clock has no unit in its key: the unit is chosen here
    assert limit_key(as_written("limits.finish_within", one)) == "limits.finish_within_d"


def test_a_broken_limit_of_another_plan_is_marked_in_its_row() -> None:
    outcome = sample.broken()
    swapped = replace(outcome.plans[1], broken=outcome.plans[0].broken)
    text = plan_text(replace(outcome, plans=(replace(outcome.plans[0], broken=()), swapped, *outcome.plans[2:])), 120)
    assert "BREAKS limits.clearance_km" in text
    assert "!!!" not in text


def test_infeasible_says_which_limit_and_what_serves() -> None:
    text = " ".join(plan_text(sample.impossible(), 80).split())
    assert "NO PLAN KEEPS ALL LIMITS" in text
    assert "limits.finish_within_d = 2 (last craft in its slot): 2.91 d or more would serve." in text
    assert "Hazel cannot lift off before 2 d 15 h" in text
    both = " ".join(plan_text(sample.impossible_together(), 80).split())
    assert "all of them have to give" in both
    assert "limits.clearance_km = 40 (lowest pass above the atmosphere): 15 km or less would serve." in both


def test_an_unproved_plan_says_so() -> None:
    outcome = sample.relay()
    assert outcome.proof is not None
    proof = replace(outcome.proof, status="bounded", bound=1700.0, gap=0.0059)
    text = " ".join(plan_text(replace(outcome, proof=proof), 80).split())
    assert "it is not proved best" in text
    assert "gets below 1 700.0 m/s, so it is within 0.59 % of the best." in text


def test_one_plan_says_why_there_is_nothing_to_trade() -> None:
    text = " ".join(plan_text(sample.single(), 80).split())
    assert "Nothing to trade: waiting on the pad is free" in text


def test_long_fronts_are_thinned_and_say_so() -> None:
    outcome = sample.dozen()
    text = plan_text(outcome, 120)
    section = text[text.index("The price of time") : text.index("First to act")]
    ranks = [line.split()[0] for line in section.splitlines() if line.split() and line.split()[0].isdigit()]
    assert len([rank for rank in ranks if rank == "1"]) == 1
    assert f"and {len(outcome.plans) - ROWS_SHOWN} more of the {len(outcome.plans)} plans of the front" in text


def test_thinning_keeps_ends_and_the_chosen_plan() -> None:
    # a long straight run with one sharp corner, at plan 11
    points = tuple(
        FrontPoint(
            delta_v_m_s=100.0 - j - (30.0 if j >= 10 else 0.0), finish_s=1000.0 + 10.0 * j, plan=j + 1, kind="step"
        )
        for j in range(40)
    )
    kept = marked_points(points, 6, 25)
    assert len(kept) == 6
    assert kept[0] == points[0]
    assert kept[-1] == points[-1]
    assert {11, 25} <= {point.plan for point in kept}
    assert list(kept) == sorted(kept, key=lambda point: point.finish_s)
    assert marked_points(points[:3], 6, 1) == points[:3]


def test_the_next_period_meets_the_slot_one_turn_later() -> None:
    outcome = sample.relay()
    found = 0
    for part in (part for plan in outcome.plans for part in plan.craft):
        for more, following in enumerate(next_periods_s(outcome, part), start=1):
            found += 1
            first_s = part.burns[0].time_s
            end_s = first_s + (part.revolutions + more) * following
            # whole revolutions later the craft is where it burned; the slot must be there
            start_angle = float(outcome.ring.phase(first_s, part.slot)) - part.lead_rad
            miss = float(outcome.ring.phase(end_s, part.slot)) - start_angle
            assert math.remainder(miss, 2.0 * math.pi) == pytest.approx(0.0, abs=SIX_DECIMALS)
            off_s = abs((part.phasing_period_s or 0.0) - outcome.ring.period_s)
            assert abs(following - outcome.ring.period_s) < off_s
    assert found >= 3


def test_going_past_the_period_is_not_called_free_where_it_is_not() -> None:
    # craft on the ring burn away from its period: past the period costs twice
    outcome = sample.dozen()
    assert [next_periods_s(outcome, part) for part in outcome.plans[0].craft] == [[]] * 12
    # the extra turn must fit the scenario's limits
    relay = sample.relay()
    tight = replace(relay.scenario, limits=replace(relay.scenario.limits, finish_within_s=relay.plans[0].finish_s))
    cedar = relay.plans[0].craft[1]
    assert next_periods_s(relay, cedar)
    assert not next_periods_s(replace(relay, scenario=tight), cedar)


@pytest.mark.parametrize(
    ("axes", "words"),
    [
        ((0.0, 12.5, 0.0), "12.50 m/s forward"),
        ((0.0, -3.0, 0.0), "3.00 m/s back"),
        ((3.0, -4.0, 0.0), "5.00 m/s: 4.00 back, 3.00 out"),
        ((-3.0, 0.0, 4.0), "5.00 m/s: 3.00 in, 4.00 left"),
        ((0.0, 0.0, -2.0), "2.00 m/s right"),
        ((0.0, 0.004, 0.0), "0.004 m/s"),
    ],
)
def test_burns_are_said_by_direction(axes: tuple[float, float, float], words: str) -> None:
    burn = Burn(
        time_s=0.0,
        delta_v_m_s=math.hypot(*axes),
        radial_m_s=axes[0],
        along_m_s=axes[1],
        cross_m_s=axes[2],
        duration_s=None,
        period_after_s=1.0,
        periapsis_after_m=1.0,
        apoapsis_after_m=1.0,
        propellant_after_kg=None,
    )
    assert burn_words(burn) == words


def test_long_burns_are_owned_up_to() -> None:
    outcome = sample.single()
    first = outcome.plans[0]
    birch = first.craft[0]
    slow = replace(birch, burns=(replace(birch.burns[0], duration_s=626.0),))
    text = " ".join(plan_text(replace(outcome, plans=(replace(first, craft=(slow, *first.craft[1:])),)), 80).split())
    assert "The longest burn, Birch's, would run 10 min, 3.0 % of a turn of the ring." in text


def test_text_and_result_need_no_heavy_library() -> None:
    code = (
        "import sys; import ringwright.reports.result, ringwright.reports.terminal, ringwright.reports.wording, "
        "ringwright.reports.files, ringwright.reports.tables, ringwright.reports.folder; "
        "print([name for name in ('matplotlib', 'pandas', 'scipy', 'pulp') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_where_nothing_moves_nothing_is_proved_or_priced() -> None:
    outcome = sample.relay()
    assert outcome.front is not None
    still = replace(outcome.plans[0], craft=(), margins=(), delta_v_m_s=0.0, finish_s=0.0)
    text = plan_text(replace(outcome, plans=(still,), front=replace(outcome.front, points=())), 80)
    assert "No craft has to move. Alder stays in slot 0." in text
    assert "proved" not in text


def test_a_goal_may_choose_a_plan_off_the_front() -> None:
    outcome = sample.relay()
    chosen = replace(outcome.plans[-1], rank=1, kind="best by the goal")
    ranks = {plan.rank: plan.rank + 1 for plan in outcome.plans[:-1]}
    others = tuple(replace(plan, rank=ranks[plan.rank]) for plan in outcome.plans[:-1])
    assert outcome.front is not None
    points = tuple(replace(point, plan=ranks[point.plan]) for point in outcome.front.points)
    moved = replace(outcome, plans=(chosen, *others), front=replace(outcome.front, points=points))
    section = plan_text(moved, 120).split("The price of time")[1]
    first_row = section.splitlines()[3].split()
    assert first_row[0] == "1"
    assert "cheaper" in section


def test_the_command_for_after_the_burn_finds_the_same_period(capsys: pytest.CaptureFixture[str]) -> None:
    # the one-craft question is answered by other code than the plan: both must name the same period
    outcome = sample.relay()
    for part in outcome.plans[0].craft:
        command = shlex.split(after_burn_command(outcome, part))
        assert command[:2] == ["ringwright", "period"]
        assert part.phasing_period_s is not None
        got = [*command[2:-1], clock(part.phasing_period_s, 3)]
        assert main(["period", *got]) == 0
        assert clock(part.phasing_period_s) in capsys.readouterr().out


def test_there_is_no_such_command_where_it_would_mislead() -> None:
    for make in (sample.single, sample.parked, sample.freeform):
        outcome = make()
        assert after_burn_command(outcome, outcome.plans[0].craft[0]) == ""
    dozen = sample.dozen()
    assert after_burn_command(dozen, dozen.plans[0].craft[1]).startswith("ringwright period --gm 9120.5km3/s2")
