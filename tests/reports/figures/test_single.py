"""The figure command: sizes, kinds of file, what it refuses, and the moving picture."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from PIL import Image

from ringwright.cli import main
from ringwright.models.errors import InputError
from ringwright.reports.figures import moments
from ringwright.reports.figures.single import figure_file, write_figure
from ringwright.reports.figures.style import INKS, PAPER, QUIET, content, paper
from ringwright.tests.reports import sample
from ringwright.tests.tolerances import TWO_DECIMALS

COLUMN_POINTS = 86.0 / 25.4 * 72.0
"""Width of a column, 86 mm: common practice of journals, no source."""


def silent(_: str) -> None:
    """No progress."""


@pytest.mark.parametrize("name", ["front", "turning_view", "unrolled_ring", "timeline", "strip"])
def test_a_figure_for_a_column_is_as_wide_as_one(name: str, tmp_path: Path) -> None:
    outcome = sample.relay()
    place = write_figure(outcome, outcome.plans[0], name, tmp_path / "x.svg", form="column", progress=silent)
    wide = re.search(r'<svg [^>]*?width="([0-9.]+)pt"', place.read_text(encoding="utf-8"))
    assert wide is not None
    assert float(wide.group(1)) == pytest.approx(COLUMN_POINTS, abs=TWO_DECIMALS)


@pytest.mark.parametrize(("kind", "begins"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_each_kind_of_file_is_that_and_the_same_every_time(kind: str, begins: bytes, tmp_path: Path) -> None:
    outcome = sample.single()
    files = [
        write_figure(outcome, outcome.plans[0], "timeline", tmp_path / f"{i}.{kind}", form="slide", progress=silent)
        for i in range(2)
    ]
    first, second = (file.read_bytes() for file in files)
    assert first.startswith(begins)
    assert first == second


def test_another_plan_is_drawn_where_asked_for(tmp_path: Path) -> None:
    outcome = sample.relay()
    other = outcome.plans[-1]
    with paper():
        words = content(moments.draw_strip(outcome, other), "svg").decode()
    assert f"Plan {other.rank}. Slots stand still" in words.replace("\n", " ")


def test_the_moving_picture_moves_and_ends_with_all_in_their_slots(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(moments, "FRAMES", 6)
    outcome = sample.single()
    place = write_figure(outcome, outcome.plans[0], "motion", tmp_path / "x.gif", form=None, progress=silent)
    with Image.open(io.BytesIO(place.read_bytes())) as picture:
        assert picture.n_frames == 6  # type: ignore[attr-defined]
        shown = []
        for number in range(6):
            picture.seek(number)
            shown.append(picture.convert("RGB").tobytes())
    assert len(set(shown)) == 6


def test_what_does_not_exist_is_refused_with_what_does(tmp_path: Path) -> None:
    outcome = sample.single()
    with pytest.raises(InputError, match=r"no figure 'disc' of this plan.*timeline.*strip, motion"):
        write_figure(outcome, outcome.plans[0], "disc", tmp_path / "x.svg", form=None, progress=silent)
    with pytest.raises(InputError, match=r"'motion' is written as \.gif"):
        figure_file("motion", "x.svg")
    with pytest.raises(InputError, match=r"written as \.svg or \.png or \.pdf"):
        figure_file("front", "x.bmp")


@pytest.mark.usefixtures("shared_plans")
def test_the_command_writes_a_figure_and_nothing_to_trade_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = "scenarios/atoll-on-the-equator.toml"
    root = Path(__file__).parents[3]
    place = tmp_path / "lanes.pdf"
    assert main(["figure", "timeline", str(root / file), "--out", str(place), "--for", "slide"]) == 0
    assert place.read_bytes().startswith(b"%PDF")
    assert "timeline of plan 1 is in" in capsys.readouterr().out
    assert main(["figure", "front", str(root / file), "--out", str(tmp_path / "front.svg")]) == 2
    assert "nothing to trade" in capsys.readouterr().err


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio and relative luminance."""

    def luminance(color: str) -> float:
        parts = [int(color[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_words_are_never_in_a_color_too_pale_for_them() -> None:
    from matplotlib.colors import to_hex
    from matplotlib.text import Text

    from ringwright.reports.figures import drawings

    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast(QUIET, PAPER) >= 4.5
    outcome = sample.relay()
    with paper():
        figures = [draw() for draw in drawings(outcome).values()]
        words = [
            one
            for figure in figures
            for one in figure.findobj(Text)
            if isinstance(one, Text) and one.get_text().strip() and one.get_text().strip() != "\N{BLACK SQUARE}"
        ]
        assert words
        pale = {one.get_text() for one in words if contrast(to_hex(one.get_color()), PAPER) < 4.5}
    assert pale == set()


def test_the_inks_are_those_of_okabe_and_ito() -> None:
    # Okabe and Ito (2008), "Color Universal Design", the palette of eight; black is a gray here, yellow left out
    published = {"#e69f00", "#56b4e9", "#009e73", "#0072b2", "#d55e00", "#cc79a7"}
    assert published < set(INKS)
