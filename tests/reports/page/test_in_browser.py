"""The page in headless Chromium: every control by mouse, touch and keyboard; numbers; access; names that attack."""

from __future__ import annotations

import itertools
import json
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.readouts import span
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.reports.burn_table import burn_words
from ringwright.reports.page.data import page_data
from ringwright.reports.result import result
from ringwright.scenarios import text
from ringwright.tests.reports import sample
from ringwright.tests.reports.crowd import crowd
from ringwright.tests.reports.page.browser import Watched, browser, missing, saved
from ringwright.tests.tolerances import CLOCK_S, SECOND_S, SHOWN_KM, SHOWN_M_S

pytestmark = [pytest.mark.page, pytest.mark.skipif(bool(missing()), reason=missing())]

WIDTHS = (1440, 768, 390)

HOSTILE = (
    '</script><script>alert(1)</script><img src=x onerror="alert(2)">',
    "\"'`&amp;<b>=1+1</b>",
    "\u202egnip\u202c \u05e9\u05dc\u05d5\u05dd \U0001f6f0\ufe0f \x1b[31m",
)
LONG = "Bobbin" * 833 + "ab"
"""5 000 characters."""

EPOCH_S = datetime.fromisoformat("2031-05-01T00:00:00+00:00").timestamp()
"""Of the sample scenarios."""


@pytest.fixture(scope="module")
def home() -> Iterator[Any]:
    with browser() as started:
        yield started


@pytest.fixture(scope="module")
def relay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return saved(sample.relay(), tmp_path_factory.mktemp("page") / "relay.html")


