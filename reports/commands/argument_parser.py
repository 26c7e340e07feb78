"""A parser whose mistakes are bad input, and the commands that are added to it with their example."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence

from ...models.errors import InputError
from ..console import say
from .common_options import COLOR, Add

Run = Callable[[argparse.Namespace], int]

EXAMPLE = "example: "
"""Begins the last part of a help page."""


class Parser(argparse.ArgumentParser):
    """A parser whose mistakes are bad input like any other."""

    def parse_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> argparse.Namespace:
        """As argparse does; what is left over is said with the command that does not know it and its nearest option."""
        found, left = self.parse_known_args(args, namespace)
        if left:
            known: Parser = getattr(found, "parser", self)
            known.error(_left_over(left, [one for action in known._actions for one in action.option_strings]))
        return found

    def error(self, message: str) -> None:  # type: ignore[override]
        raise InputError(f"{_with_near(message)}; see: {self.prog} --help", where="command line")

    def _print_message(self, message: str, file: object = None) -> None:
        # a help page that cannot be printed is said like any other text
        say(message)


def _with_near(message: str) -> str:
    """A message about a choice that there is not, with the nearest one that there is.

    >>> _with_near("argument COMMAND: invalid choice: 'plam' (choose from 'plan', 'page')")
    "argument COMMAND: invalid choice: 'plam' (choose from 'plan', 'page'); did you mean plan?"
    """
    typed = re.search(r"invalid choice: '([^']*)' \(choose from (.*)\)", message)
    known = [] if typed is None else [one.strip(" '") for one in typed[2].split(",")]
    if typed is None:
        return message
    import difflib

    near = difflib.get_close_matches(typed[1], known, n=1, cutoff=0.6)
    if not near and "plan" in known:
        from ...scenarios import near_names

        near = [f"ringwright new {name} {name}.toml" for name in near_names(typed[1])[:1]]
    return f"{message}; did you mean {near[0]}?" if near else message


def _left_over(left: Sequence[str], known: Sequence[str]) -> str:
    """What is said of words that no option takes.

    >>> _left_over(["--time-limt", "5"], ["--time-limit", "--json"])
    'it has no option --time-limt; did you mean --time-limit?'
    >>> _left_over(["12km"], ["--json"])
    '12km is one word too many, which no option takes'
    """
    import difflib

    option = next((word.partition("=")[0] for word in left if word.startswith("-")), None)
    if option is None:
        return f"{left[0]} is one word too many, which no option takes"
    near = difflib.get_close_matches(option, known, n=1, cutoff=0.6)
    return f"it has no option {option}" + (f"; did you mean {near[0]}?" if near else "")


class Help(argparse.HelpFormatter):
    """Fills paragraphs, and breaks an example so that it can still be pasted into a shell."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if not text.startswith(EXAMPLE):
            return super()._fill_text(text, width, indent)
        from ..layout import shell_lines

        lines = shell_lines(text.removeprefix(EXAMPLE), width - len(indent), indent=f"{indent}  ")
        return "\n".join([f"{indent}{EXAMPLE.rstrip()}", *lines])


class Commands:
    """The commands of a parser; each is added with what it does, an example and its options."""

    def __init__(self, whole: argparse.ArgumentParser) -> None:
        self._added = whole.add_subparsers(title="commands", metavar="COMMAND")

    def add(self, name: str, run: Run, what: str, example: str, *options: Add) -> argparse.ArgumentParser:
        """Add a command; ``example`` is what is typed behind its name."""
        made: argparse.ArgumentParser = self._added.add_parser(
            name,
            help=what,
            description=f"{what[0].upper()}{what[1:]}.",
            epilog=f"{EXAMPLE}ringwright {name} {example}",
            formatter_class=Help,
        )
        made.set_defaults(run=run, parser=made)
        for add in (COLOR, *options):
            add(made)
        return made
