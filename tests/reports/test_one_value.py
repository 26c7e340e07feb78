"""One quantity has one value on screen, sheet, tables, page data and JSON; only what people read is parsed here."""

from __future__ import annotations

import csv
import io
import itertools
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from ringwright.models.readouts import clock, span
from ringwright.optimizer.outcome import Outcome
from ringwright.reports.page.data import page_data
from ringwright.reports.result import result
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_text
from ringwright.reports.tables import frame_csv, tables
from ringwright.reports.terminal import plan_text
from ringwright.reports.understood import understood
from ringwright.reports.wording import changes_of

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
    written = sheets(outcome, outcome.plans[0])
    assert written
    for sheet in written:
        after = re.search(rf"mean period, pass to pass +({CLOCK})", sheet_text(sheet))
        assert after is not None
        assert after.group(1) == clock(values["ring"]["period_s"] + flown[sheet.craft])


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
