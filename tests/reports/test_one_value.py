"""One quantity has one value on screen, sheet, figures, tables, page, budget, slips and JSON.

Only what people read is parsed.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from ringwright.models.readouts import clock, instant, plain, span
from ringwright.models.scenario import Errors
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.robustness.budget import make_budget
from ringwright.optimizer.studies.slips import make_slips
from ringwright.reports.budget import budget_text
from ringwright.reports.figures import drawings
from ringwright.reports.figures.moments import draw_strip
from ringwright.reports.figures.style import paper
from ringwright.reports.page.data import page_data
from ringwright.reports.result import result
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_text
from ringwright.reports.slips import slips_text
from ringwright.reports.tables import frame_csv, tables
from ringwright.reports.terminal import minute, plan_text
from ringwright.reports.understood import understood
from ringwright.reports.wording import changes_of
from ringwright.tests.tolerances import HALF_WRITTEN_M_S

from ..planned import bundled_outcome

SCENARIOS = Path(__file__).parents[2] / "scenarios"
QUICK = ("four-over-the-equator", "one-craft-mars")
NAMES = [
    name if name in QUICK else pytest.param(name, marks=pytest.mark.soak)
    for name in sorted(path.stem for path in SCENARIOS.glob("*.toml"))
]
CLOCK = r"\d+:\d\d:\d\d\.\d\b"


@lru_cache
def planned(name: str) -> tuple[Outcome, dict[str, Any], str]:
    outcome = bundled_outcome(name)
    return outcome, result(outcome), plan_text(outcome, 80)


def section(text: str, heading: str) -> str:
    """The lines of the screen between a heading and the next one."""
    found = re.search(rf"^{heading}[^\n]*\n-+\n(.*?)(?=\n\n\S[^\n]*\n-+\n|\Z)", text, flags=re.DOTALL | re.MULTILINE)
    return found.group(1) if found else ""


def in_slot(outcome: Outcome, part: dict[str, Any]) -> str:
    """When a craft is in its slot, as tables and figures print it."""
    return span(part["in_slot_s"]) if outcome.scenario.epoch is None else minute(outcome, part["in_slot_s"])


def texts(figure: Figure) -> list[str]:
    """All words of a figure."""
    return [one.get_text() for one in figure.findobj(Text) if isinstance(one, Text) and one.get_text().strip()]


def phasing_burn(part: dict[str, Any]) -> int | None:
    """The burn that leaves the craft on its phasing orbit, by the mean period and the number of revolutions alone."""
    burns, period_s = part["burns"], part["phasing_period_s"]
    if not burns or part["route"] == "timed":
        return None
    if period_s is None or len(burns) < 2:
        return 0

    def missed(pair: tuple[int, int]) -> float:
        return float(abs(burns[pair[1]]["time_s"] - burns[pair[0]]["time_s"] - part["revolutions"] * period_s))

    return min(itertools.combinations(range(len(burns)), 2), key=missed)[0]


@pytest.mark.parametrize("name", NAMES)
def test_the_screen_prints_the_period_at_cut_off_of_the_json(name: str) -> None:
    _, values, text = planned(name)
    lines = section(text, "What to fly").splitlines()
    assert re.search(r"\bperiod\b.*\bat\b.*\bcut-off\b", "\n".join(lines), flags=re.DOTALL)
    for part in values["plans"][0]["craft"]:
        begin = next(i for i, line in enumerate(lines) if part["craft"] in line.split()[:2])
        end = next((i for i in range(begin + 1, len(lines)) if not lines[i].startswith("     ")), len(lines))
        index = phasing_burn(part)
        expected = [] if index is None else [clock(part["burns"][index]["period_after_s"])]
        assert re.findall(CLOCK, "\n".join(lines[begin:end])) == expected, part["craft"]
    assert "period to hit" not in text.lower()


@pytest.mark.parametrize("name", NAMES)
def test_the_ring_has_one_printed_period(name: str) -> None:
    outcome, values, text = planned(name)
    shown = re.search(rf"mean\s+period\s+({CLOCK})", text)
    assert shown is not None
    assert shown.group(1) == clock(values["ring"]["period_s"])
    checked = re.search(rf"Mean\s+period\s+({CLOCK})", understood(outcome.scenario))
    assert checked is not None
    assert checked.group(1) == shown.group(1)
    flown = {part["craft"]: part["flown"]["period_error_s"] for part in values["plans"][0]["craft"]}
    period_s = values["ring"]["period_s"]
    if outcome.under is not None and outcome.under.slots is not None:
        # a ring under further forces has another one, printed beside its name
        period_s = outcome.under.slots.period_s
        assert re.search(rf"{shown.group(1)}\s+by\s+the\s+bulge\s+alone", text)
        assert re.search(rf"go\s+round\s+in\s+{clock(period_s, 3)}\s+under\s+these\s+forces", text)
    written = sheets(outcome, outcome.plans[0])
    assert written
    for sheet in written:
        after = re.search(rf"mean period, pass to pass +({CLOCK})", sheet_text(sheet))
        assert after is not None
        assert after.group(1) == clock(period_s + flown[sheet.craft])


@pytest.mark.parametrize("name", NAMES)
def test_sheet_burn_table_and_page_print_the_periods_at_cut_off_of_the_json(name: str) -> None:
    outcome, values, text = planned(name)
    parts = {part["craft"]: part for part in values["plans"][0]["craft"]}
    written = sheets(outcome, outcome.plans[0])
    assert written
    for sheet in written:
        expected = [clock(burn["period_after_s"]) for burn in parts[sheet.craft]["burns"]]
        assert re.findall(rf"PERIOD AT CUT-OFF +({CLOCK})", sheet_text(sheet)) == expected
    acting = re.search(r"^First to act: (.+)$", text, flags=re.MULTILINE)
    assert acting is not None
    table = section(text, "First to act")
    for burn in parts[acting.group(1)]["burns"]:
        assert clock(burn["period_after_s"]) in table
    page = page_data(outcome)
    assert page["plans"][0]["parts"]
    for number, part in zip(page["plans"][0]["parts"], values["plans"][0]["craft"], strict=True):
        shown = [burn["period"] for burn in page["parts"][number]["burns"]]
        assert shown == [clock(burn["period_after_s"]) for burn in part["burns"]]


@pytest.mark.parametrize("name", NAMES)
def test_tables_hold_the_periods_of_the_json(name: str) -> None:
    outcome, values, _ = planned(name)
    rows = {key: list(csv.DictReader(io.StringIO(frame_csv(table)))) for key, table in tables(outcome).items()}
    parts = [part for plan in values["plans"] for part in plan["craft"]]
    burns = [burn for part in parts for burn in part["burns"]]
    assert [float(row["period_after_s"]) for row in rows["burns"]] == [burn["period_after_s"] for burn in burns]
    mean = [row["phasing_period_s"] for row in rows["craft"]]
    assert [float(one) if one else None for one in mean] == [part["phasing_period_s"] for part in parts]
    done = [span(plan["finish_s"]) for plan in values["plans"]]
    assert [plan["finish"] for plan in page_data(outcome)["plans"]] == done


@pytest.mark.parametrize("name", NAMES)
def test_a_burn_has_one_tolerance(name: str) -> None:
    outcome, _, text = planned(name)
    flat = " ".join(section(text, "First to act").split())
    shown = re.search(r"cut-off of burn (\d+) .* tolerance allow (\S+) s either way", flat)
    if shown is None:
        assert name not in QUICK
        return
    acting = re.search(r"^First to act: (.+)$", text, flags=re.MULTILINE)
    assert acting is not None
    (sheet,) = sheets(outcome, outcome.plans[0], [acting.group(1)])
    block = sheet.blocks[int(shown.group(1))]
    assert block.heading.startswith(f"Burn {shown.group(1)} of")
    assert f"tolerance allow {shown.group(2)} s of period at cut-off" in " ".join(block.remarks)


@pytest.mark.parametrize("name", NAMES)
def test_what_all_plans_have_in_common_is_printed_once_and_holds_for_each(name: str) -> None:
    outcome, _, text = planned(name)
    lines = section(text, "The price of time")
    shown = re.search(r"In each of these but plan \d+: (.+?)\.(?:\s|$)", " ".join(lines.split()))
    if shown is None:
        assert name != "four-over-the-equator"
        return
    plans = {plan.rank: plan for plan in outcome.plans}
    ranks = [int(rank) for rank in re.findall(r"^ +(\d+) +[\d ]+\.\d  ", lines, flags=re.MULTILINE)]
    assert len(ranks) > 2
    for rank in ranks:
        if rank != 1:
            assert set(shown.group(1).split("; ")) <= set(changes_of(plans[rank], plans[1]))
    assert lines.count(shown.group(1).split("; ")[0][:12]) == 1


@pytest.mark.parametrize("name", NAMES)
def test_delta_v_and_times_are_those_of_the_json_on_screen_sheet_tables_and_page(name: str) -> None:
    outcome, values, text = planned(name)
    best = values["plans"][0]
    answer = " ".join(text.split("What to fly", 1)[0].split())
    assert f"for {plain(best['delta_v_m_s'])} m/s in all" in answer
    assert f"arrives after {span(best['finish_s'])}" in answer
    lines = section(text, "What to fly").splitlines()
    by_sheet = {sheet.craft: sheet for sheet in sheets(outcome, outcome.plans[0])}
    page = page_data(outcome)
    on_page = [page["parts"][number] for number in page["plans"][0]["parts"]]
    rows = list(csv.DictReader(io.StringIO(frame_csv(tables(outcome)["craft"]))))
    for part, shown, row in zip(best["craft"], on_page, rows, strict=False):
        # remarks under the table begin with a name, too
        line = next(line for line in lines if part["craft"] in line.split()[:1])
        cost, done = plain(part["delta_v_m_s"]), in_slot(outcome, part)
        assert line.endswith(f"  {cost}"), line
        assert done in line
        assert shown["cost"] == f"{cost} m/s"
        assert float(row["delta_v_m_s"]) == part["delta_v_m_s"]
        assert float(row["in_slot_s"]) == part["in_slot_s"]
        if part["burns"]:
            sheet = by_sheet[part["craft"]]
            assert f"; {plain(part['delta_v_m_s'], 2)} m/s in {len(part['burns'])} burn" in sheet.summary
            assert instant(outcome.scenario.epoch, part["in_slot_s"]) in sheet.summary


@pytest.mark.parametrize("name", NAMES)
def test_limits_have_one_value_on_screen_and_page(name: str) -> None:
    outcome, _, text = planned(name)
    shapes = " ".join(section(text, "What shapes it").split())
    limits = page_data(outcome)["plans"][0]["limits"]
    assert limits
    for limit in limits:
        assert f"{limit['value']} {limit['allowed']}" in shapes, limit
        assert limit["craft"] in shapes


@pytest.mark.parametrize("name", NAMES)
def test_figures_print_the_values_of_the_screen(name: str) -> None:
    outcome, values, _ = planned(name)
    best = values["plans"][0]
    with paper():
        words = {which: texts(draw()) for which, draw in drawings(outcome).items()}
        words["strip"] = texts(draw_strip(outcome, outcome.plans[0]))
    # a figure of a front is left out where there is nothing to trade
    assert ("front" in words) == (len(values["front"]) > 1)
    if "front" in words:
        (label,) = [one for one in words["front"] if one.startswith("plan 1\n")]
        assert label.split("\n")[1:3] == [f"{plain(best['delta_v_m_s'])} m/s", span(best["finish_s"])]
        points = {str(point["plan"]) for point in values["front"]}
        assert {one for one in words["front"] if one.isdigit() and int(one) <= max(map(int, points))} & points
    moved = [part for part in best["craft"] if part["burns"]]
    done = [one.split("\n")[1] for one in words["timeline"] if one.startswith("in slot\n")]
    assert sorted(done) == sorted(in_slot(outcome, part) for part in moved)
    summaries = [sheet.summary.lower() for sheet in sheets(outcome, outcome.plans[0])]
    # the last moment of the strip is the end of the plan, of a ring with several planes in that of the first craft
    shown = [part["in_slot_s"] for part in best["craft"] if part["plane"] == best["craft"][0]["plane"]]
    end = in_slot(outcome, {"in_slot_s": max(shown)})
    assert any(one.endswith(end) for one in words["strip"]), end
    gains = [one for one in words["timeline"] if re.match(r"(gains|falls back) [\d.]+ deg in", one)]
    assert len(gains) == sum(part["side"] != "level" and part["route"] != "timed" for part in moved)
    for one in gains:
        assert any(one in summary for summary in summaries), one


def test_budget_and_slips_are_about_the_plan_of_the_json() -> None:
    outcome, values, _ = planned("one-craft-mars")
    best = values["plans"][0]
    with_errors = replace(outcome, scenario=replace(outcome.scenario, errors=Errors(burn_share=0.01)))
    budget = make_budget(with_errors, samples=2000)
    assert [one.planned_m_s for one in budget.craft] == pytest.approx(
        [best["craft"][0]["delta_v_m_s"]], abs=HALF_WRITTEN_M_S
    )
    assert f"All craft together: {plain(best['delta_v_m_s'])} m/s planned" in " ".join(budget_text(budget, 80).split())
    slips = make_slips(outcome, (), 30 * 86_400.0)
    assert slips.flown.delta_v_m_s == pytest.approx(best["delta_v_m_s"], abs=HALF_WRITTEN_M_S)
    said = " ".join(slips_text(slips, 80).split())
    assert f"As planned: {plain(best['delta_v_m_s'])} m/s in all" in said
    # where the catalogue, on which the answers stand, prints another figure, it is named
    by_catalogue = plain(slips.planned.delta_v_m_s)
    assert by_catalogue != plain(best["delta_v_m_s"])
    assert f"by the catalogue, which puts this plan at {by_catalogue} m/s" in said
