"""The desk in headless Chromium: edits, errors, undo, cancel, two tabs, a file that is saved, a killed server."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.one_plan import plan_of_rank
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.reports.page.data import page_data
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_text
from ringwright.scenarios import text
from ringwright.tests.reports.desk.running import SMALL, Served, served
from ringwright.tests.reports.page.browser import browser, missing

pytestmark = [pytest.mark.page, pytest.mark.skipif(bool(missing()), reason=missing())]

PATIENCE_MS = 30_000

EDITS = (
    ("limits.revolutions_max", "5"),
    ("limits.finish_within_d", "2.5"),
    ("ring.slots", "3"),
    ("goal.minimize", "finish"),
    ("limits.revolutions_max", "2"),
    ("limits.separation_km", "4"),
    ("goal.minimize", "delta_v"),
    ("limits.finish_within_d", "no limit"),
    ("ring.slots", "4"),
    ("limits.clearance_km", "900"),
)
"""Ten in a row; the last leaves plans that are all higher."""


HOSTILE_FILE = "<img src=x onerror=alert(1)>.toml"
HOSTILE_TITLE = '</script><script>alert(2)</script><img src=x onerror="alert(3)">'
HOSTILE_CRAFT = "<b>=1+1</b>"
HOSTILE = SMALL.replace('"Two over Quill"', f"'{HOSTILE_TITLE}'").replace('"Reed"', f"'{HOSTILE_CRAFT}'")


@pytest.fixture(scope="module")
def home() -> Iterator[Any]:
    with browser() as started:
        yield started


@pytest.fixture(scope="module")
def running(file: Path) -> Iterator[Served]:
    with served(file) as one:
        yield one


@pytest.fixture
def desk(running: Served, file: Path) -> Served:
    """A desk that stands as at first."""
    running.reset(file)
    return running


@lru_cache(maxsize=64)
def planned(toml: str, settings: tuple[str, ...]) -> Outcome:
    return make_plan(parse_scenario(toml, settings=settings))


class Tab:
    """A tab with the desk in it, and everything that it should not have done."""

    def __init__(self, home: Any, desk: Served, **facts: Any) -> None:
        self.context = home.new_context(**facts)
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda said: self.complaints.append(f"{said.type}: {said.text}"))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.address = desk.address
        self.page.goto(desk.address)

    def field(self, key: str) -> Any:
        return self.page.locator(f'[name="{key}"]')

    def type(self, key: str, value: str) -> None:
        """Change a field as a user does."""
        one = self.field(key)
        if one.evaluate("one => one.tagName") == "SELECT":
            one.select_option(value)
        else:
            one.fill(value)
            one.press("Enter")

    def wait_for(self, words: str) -> None:
        self.page.locator("#desk-status", has_text=words).wait_for()

    def wrong(self, key: str) -> str:
        return str(self.page.locator(f'[id="field-{key}-wrong"]').inner_text())

    def answers(self, settings: dict[str, str], toml: str = SMALL) -> None:
        """Wait until the page shows the answer to these settings, and compare it with what the planner says here."""
        expected = page_data(planned(toml, tuple(f"{key}={value}" for key, value in settings.items())))
        plans = [f"{plan['rank']}: {plan['cost']}, {plan['finish']}" for plan in expected["plans"]]
        self.page.wait_for_function(
            """([answer, plans]) => {
                const text = (id) => document.getElementById(id).textContent;
                const list = document.getElementById("first"), own = list.offsetParent ? [...list.options] : [];
                const shown = own.map((one) => one.textContent);
                return text("answer") === answer && text("desk-status") === "Planned."
                    && String(shown) === String(plans);
            }""",
            arg=[expected["answer"], plans],
        )
        if plans:
            assert self.page.locator(".panel h2").inner_text() == f"Plan {plans[0]}"
            burns = [
                burn["at"] for number in expected["plans"][0]["parts"] for burn in expected["parts"][number]["burns"]
            ]
            shown = self.page.locator("[aria-label^=Burns] tbody tr:not(.craft) td:first-child").all_inner_texts()
            assert [" ".join(one.split()) for one in shown] == burns

    def close(self, *, quiet: bool = True) -> None:
        self.context.close()
        assert not quiet or self.complaints == []
        assert all(url.startswith((self.address, "data:", "blob:")) for url in self.requests)


def settings_after(edits: tuple[tuple[str, str], ...]) -> dict[str, str]:
    return {key: "inf" if value == "no limit" else value for key, value in edits}


def test_ten_edits_in_a_row_are_each_answered_right(home: Any, desk: Served) -> None:
    tab = Tab(home, desk, viewport={"width": 1440, "height": 900})
    tab.answers({})
    for count in range(1, len(EDITS) + 1):
        tab.type(*EDITS[count - 1])
        tab.answers(settings_after(EDITS[:count]))
    # and back again, one by one
    for count in (len(EDITS) - 1, len(EDITS) - 2):
        tab.page.click("#desk-undo")
        tab.answers(settings_after(EDITS[:count]))
    # the fields come with the reply to the click, the answer by itself
    tab.page.wait_for_function("() => document.querySelector('[name=\"ring.slots\"]').value === '3'")
    tab.close()


def test_edits_that_overtake_one_another_end_in_the_last(home: Any, desk: Served) -> None:
    tab = Tab(home, desk)
    tab.wait_for("Plan")
    for slots in ("3", "4", "5", "2", "6"):
        tab.type("ring.slots", slots)
    tab.answers({"ring.slots": "6"})
    tab.close()


def test_a_broken_edit_says_why_and_loses_nothing(home: Any, desk: Served) -> None:
    tab = Tab(home, desk)
    tab.type("limits.revolutions_max", "5")
    tab.answers({"limits.revolutions_max": "5"})
    answer = tab.page.locator("#answer").inner_text()
    for key, value, why in (
        ("ring.slots", "0", "from 1 to 500 would be accepted"),
        ("ring.altitude_km", "8,5", "decimal comma"),
        ("ring.altitude_km", "-100", "inside the body"),
        ("limits.clearance_km", "/etc/hostname", "TOML does not know"),
    ):
        tab.type(key, value)
        tab.page.locator(f'[id="field-{key}-wrong"]', has_text=why).wait_for()
        assert "--set" not in tab.wrong(key)
        assert tab.field(key).input_value() == value
        assert tab.field(key).get_attribute("aria-invalid") == "true"
        assert tab.page.locator("#answer").inner_text() == answer
        assert tab.page.locator("#desk-status").inner_text() == "Planned."
    # another field can be changed meanwhile, and the broken ones stay as typed until they are mended
    tab.type("limits.revolutions_max", "4")
    tab.answers({"limits.revolutions_max": "4"})
    assert tab.field("ring.slots").input_value() == "0"
    tab.type("ring.slots", "3")
    tab.answers({"limits.revolutions_max": "4", "ring.slots": "3"})
    assert tab.wrong("ring.slots") == ""
    # an empty field takes the file's value again
    tab.type("ring.altitude_km", "")
    tab.page.wait_for_function("() => document.querySelector('[name=\"ring.altitude_km\"]').value === '2500'")
    assert tab.wrong("ring.altitude_km") == ""
    tab.close()


def test_sheets_of_another_plan_are_made_when_asked_for(home: Any, desk: Served) -> None:
    tab = Tab(home, desk)
    tab.answers({})
    page = tab.page
    page.locator("#sheet-list details").wait_for()
    assert page.locator("#sheets-head").inner_text() == "Maneuver sheets of plan 1"
    page.select_option("#first", "2")
    page.get_by_role("button", name="Make the sheets of plan 2").click()
    page.locator("#sheets-head", has_text="plan 2").wait_for()
    assert not page.locator("#sheet-other").is_visible()
    outcome = planned(SMALL, ())
    [sheet] = sheets(outcome, plan_of_rank(outcome, 2))
    assert page.locator("#sheet-list pre").all_text_contents() == [sheet_text(sheet, 100)]
    tab.close()


def test_no_plan_is_an_answer(home: Any, desk: Served) -> None:
    tab = Tab(home, desk)
    tab.type("limits.finish_within_d", "0.01")
    tab.answers({"limits.finish_within_d": "0.01"})
    assert "finish_within" in tab.page.locator("#panels pre").inner_text()
    tab.page.click("#desk-undo")
    tab.answers({})
    assert tab.page.locator("#play").is_visible()
    tab.close()


def test_two_tabs_show_the_same(home: Any, desk: Served) -> None:
    one, two = Tab(home, desk), Tab(home, desk)
    one.answers({})
    two.answers({})
    one.type("ring.slots", "3")
    two.answers({"ring.slots": "3"})
    assert two.field("ring.slots").input_value() == "3"
    two.type("limits.revolutions_max", "2")
    one.answers({"ring.slots": "3", "limits.revolutions_max": "2"})
    # what is being typed in one is not swept away by the other
    one.field("limits.separation_km").press_sequentially("7")
    typed = one.field("limits.separation_km").input_value()
    two.page.click("#desk-undo")
    one.answers({"ring.slots": "3"})
    assert one.field("limits.separation_km").input_value() == typed
    one.close()
    two.type("ring.slots", "2")
    two.answers({})
    two.close()


def test_a_file_that_is_saved_is_planned_again(home: Any, desk: Served, file: Path) -> None:
    tab = Tab(home, desk)
    tab.type("limits.revolutions_max", "2")
    tab.answers({"limits.revolutions_max": "2"})
    file.write_text(SMALL.replace("slots = 2", "slots = 5"), encoding="utf-8")
    tab.answers({"limits.revolutions_max": "2", "ring.slots": "5"})
    assert tab.field("ring.slots").input_value() == "5"
    file.write_text(SMALL.replace("slots = 2", "slots = 5 5"), encoding="utf-8")
    tab.page.locator("#desk-trouble", has_text="The file was saved, but cannot be used").wait_for()
    assert "two.toml, line " in tab.page.locator("#desk-trouble").inner_text()
    assert tab.field("ring.slots").input_value() == "5"
    # as editors do it: a new file in place of the old one
    beside = file.with_suffix(".new")
    beside.write_text(SMALL.replace("slots = 2", "slots = 3"), encoding="utf-8")
    os.replace(beside, file)
    tab.answers({"limits.revolutions_max": "2", "ring.slots": "3"})
    assert not tab.page.locator("#desk-trouble").is_visible()
    with tab.page.expect_download() as saved:
        tab.page.click("#desk-save")
    assert saved.value.suggested_filename == "two.toml"
    made = Path(saved.value.path()).read_text(encoding="utf-8")
    assert parse_scenario(made).limits.revolutions_max == 2
    assert "altitude_km = 2500.0 # above the plains" in made
    assert file.read_text(encoding="utf-8") == SMALL.replace("slots = 2", "slots = 3")
    tab.close()


def test_planning_is_said_and_can_be_cancelled(home: Any, desk: Served, file: Path) -> None:
    tab = Tab(home, desk)
    tab.answers({})
    answer = tab.page.locator("#answer").inner_text()
    # free-form flights of four craft: a minute or more
    file.write_text(f"{text('four-over-the-equator')}front_step_h = 0.5\n", encoding="utf-8")
    tab.wait_for("Planning, ")
    assert "What is shown is the answer before the last change." in tab.page.locator("#desk-status").inner_text()
    assert tab.page.locator("#answer").inner_text() == answer
    # it is in sight from everywhere on the page
    tab.page.evaluate("() => scrollTo(0, document.body.scrollHeight)")
    assert tab.page.locator("#desk-status").bounding_box()["y"] < 100
    lines = [tab.page.locator(one).bounding_box() for one in ("#desk-line", "#time-line")]
    assert lines[0]["y"] + lines[0]["height"] <= lines[1]["y"] + 1.0
    # the server answers meanwhile
    tab.page.click("#one > summary")
    tab.page.fill('[name="slot-ahead"]', "60deg")
    tab.page.locator("#one-fields").get_by_label("slot ahead by").press("Enter")
    tab.page.locator("#one-next", has_text="revolution").wait_for()
    tab.page.click("#desk-cancel")
    tab.wait_for("Cancelled.")
    assert tab.page.locator("#answer").inner_text() == answer
    file.write_text(SMALL, encoding="utf-8")
    tab.answers({})
    tab.close()


def test_the_one_craft_form_answers_and_says_what_is_wrong(home: Any, desk: Served) -> None:
    tab = Tab(home, desk, viewport={"width": 1440, "height": 900})
    page = tab.page
    page.locator("#one > summary").press("Enter")
    typed = {"around": "earth", "gm": "", "radius": "", "ring": "10000km", "slot-ahead": "86deg", "from": "190x10000km"}
    for name, value in (typed | {"floor": "140km", "within": "3d", "got": "5:20"}).items():
        page.locator(f'#one-fields [name="{name}"]').fill(value)
    page.get_by_role("button", name="Answer").click()
    page.locator('[id="field-one-got-wrong"]', has_text="5:20").wait_for()
    assert page.evaluate("() => document.activeElement.name") == "got"
    page.keyboard.press("End")
    page.keyboard.type(":01.0")
    page.keyboard.press("Enter")
    page.locator("#one-next", has_text="5:20:01.0").wait_for()
    assert page.locator("#one-answer").text_content().startswith("Ring 10 000 km above Earth")
    tab.close()


def test_a_desk_that_is_killed_loses_nothing_and_one_that_is_restarted_goes_on(home: Any, tmp_path: Path) -> None:
    file = tmp_path / HOSTILE_FILE
    file.write_text(HOSTILE, encoding="utf-8")
    with served(file) as first:
        tab = Tab(home, first)
        tab.type("limits.revolutions_max", "2")
        tab.answers({"limits.revolutions_max": "2"}, HOSTILE)
        # whatever the names are, they are text
        assert tab.page.locator("#desk-head").text_content() == f"At the desk: {HOSTILE_FILE}"
        assert tab.page.locator("#title").text_content() == HOSTILE_TITLE
        assert tab.page.locator("[aria-label^=Burns] bdi").all_text_contents() == [HOSTILE_CRAFT]
        assert tab.page.locator("img, td b").count() == 0
        answer = tab.page.locator("#answer").inner_text()
        first.process.send_signal(signal.SIGKILL)
        first.process.wait(timeout=20)
        tab.wait_for("The desk does not answer")
        assert tab.page.locator("#answer").inner_text() == answer
        tab.type("ring.slots", "3")
        tab.wait_for("The desk does not answer")
        assert tab.field("ring.slots").input_value() == "3"
        with tab.page.expect_download() as saved:
            tab.page.click("#desk-save")
        made = Path(saved.value.path()).read_text(encoding="utf-8")
        assert parse_scenario(made).limits.revolutions_max == 2
        port = first.port
    with served(file, "--port", str(port)) as second:
        # the old address has another token, and the tab that is still open is refused
        assert second.ask("GET", f"/{first.token}/")[0] == 403
        after = Tab(home, second)
        after.answers({}, HOSTILE)
        after.type("ring.slots", "3")
        after.answers({"ring.slots": "3"}, HOSTILE)
        after.close()
        tab.close(quiet=False)


@pytest.mark.parametrize("width", [1440, 390])
def test_it_fits_and_axe_finds_nothing(home: Any, desk: Served, width: int) -> None:
    from axe_playwright_python.sync_playwright import Axe

    scheme = "light" if width > 400 else "dark"
    tab = Tab(home, desk, viewport={"width": width, "height": 900}, color_scheme=scheme)
    tab.answers({})
    tab.type("ring.slots", "0")
    tab.page.locator('[id="field-ring.slots-wrong"]', has_text="500").wait_for()
    tab.page.click("#one > summary")
    tab.page.fill('[name="slot-ahead"]', "60deg")
    tab.page.click("#one button")
    tab.page.click("#one-whole summary")
    tab.page.locator("#one-answer", has_text="revolution").wait_for()
    found = Axe().run(tab.page)
    assert found.violations_count == 0, found.generate_report()
    assert tab.page.evaluate("() => document.documentElement.scrollWidth") <= width
    tab.close()
