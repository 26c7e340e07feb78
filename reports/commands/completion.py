"""The command ``completion``: a script with which a shell completes what is typed behind ``ringwright``."""

from __future__ import annotations

import argparse

from ..console import say

SHELLS = ("bash", "zsh", "fish")


def completion(arguments: argparse.Namespace) -> int:
    """The script, and nothing else: it is meant to be read by the shell."""
    import shtab

    from .parser import parser

    whole = parser(["period"])
    for command in _commands(whole).values():
        for action in command._actions:
            _say_what_fits(action, command)
    say(shtab.complete(whole, arguments.shell) + "\n")
    return 0


def _commands(whole: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    [found] = [one for one in whole._actions if isinstance(one, argparse._SubParsersAction)]
    return dict(found.choices)


def _say_what_fits(action: argparse.Action, command: argparse.ArgumentParser) -> None:
    """Mark for shtab where files, folders or names are wanted."""
    import shtab

    from ...models.bodies import body_names
    from ...scenarios import bundled
    from .parser import FIGURES

    name = command.prog.split()[-1]
    names = {
        ("new", "name"): list(bundled()),
        ("bodies", "name"): list(body_names()),
        ("period", "around"): list(body_names()),
        ("figure", "name"): list(FIGURES),
    }.get((name, action.dest))
    if names is not None:
        action.choices = names
    elif action.metavar in ("SCENARIO", "FILE", "PATH"):
        action.complete = shtab.FILE  # type: ignore[attr-defined]
    elif action.metavar == "DIR":
        action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]
