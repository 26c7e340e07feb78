"""One hostile run of the command line, inside this process, and what is wrong with how it ended."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import signal
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ringwright.cli import main
from ringwright.models.printable import printable
from ringwright.reports.commands.planned import INTERRUPTED
from ringwright.tests.fuzz.hostile import Case

STATUSES = {0, 2, 3, 4}
"""How a run may end that nobody interrupts and whose output is taken."""

PROCESSOR_S = 60
"""No run takes more of the processor; most take a hundredth."""

REMEDY = re.compile(
    r"\b(write|give|add|take|name|keep|move|put|raise|lower|choose|check|save|fill|swap|see|make|use|copy|leave|"
    r"change|install|would be accepted|did you mean|belongs in|belong in|knows|have|has|are called|there are|should be|"
    r"should hold|are the tables|needs|can)\b",
)
"""Words of which a message that says what would be accepted has one."""


class TooLongError(BaseException):
    """A run took more of the processor than any should."""


@dataclass(frozen=True, kw_only=True)
class Run:
    """How a run ended: status None for an exception, which is then ``fault``."""

    status: int | None
    out: str
    err: str
    fault: str = ""


@contextlib.contextmanager
def _limited() -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread() or not hasattr(signal, "ITIMER_VIRTUAL"):
        yield
        return

    def stop(*_: object) -> None:
        raise TooLongError(f"more than {PROCESSOR_S} s of processor time")

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, PROCESSOR_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


def run(arguments: Sequence[str], folder: Path) -> Run:
    """Run a command in a folder.

    Raises:
        KeyboardInterrupt: it was stopped from outside, and says nothing about its input.
    """
    out, err = io.StringIO(), io.StringIO()
    status: int | None = None
    fault = ""
    here = Path.cwd()
    os.chdir(folder)
    # an exception is to be seen with its place, not as a sentence
    os.environ["RINGWRIGHT_TRACEBACK"] = "1"
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), _limited():
            status = main(list(arguments))
    except SystemExit as leaving:
        status = leaving.code if isinstance(leaving.code, int) else 0 if leaving.code is None else 1
    except (Exception, TooLongError) as problem:
        fault = _named(problem)
    finally:
        os.environ.pop("RINGWRIGHT_TRACEBACK")
        os.chdir(here)
    if status == INTERRUPTED:
        raise KeyboardInterrupt
    return Run(status=status, out=out.getvalue(), err=err.getvalue(), fault=fault)


def _named(problem: BaseException) -> str:
    """An exception with the innermost place of the package that it came through."""
    place, at = "", problem.__traceback__
    while at is not None:
        file = Path(at.tb_frame.f_code.co_filename)
        if file.parent.name in ("models", "optimizer", "reports", "routes", "figures") or file.name == "cli.py":
            place = f" at {file.parent.name}/{file.name}:{at.tb_lineno}"
        at = at.tb_next
    return f"{type(problem).__name__}: {printable(str(problem))[:200]}{place}"


def tried(one: Case, folder: Path, *, remedies: bool = False) -> list[str]:
    """Run an input in an empty folder; what is wrong, in words, is empty where all is right.

    Args:
        one: the input.
        folder: where its files go.
        remedies: apply what a refusal says would serve, too.
    """
    for file, text in one.files.items():
        (folder / file).write_text(text, encoding="utf-8", newline="")
    found = run(one.arguments, folder)
    if found.fault:
        return [f"an exception left the command: {found.fault}"]
    wrong = _text_faults(found)
    if found.status not in STATUSES:
        return [*wrong, f"exit status {found.status}"]
    if found.status == 2:
        return wrong + _refusal_faults(one, found)
    if found.err and ("Traceback" in found.err or "Warning" in found.err):
        wrong.append(f"standard error holds {found.err[:200]!r}")
    if _asks_for_json(one) and found.out.startswith("{"):
        wrong += _json_faults(found)
        if remedies and one.arguments[0] == "plan" and found.status == 3 and not wrong:
            wrong += _remedy_faults(one, found, folder)
    return wrong


def _asks_for_json(one: Case) -> bool:
    return any(pair == ("--json", "-") for pair in zip(one.arguments, one.arguments[1:], strict=False))


def _text_faults(found: Run) -> list[str]:
    wrong = []
    for name, text in (("output", found.out), ("error", found.err)):
        if not text.replace("\n", "").isprintable():
            wrong.append(f"standard {name} holds control characters")
    return wrong


def _refusal_faults(one: Case, found: Run) -> list[str]:
    """What a message of bad input lacks."""
    said = found.err
    wrong = []
    if not said.startswith("ringwright: ") or not said.endswith("\n") or said.count("\n") != 1:
        wrong.append(f"the refusal is not one paragraph: {said[:300]!r}")
    if len(said) > 3300:
        wrong.append(f"the refusal has {len(said)} characters")
    if not REMEDY.search(said):
        wrong.append(f"the refusal names no remedy: {said[:400]!r}")
    if one.kind == "hostile arguments":
        return wrong
    file = next((file for file in one.files if f"{printable(file)}" in said), None)
    if file is None and "--set" not in said:
        return [*wrong, f"the refusal names no file: {said[:300]!r}"]
    place = re.search(r"line (\d+)", said)
    if file is not None and place is not None:
        lines = one.files[file].replace("\r\n", "\n").split("\n")
        line = lines[int(place.group(1)) - 1] if int(place.group(1)) <= len(lines) else ""
        # a key in quotes stands there as escapes
        keys = [] if line.startswith('"') else re.findall(r"[A-Za-z_][A-Za-z0-9_]*", line)
        if keys and not any(key[:40] in said for key in keys):
            wrong.append(f"the refusal names no key of its line {line[:80]!r}: {said[:300]!r}")
    return wrong


def _constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON")


def _json_faults(found: Run) -> list[str]:
    """Where the result contradicts the exit status."""
    try:
        result: dict[str, Any] = json.loads(found.out, parse_constant=_constant)
    except ValueError as problem:
        return [f"standard output is no JSON: {problem}"]
    if result.get("format") != "ringwright-plan/1":
        return []
    plans, infeasible = result["plans"], result["infeasible"]
    if found.status == 0:
        wrong = [] if plans and infeasible is None else ["exit status 0 without a plan"]
        broken = [limit["limit"] for plan in plans[:1] for limit in plan["broken"]]
        return wrong + ([f"exit status 0 with a plan 1 that breaks {', '.join(broken)}"] if broken else [])
    if plans:
        return [f"exit status {found.status} with {len(plans)} plans"]
    if (found.status == 3) == (infeasible is None):
        return [f"exit status {found.status} with infeasible = {infeasible}"]
    return []


def _remedy_faults(one: Case, found: Run, folder: Path) -> list[str]:
    """What a refusal says would serve, put to the test: a plan within all limits must come of it."""
    why = json.loads(found.out)["infeasible"]
    binds = [bind for bind in why["binds"] if bind["serves"] is not None]
    if not binds:
        return []
    wrong = []
    for served in [binds] if why["together"] else [[bind] for bind in binds]:
        settings = [word for bind in served for word in ("--set", f"{bind['limit']}={bind['serves']!r}")]
        again = run((*one.arguments, *settings), folder)
        said = " and ".join(settings[1::2])
        if again.fault or again.status != 0:
            wrong.append(f"{said} would serve, but ends with {again.fault or again.status}: {again.err[:200]}")
        else:
            wrong += [f"{said} would serve, but: {fault}" for fault in _json_faults(again)]
    return wrong
