"""One way out for the answer of every command: as JSON, as files, as text with the command to type next."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable, Sequence

from ...models.printable import printable
from ..console import say, show, width
from ..files import write_text

Next = tuple[str, str]
"""What a command is for, and the command itself, as it is typed behind ``ringwright``."""


def deliver(
    arguments: argparse.Namespace,
    text: Callable[[], str],
    *,
    json: Callable[[], str] | None = None,
    files: Callable[[str], object] | None = None,
    kept: str = "",
    more: Sequence[Callable[[], str]] = (),
    following: Sequence[Next] = (),
) -> None:
    """Write an answer where the options send it: JSON first, then files, then the text.

    Args:
        arguments: of the command; ``--json`` and ``--out`` are read where it has them.
        text: gives what a console shows, ending in a newline; not asked for under ``--json -``.
        json: gives the machine-readable answer.
        files: writes all files of the answer into a directory.
        kept: what these files are, as in "Tables and figures"; said with the directory.
        following: what to type next, said last.

    Raises:
        InputError: a place cannot be written to.
        OutputLostError: standard output does not take the text.
    """
    to, out = getattr(arguments, "json", None), getattr(arguments, "out", None)
    if to is not None and json is not None:
        if to == "-":
            say(json())
        else:
            write_text(to, json())
    from ..layout import paragraph

    written = out is not None and files is not None
    if out is not None and files is not None:
        files(out)
    sentences = [one() for one in more]
    if to == "-":
        return
    show(text())
    if written:
        say(f"\n{kept} are in {out}.\n")
    for sentence in sentences:
        say("\n".join(["", *paragraph(sentence, width())]) + "\n")
    say(next_text(following, width()))


def next_text(following: Sequence[Next], columns: int) -> str:
    """The commands to type next, as lines that can be pasted into a shell; empty where there is none.

    >>> print(next_text([("the burns of each craft", "sheet ring.toml")], 60), end="")
    <BLANKLINE>
    Next, the burns of each craft:
        ringwright sheet ring.toml
    """
    from ..layout import paragraph, shell_lines

    lines = []
    for number, (what, command) in enumerate(following):
        lines += paragraph(f"{'Or' if number else 'Next'}, {what}:", columns)
        lines += shell_lines(printable(f"ringwright {command}"), columns, indent="    ")
    return "\n".join(["", *lines]) + "\n" if lines else ""


def again(arguments: argparse.Namespace, command: str, *more: str) -> str:
    """Another command about the same scenario: its file and settings as typed, and the plan that was picked.

    >>> again(argparse.Namespace(scenario="my ring.toml", settings=["ring.slots=3"], plan=2), "sheet", "--out", "DIR")
    "sheet 'my ring.toml' --set ring.slots=3 --plan 2 --out DIR"
    """
    words = [command, arguments.scenario]
    for setting in arguments.settings:
        words += ["--set", setting]
    picked = getattr(arguments, "plan", None)
    words += ["--plan", str(picked)] if picked not in (None, 1) else []
    return " ".join(shlex.quote(word) for word in (*words, *more))