@pytest.fixture(scope="module")
def sheeted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bundled scenario, planned, with the sheets of its craft."""
    outcome = make_plan(parse_scenario(text("four-over-the-equator"), settings=["limits.revolutions_max=4"]))
    return saved(outcome, tmp_path_factory.mktemp("page") / "sheeted.html", with_sheets=True)


@pytest.fixture
def opened(home: Any, relay: Path) -> Iterator[Watched]:
    watched = Watched(home, relay, viewport={"width": 1440, "height": 900})
    yield watched
    watched.close()


def ranked() -> list[int]:
    """Ranks along the front, soonest first."""
    return [point["plan"] for point in result(sample.relay())["front"]]


def finishes() -> list[float]:
    """When each point of the front is done, s."""
    return [point["finish_s"] for point in result(sample.relay())["front"]]


def shown_rank(page: Any, panel: int = 0) -> int:
    found = re.match(r"Plan (\d+):", page.locator(".panel h2").nth(panel).inner_text())
    assert found is not None
    return int(found.group(1))


def clock_s(page: Any) -> float:
    """Seconds from the epoch that the clock shows."""
    epoch = sample.relay().scenario.epoch
    assert epoch is not None
    shown = datetime.fromisoformat(page.locator("#clock").inner_text()[:19] + "+00:00")
    return (shown - epoch).total_seconds()


def pixels(page: Any) -> str:
    """Both moving pictures of the first panel, as drawn now."""
    return str(
        page.evaluate(
            "() => [...document.querySelector('.panel').querySelectorAll('canvas')].map(c => c.toDataURL()).join()"
        )
    )


# ---- what it says


def test_numbers_are_those_of_the_json(opened: Watched) -> None:
    outcome = sample.relay()
    values = result(outcome)
    page = opened.page
    for plan, own in zip(sorted(outcome.plans, key=lambda plan: plan.rank), values["plans"], strict=True):
        page.select_option("#first", str(plan.rank))
        heading = page.locator(".panel h2").inner_text()
        cost = re.search(r"Plan \d+: ([\d\s.]+) m/s", heading)
        assert cost is not None
        assert float(re.sub(r"\s", "", cost.group(1))) == pytest.approx(own["delta_v_m_s"], abs=SHOWN_M_S)
        lines = page.locator("[aria-label^=Burns] tbody tr:not(.craft)").all_inner_texts()
        rows = [line.split("\t") for line in lines]
        burns = [burn for craft in own["craft"] for burn in craft["burns"]]
        flown = [burn for part in plan.craft for burn in part.burns]
        assert rows
        for row, burn, mine in zip(rows, burns, flown, strict=True):
            assert datetime.fromisoformat(row[0].strip().removesuffix(" UTC") + "+00:00").timestamp() == pytest.approx(
                EPOCH_S + burn["time_s"], abs=CLOCK_S
            )
            assert row[1] == burn_words(mine)
            h, m, s = row[2].split(":")
            assert 3600 * int(h) + 60 * int(m) + float(s) == pytest.approx(burn["period_after_s"], abs=CLOCK_S)
            for shown, key in ((row[3], "periapsis_after_km"), (row[4], "apoapsis_after_km")):
                assert float(re.sub(r"\s", "", shown)) == pytest.approx(burn[key], abs=SHOWN_KM)
        heads = page.locator("[aria-label^=Burns] tr.craft").all_inner_texts()
        assert heads
        for head, craft in zip(heads, own["craft"], strict=True):
            assert head.startswith(f"{craft['craft']}, slot {craft['slot']}: ")
        rooms = page.locator("[aria-label^=Limits] tbody tr").count()
        assert rooms == sum(math.isfinite(margin.allowed) for margin in plan.margins)
    assert page.locator("#answer").inner_text() == page_data(outcome)["answer"]


def test_without_a_plan_the_reason_is_on_the_page(home: Any, tmp_path: Path) -> None:
    watched = Watched(home, saved(sample.impossible(), tmp_path / "none.html"))
    assert watched.page.locator("#answer").inner_text() == "No plan keeps all limits."
    assert "2 d" in watched.page.locator("#panels pre").inner_text()
    assert not watched.page.locator("#play").is_visible()
    watched.close()


def test_a_broken_limit_is_said_above_the_pictures(home: Any, tmp_path: Path) -> None:
    watched = Watched(home, saved(sample.broken(), tmp_path / "broken.html"))
    assert watched.page.locator(".panel .warn").inner_text().startswith("BREAKS A LIMIT. Cedar")
    watched.close()


def test_sheets_open_and_all_open_on_paper(home: Any, sheeted: Path) -> None:
    watched = Watched(home, sheeted)
    page = watched.page
    first = page.locator("#sheet-list details").first
    assert not first.locator("pre").is_visible()
    first.locator("summary").press("Enter")
    assert "m/s" in first.locator("pre").inner_text()
    first.locator("summary").click()
    assert not first.locator("pre").is_visible()
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    assert all(one.is_visible() for one in page.locator("#sheet-list pre").all())
    page.evaluate("() => dispatchEvent(new Event('afterprint'))")
    assert not first.locator("pre").is_visible()
    sheet_count = page.locator("#sheet-list details").count()
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf())) > sheet_count > 1
    watched.close()


def test_it_opens_on_the_plan_that_was_asked_for(home: Any, tmp_path: Path) -> None:
    watched = Watched(home, saved(sample.relay(), tmp_path / "second.html", 2))
    page = watched.page
    assert shown_rank(page) == 2
    assert page.locator("#first").input_value() == "2"
    assert page.locator("#allowed-said").inner_text().startswith("plan 2, ")
    watched.close()


def test_it_says_how_to_come_by_the_sheets_of_another_plan(home: Any, sheeted: Path) -> None:
    watched = Watched(home, sheeted)
    assert not watched.page.locator("#sheet-other").is_visible()
    watched.page.select_option("#first", "3")
    assert watched.page.locator("#sheet-other").inner_text() == "Of plan 3: ringwright sheet SCENARIO --plan 3"
    assert watched.page.locator("#sheets-head").inner_text() == "Maneuver sheets of plan 1"
    watched.close()


def test_one_sheet_is_printed_by_itself(home: Any, sheeted: Path) -> None:
    watched = Watched(home, sheeted)
    page = watched.page
    page.evaluate("() => { window.print = () => { window.printed = document.body.innerText; }; }")
    page.emulate_media(media="print")
    page.evaluate("() => document.querySelectorAll('#sheet-list details').forEach((one) => { one.open = true; })")
    page.evaluate("() => document.querySelectorAll('#sheet-list button')[1].click()")
    printed = page.evaluate("() => window.printed")
    names = page.locator("#sheet-list bdi").all_text_contents()
    assert names[1] in printed
    assert "Burn 1 of 2" in printed
    assert "The price of time" not in printed
    assert "Plan 1:" not in printed
    assert printed.count("Burn 1 of 2") == 1
    watched.close()


def test_each_lane_of_a_crowd_has_its_name(home: Any, tmp_path: Path) -> None:
    many = crowd(craft=30, plans=2)
    names = [craft.name for craft in many.scenario.craft]
    watched = Watched(home, saved(many, tmp_path / "crowd.html"), viewport={"width": 390, "height": 844})
    lanes = watched.page.locator("svg[aria-label^=Timeline] text.fine")
    assert lanes.all_text_contents() == names
    tops = lanes.evaluate_all("all => all.map((one) => one.getBoundingClientRect().top)")
    high = lanes.first.bounding_box()["height"]
    assert all(below - above > 0.75 * high for above, below in itertools.pairwise(tops))
    watched.close()


# ---- every control


def test_front_and_slider_by_mouse(opened: Watched) -> None:
    page, ranks = opened.page, ranked()
    dots = page.locator("#front svg circle[stroke-width='1.5']")
    boxes = [dot.bounding_box() for dot in dots.all()]
    boxes.sort(key=lambda box: box["x"] + box["width"] / 2)
    assert len(boxes) == len(ranks) > 2
    for place in (0, len(ranks) - 1, 1):
        box = boxes[place]
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        assert shown_rank(page) == ranks[place]
        assert float(page.locator("#allowed").input_value()) == pytest.approx(finishes()[place], abs=SECOND_S)
        assert page.locator("#first").input_value() == str(ranks[place])
    box = page.locator("#allowed").bounding_box()
    page.mouse.click(box["x"] + box["width"] - 3, box["y"] + box["height"] / 2)
    assert shown_rank(page) == ranks[-1]
    # a time between two plans allows the one that is done before it
    allowed_s = 0.9 * finishes()[2] + 0.1 * finishes()[1]
    page.locator("#allowed").evaluate(
        "(one, s) => { one.value = s; one.dispatchEvent(new Event('input')); }", allowed_s
    )
    assert shown_rank(page) == ranks[1]
    assert page.locator("#allowed-said").inner_text().startswith(f"{span(allowed_s)} allowed: plan {ranks[1]}, ")


def test_front_and_slider_by_keys(opened: Watched) -> None:
    page, ranks = opened.page, ranked()
    page.select_option("#first", str(ranks[0]))
    front = page.locator("#front svg")
    for key, place in (
        ("ArrowRight", 1),
        ("ArrowUp", 2),
        ("ArrowLeft", 1),
        ("ArrowDown", 0),
        ("ArrowLeft", 0),
        ("End", len(ranks) - 1),
        ("Home", 0),
    ):
        front.press(key)
        assert shown_rank(page) == ranks[place]
        assert front.get_attribute("aria-valuenow") == str(place)
    page.locator("#allowed").press("ArrowRight")
    assert shown_rank(page) == ranks[1]
    assert f"plan {ranks[1]}, " in page.locator("#allowed").get_attribute("aria-valuetext")
    assert front.get_attribute("aria-valuetext").startswith(f"plan {ranks[1]}: ")


def test_two_plans_stand_beside_each_other(opened: Watched) -> None:
    page, ranks = opened.page, ranked()
    page.select_option("#second", str(ranks[1]))
    assert [shown_rank(page, 0), shown_rank(page, 1)] == [1, ranks[1]]
    boxes = [page.locator(".panel").nth(i).bounding_box() for i in (0, 1)]
    assert boxes[0]["y"] == boxes[1]["y"]
    assert boxes[0]["x"] + boxes[0]["width"] <= boxes[1]["x"]
    page.select_option("#second", "")
    assert page.locator(".panel").count() == 1


def test_play_pause_step_and_drag_by_mouse(opened: Watched) -> None:
    page = opened.page
    begun, before = clock_s(page), pixels(page)
    page.click("#play")
    assert page.locator("#play").inner_text() == "Pause"
    page.wait_for_timeout(300)
    page.click("#play")
    assert page.locator("#play").inner_text() == "Play"
    stopped = clock_s(page)
    assert stopped > begun
    assert pixels(page) != before
    page.wait_for_timeout(60)
    assert clock_s(page) == stopped

    page.locator("#moment").fill("0")
    burns = sorted(burn.time_s for part in sample.relay().plans[0].craft for burn in part.burns)
    assert burns[0] == 0.0  # the page opens at this one
    for moment in burns[1:4]:
        page.click("#next")
        assert clock_s(page) == pytest.approx(moment, abs=SECOND_S)
        assert page.locator("tr.now").count() == 1

    for label in ("Timeline", "Angle from each craft", "Propellant left"):
        box = page.locator(f"svg[aria-label^='{label}']").bounding_box()
        page.locator(f"svg[aria-label^='{label}']").scroll_into_view_if_needed()
        box = page.locator(f"svg[aria-label^='{label}']").bounding_box()
        page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 0.5 * box["height"])
        page.mouse.down()
        early = clock_s(page)
        page.mouse.move(box["x"] + 0.8 * box["width"], box["y"] + 0.5 * box["height"])
        page.mouse.up()
        assert clock_s(page) > early > begun
        page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + 0.5 * box["height"])
        assert clock_s(page) > early


def test_time_is_in_sight_from_every_picture(opened: Watched) -> None:
    page = opened.page
    for label in ("Timeline", "Angle from each craft", "Propellant left"):
        page.locator(f"svg[aria-label^='{label}']").evaluate("one => one.scrollIntoView({block: 'center'})")
        box = page.locator("#play").bounding_box()
        assert 0 <= box["y"] < 60
        assert page.evaluate("([x, y]) => document.elementFromPoint(x, y).id", [box["x"] + 5, box["y"] + 5]) == "play"


def test_play_step_and_drag_by_keys(opened: Watched) -> None:
    page = opened.page
    begun = clock_s(page)
    page.locator("#play").press("Space")
    page.wait_for_timeout(200)
    page.locator("#play").press("Enter")
    assert page.locator("#play").inner_text() == "Play"
    assert clock_s(page) > begun
    page.locator("#moment").press("Home")
    assert clock_s(page) == begun
    page.locator("#moment").press("ArrowRight")
    assert clock_s(page) > begun
    page.locator("#next").press("Enter")
    assert page.locator("tr.now").count() == 1
    page.locator("#moment").press("End")
    assert clock_s(page) > sample.relay().plans[0].finish_s


def test_every_control_is_reached_by_the_tab_key(opened: Watched) -> None:
    page = opened.page
    reached = []
    for _ in range(12):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "() => { const a = document.activeElement; return a.id || a.getAttribute('aria-label') || a.tagName; }"
            )
        )
    wanted = [
        "Plan on the front: left is sooner, right is cheaper",
        "allowed",
        "first",
        "second",
        "play",
        "next",
        "moment",
        "Burns of plan 1",
        "Limits of plan 1",
    ]
    assert [one for one in reached if one in wanted][: len(wanted)] == wanted


def test_all_by_touch(home: Any, relay: Path) -> None:
    watched = Watched(home, relay, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page, ranks = watched.page, ranked()
    dots = page.locator("#front svg circle[stroke-width='1.5']")
    box = dots.nth(len(ranks) - 1).bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert shown_rank(page) == ranks[-1]
    box = page.locator("#allowed").bounding_box()
    page.touchscreen.tap(box["x"] + 3, box["y"] + box["height"] / 2)
    assert shown_rank(page) == ranks[0]
    begun = clock_s(page)
    page.tap("#next")
    assert clock_s(page) > begun
    page.tap("#play")
    page.wait_for_timeout(200)
    page.tap("#play")
    assert page.locator("#play").inner_text() == "Play"
    page.locator("#moment").scroll_into_view_if_needed()
    box = page.locator("#moment").bounding_box()
    page.touchscreen.tap(box["x"] + 0.9 * box["width"], box["y"] + box["height"] / 2)
    late = clock_s(page)
    page.locator("svg[aria-label^='Timeline']").scroll_into_view_if_needed()
    box = page.locator("svg[aria-label^='Timeline']").bounding_box()
    page.touchscreen.tap(box["x"] + 0.4 * box["width"], box["y"] + 0.5 * box["height"])
    assert begun < clock_s(page) < late
    watched.close()


# ---- how it lies, and who can read it


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("make", [sample.relay, sample.dozen])
def test_nothing_runs_over_the_edge(home: Any, tmp_path: Path, make: Any, width: int) -> None:
    watched = Watched(home, saved(make(), tmp_path / "page.html"), viewport={"width": width, "height": 900})
    page = watched.page
    page.select_option("#second", index=2)
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    sideways = "() => [...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth).length"
    assert page.evaluate(sideways) == 0
    small = page.evaluate(
        "() => [...document.querySelectorAll('button, select, input, summary')].filter(e => e.offsetParent)"
        ".map(e => e.getBoundingClientRect()).filter(b => b.height < 24 || b.width < 24).length"
    )
    assert small == 0  # WCAG 2.2, success criterion 2.5.8: targets of 24 CSS pixels at least
    watched.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(home: Any, sheeted: Path, tmp_path: Path, scheme: str) -> None:
    """Deque's axe-core with all its rules, WCAG and best practice."""
    from axe_playwright_python.sync_playwright import Axe

    for make, second in ((None, None), (sample.relay, "2"), (sample.impossible, None), (sample.broken, None)):
        watched = Watched(
            home, sheeted if make is None else saved(make(), tmp_path / "other.html"), color_scheme=scheme
        )
        if second is not None:
            watched.page.select_option("#second", second)
        found = Axe().run(watched.page)
        assert found.violations_count == 0, found.generate_report()
        watched.close()


