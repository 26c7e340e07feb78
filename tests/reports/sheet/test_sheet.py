"""Maneuver sheets: what stands on them, within their width, and as files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.models.flight.integrate import readout
from ringwright.models.readouts import clock
from ringwright.reports.sheet.files import write_sheets
from ringwright.reports.sheet.pdf import sheet_pdf
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_markdown, sheet_text

from ...planned import BULGE_ALONE, bundled_outcome

SCENARIOS = Path(__file__).parents[3] / "scenarios"
HASTY = (
    "craft.Flint.dry_mass_kg=400",
    "craft.Flint.propellant_kg=200",
    "craft.Flint.isp_s=310",
    "craft.Flint.thrust_n=4000",
    "craft.Flint.throttle_min=0.3",
    "ring.tolerance_deg=0.05",
)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_asked(width: int) -> None:
    for name in ("atoll-on-the-equator", "low-mars"):
        found = bundled_outcome(name, BULGE_ALONE)
        written = sheets(found, found.plans[0])
        assert written
        for sheet in written:
            assert max(len(line) for line in sheet_text(sheet, width).splitlines()) <= width


def test_a_sheet_says_what_to_do_to_read_and_what_if() -> None:
    found = bundled_outcome("low-mars", BULGE_ALONE)
    part = next(part for part in found.plans[0].craft if part.side == "below")
    (sheet,) = sheets(found, found.plans[0], [part.craft])
    text = sheet_text(sheet)
    for burn in part.burns:
        assert clock(burn.period_after_s) in text
    assert text.count("[ ]") >= 2 * len(part.burns) + 2
    assert text.count("read ____") >= 6 * len(part.burns)
    assert "moves the slot by, deg" in text
    assert "If it is missed: back there at" in text
    assert "is ahead by, deg" in text
    assert "A planning aid, not flight software" in text


def test_a_burn_that_turns_the_plane_is_not_cut_off_by_its_period() -> None:
    """The plan with its first burn turned across the track: no period shows when to stop, and the slot hardly minds."""
    found = bundled_outcome("one-craft-mars")
    plan = found.plans[0]
    (part,) = plan.craft
    before_s = readout(part.before_burns[0], found.ring.gm).period_s
    turn = replace(part.burns[0], radial_m_s=0.0, along_m_s=0.0, cross_m_s=2.0, delta_v_m_s=2.0)
    turned = replace(part, burns=(replace(turn, period_after_s=before_s + 0.1), *part.burns[1:]))
    (sheet,) = sheets(found, replace(plan, craft=(turned,)))
    text = {block.heading: " ".join([*block.steps, *block.remarks]) for block in sheet.blocks}
    assert "this burn turns the plane and hardly changes the period" in text["Burn 1 of 2"]
    assert "Cut off by the period below" in text["Burn 2 of 2"]
    first = sheet.blocks[1]
    assert "s of period" not in text["Burn 1 of 2"]
    assert not any("period" in what for what, _ in first.exact)
    assert "deg of tolerance allow an error as large as the burn." in text["Burn 1 of 2"]
    assert not any(effect.startswith(("+u", "-u")) for _, effect in first.exact)


def test_a_burn_that_must_come_says_that_a_miss_is_the_end() -> None:
    found = bundled_outcome("atoll-on-the-equator")
    part = next(part for part in found.plans[0].craft if part.must_burn)
    (sheet,) = sheets(found, found.plans[0], [part.craft])
    assert "IF IT IS MISSED: the orbit falls below" in sheet_text(sheet)


def test_a_hand_too_slow_is_told_so() -> None:
    found = bundled_outcome("one-craft-mars", *HASTY)
    (sheet,) = sheets(found, found.plans[0], ["Flint"])
    text = " ".join(sheet_text(sheet).split())
    assert "s at full thrust (4 000 N), half of it before the time of the impulse" in text
    assert "s at the least thrust (30 %)" in text
    assert "NOT BY HAND" in text or " % of thrust or less it is within what is allowed" in text


def test_markdown_and_pdf() -> None:
    found = bundled_outcome("low-mars", BULGE_ALONE)
    sheet = sheets(found, found.plans[0])[-1]
    text = sheet_markdown(sheet)
    assert text.startswith(f"# {sheet.title}\n")
    assert "- [ ] " in text
    assert "| PERIOD AT CUT-OFF | " in text
    content = sheet_pdf(sheet)
    assert content.startswith(b"%PDF-")
    assert content.count(b"/Type /Page\n") == 1, "one craft, one page"
    assert content == sheet_pdf(sheet), "the same sheet makes the same file"


def test_files_of_a_folder(tmp_path: Path) -> None:
    found = bundled_outcome("low-mars", BULGE_ALONE)
    written = write_sheets(sheets(found, found.plans[0]), tmp_path / "out")
    assert sorted(path.suffix for path in written) == sorted([".txt", ".md", ".pdf"] * (len(written) // 3))
    assert all(path.stat().st_size > 500 for path in written)


@pytest.mark.usefixtures("shared_plans")
def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    scenario = str(SCENARIOS / "one-craft-mars.toml")
    assert main(["sheet", scenario]) == 0
    assert "Burn 1 of 2" in capsys.readouterr().out
    assert main(["sheet", scenario, "--craft", "Nobody"]) == 2
    assert "is no craft of the scenario" in capsys.readouterr().err
    assert main(["sheet", scenario, "--plan", "999"]) == 2
    assert "there are plans 1 to" in capsys.readouterr().err
    assert main(["sheet", scenario, "--plan", "0"]) == 2


def test_a_zero_has_no_sign_and_errors_are_a_table() -> None:
    found = bundled_outcome("low-mars", BULGE_ALONE)
    written = sheets(found, found.plans[0])
    assert written
    for one in written:
        text = sheet_text(one)
        assert "-0.0000 " not in text
        rows = [line for line in text.splitlines() if line.strip().startswith("1 s of period too long")]
        assert len(rows) == sum(bool(block.exact) for block in one.blocks) > 0
