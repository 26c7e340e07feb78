"""Hostile inputs end in an answer or in one paragraph that says what to do, never in a traceback.

In the default tier the numbers of :data:`DEFAULT` are run. The long campaign runs :data:`CAMPAIGN` numbers in parts, as
far as RINGWRIGHT_FUZZ_PART says ("3/20": the third of twenty; RINGWRIGHT_FUZZ_COUNT: how many numbers in all). What is
done is kept in RINGWRIGHT_FUZZ_FOLDER, by default a folder of the system for passing files, so that a campaign that was
cut off goes on where it was; a changed package begins again.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import re
import sys
import tempfile
from pathlib import Path

import pytest

import ringwright
from ringwright.reports.commands.planned import INTERRUPTED
from ringwright.scenarios import text
from ringwright.tests.fuzz import running
from ringwright.tests.fuzz.hostile import SMALL, STATE, Case, case
from ringwright.tests.fuzz.running import tried

DEFAULT = range(120)
"""Numbers of the default tier: some five seconds of processor time."""

BATCHES = 6
"""Tests that the numbers of the default tier are spread over."""

TOO_LITTLE = """
body = { name = "ceres" }
ring = { altitude_km = 212, slots = 1, slot0_deg = 0, inclination_deg = 177.0 }
limits = { revolutions_max = 1, finish_within_d = 1.08 }
craft = [{ name = "Thimble", dry_mass_kg = 100.0, propellant_kg = 40.0, isp_s = 300.0 }]
[launch]
latitude_deg = 0.0
longitude_deg = 150
insertion = { periapsis_km = -96.4, apoapsis_km = 212.0, altitude_km = 14.0 }
"""
"""The plan that comes nearest to the limits falls to the ground."""

CAMPAIGN = int(os.environ.get("RINGWRIGHT_FUZZ_COUNT", "20000"))
PARTS = 20


def faults(numbers: range, place: Path, *, remedies: bool = False) -> list[str]:
    """What is wrong with the runs of these numbers, each with its number."""
    found = []
    for number in numbers:
        folder = place / str(number)
        folder.mkdir()
        one = case(number)
        found += [f"{number} ({one.kind}): {fault}" for fault in tried(one, folder, remedies=remedies)]
    return found


@pytest.mark.parametrize("batch", range(BATCHES))
def test_hostile_inputs_end_in_an_answer_or_a_paragraph(batch: int, tmp_path: Path) -> None:
    assert not faults(DEFAULT[batch::BATCHES], tmp_path)


def test_a_number_makes_one_input() -> None:
    state = random.getstate()
    assert [case(number) for number in range(40)] == [case(number) for number in range(40)]
    assert random.getstate() == state
    assert len({case(number).kind for number in range(40)}) == 6


def test_what_is_wrong_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def ending(status: int | Exception, out: str, err: str) -> list[str]:
        def main(_: object) -> int:
            print(out, end="")
            print(err, end="", file=sys.stderr)
            if isinstance(status, Exception):
                raise status
            return status

        monkeypatch.setattr(running, "main", main)
        return tried(case(0), tmp_path)

    assert "an exception left the command: ZeroDivisionError" in ending(ZeroDivisionError("by 0"), "", "")[0]
    assert ending(1, "", "") == ["exit status 1"]
    assert ending(0, "\x1b[31m", "") == ["standard output holds control characters"]
    assert "not one paragraph" in ending(2, "", "bad\ninput: write one.toml\n")[0]
    assert "no remedy" in ending(2, "", "ringwright: one.toml my ring.toml \\u001b[31m.toml 水.toml: bad.\n")[0]
    assert "names no file" in ending(2, "", "ringwright: bad: write it.\n")[0]


def _progress(part: int, parts: int) -> Path:
    digest = hashlib.sha256()
    root = Path(ringwright.__file__).parent
    for room in ("models", "optimizer", "reports", "tests/fuzz"):
        for file in sorted((root / room).rglob("*.py")):
            digest.update(file.read_bytes())
    place = Path(os.environ.get("RINGWRIGHT_FUZZ_FOLDER", Path(tempfile.gettempdir(), "ringwright-fuzz")))
    place.mkdir(parents=True, exist_ok=True)
    return place / f"{digest.hexdigest()[:12]}-{part}-of-{parts}-{CAMPAIGN}.jsonl"


def campaign(numbers: range, progress: Path, place: Path) -> list[str]:
    """What is wrong with the runs of these numbers; what an earlier run has done is taken from its file."""
    before = [json.loads(line) for line in progress.read_text("utf-8").splitlines()] if progress.exists() else []
    done = {line["number"]: line["faults"] for line in before}
    with progress.open("a", encoding="utf-8") as stream:
        for number in numbers:
            if number not in done:
                with tempfile.TemporaryDirectory(dir=place) as folder:
                    done[number] = faults(range(number, number + 1), Path(folder), remedies=True)
                stream.write(json.dumps({"number": number, "faults": done[number]}) + "\n")
                stream.flush()
    wrong = [fault for found in done.values() for fault in found]
    if not wrong:
        progress.unlink()
    return wrong


def test_a_campaign_goes_on_where_it_was_cut_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, ...]] = []

    def cut_off(one: Case, *_: object, **__: object) -> list[str]:
        asked.append(one.arguments)
        if len(asked) == 3:
            raise KeyboardInterrupt
        return ["bad"] if len(asked) == 1 else []

    monkeypatch.setitem(faults.__globals__, "tried", cut_off)
    progress = tmp_path / "progress.jsonl"
    with pytest.raises(KeyboardInterrupt):
        campaign(range(5), progress, tmp_path)
    assert len(progress.read_text("utf-8").splitlines()) == 2
    assert campaign(range(5), progress, tmp_path) == [f"0 ({case(0).kind}): bad"]
    assert asked == [case(number).arguments for number in (0, 1, 2, 2, 3, 4)]


def test_a_run_that_is_stopped_is_no_fault_of_its_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "main", lambda _: INTERRUPTED)
    progress = tmp_path / "progress.jsonl"
    with pytest.raises(KeyboardInterrupt):
        campaign(range(2), progress, tmp_path)
    assert progress.read_text("utf-8") == ""


def _parts() -> list[tuple[int, int]]:
    asked = os.environ.get("RINGWRIGHT_FUZZ_PART", "")
    if asked:
        part, _, parts = asked.partition("/")
        return [(int(part), int(parts))]
    return [(part, PARTS) for part in range(1, PARTS + 1)]


FOUND = {
    "a carriage return in a line": Case(
        files={"one.toml": SMALL, "seen.toml": "\r" + STATE.lstrip()},
        arguments=("replan", "one.toml", "--observed", "seen.toml", "--json", "-"),
        kind="spoiled sight",
    ),
    "a whole number of thousands of digits in a list": Case(
        files={"one.toml": text("shared-ride").replace("craft = [", "craft = [0b" + 20_000 * "1" + ", ", 1)},
        arguments=("check", "one.toml"),
        kind="spoiled scenario",
    ),
    "a phasing that the planes do not have, in planes that are all one": Case(
        files={"one.toml": SMALL.replace("slots = 2", "slots = 2\nplanes = 2\nphasing = 66")},
        arguments=("check", "one.toml"),
        kind="spoiled scenario",
    ),
    "a body that pulls by next to nothing": Case(
        files={"one.toml": re.sub(r"(?m)^gm_km3_s2 = .*$", "gm_km3_s2 = 5e-324", text("thick-air"))},
        arguments=("check", "one.toml"),
        kind="spoiled scenario",
    ),
    "a nearest plan that cannot fly": Case(
        files={"one.toml": TOO_LITTLE},
        arguments=("plan", "one.toml", "--json", "-"),
        kind="ordinary launch",
    ),
}
"""Inputs that a campaign found to end badly once."""


@pytest.mark.parametrize("name", FOUND)
def test_inputs_that_a_campaign_found_end_well(name: str, tmp_path: Path) -> None:
    assert tried(FOUND[name], tmp_path, remedies=True) == []


@pytest.mark.soak
@pytest.mark.parametrize(("part", "parts"), _parts())
def test_a_campaign_of_hostile_inputs(part: int, parts: int, tmp_path: Path) -> None:
    first, last = (len(DEFAULT) + CAMPAIGN * edge // parts for edge in (part - 1, part))
    wrong = campaign(range(first, last), _progress(part, parts), tmp_path)
    assert not wrong, "\n".join(wrong)