def test_names_that_attack_are_text(home: Any, tmp_path: Path) -> None:
    outcome: Outcome = sample.relay()
    names = {craft.name: name for craft, name in zip(outcome.scenario.craft, (*HOSTILE[:2], LONG), strict=True)}
    outcome = replace(
        outcome,
        scenario=replace(
            outcome.scenario,
            title=HOSTILE[0] + HOSTILE[2],
            craft=tuple(replace(craft, name=names[craft.name]) for craft in outcome.scenario.craft),
        ),
        kept=tuple(replace(kept, craft=HOSTILE[2]) for kept in outcome.kept),
        plans=tuple(
            replace(
                plan,
                craft=tuple(replace(part, craft=names[part.craft]) for part in plan.craft),
                margins=tuple(replace(margin, craft=names.get(margin.craft, margin.craft)) for margin in plan.margins),
            )
            for plan in outcome.plans
        ),
    )
    watched = Watched(home, saved(outcome, tmp_path / "page.html"), viewport={"width": 390, "height": 844})
    page = watched.page
    assert page.locator("img, #title *, #answer *, td b").count() == 0
    assert page.locator("script").count() == 2
    assert page.locator("#title").text_content() == HOSTILE[0] + HOSTILE[2]
    shown = page.locator("[aria-label^=Burns] bdi").all_text_contents()
    assert [one.removesuffix("…") for one in shown] == [
        name[:79] if len(name) > 80 else name for name in names.values()
    ]
    assert LONG in page.locator("[aria-label^=Burns] bdi").evaluate_all("all => all.map((one) => one.title)")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
    assert page.locator("head title").text_content() == HOSTILE[0] + HOSTILE[2]
    assert json.loads(page.locator("#data").text_content())["craft"] == list(names.values())
    watched.close()
