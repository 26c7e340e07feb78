"""The commands that plan nothing or need no file: ``period``, ``check``, ``schema``, ``bodies``, ``new``, and none."""

from __future__ import annotations

import argparse
import os
import shlex
from pathlib import Path
from textwrap import fill

from ...models.errors import InputError
from ..console import say, width
from ..files import write_text
from .deliver import again, deliver
from .planned import scenario_of


def period(arguments: argparse.Namespace) -> int:
    """The one-craft question."""
    from ..period.command import run

    status, text = run(arguments, width())
    say(f"{text}\n")
    return status


def check(arguments: argparse.Namespace) -> int:
    """What was understood of a scenario."""
    scenario = scenario_of(arguments)
    from ..understood import understood

    deliver(arguments, lambda: understood(scenario, width()), following=[("its plans", again(arguments, "plan"))])
    return 0


def schema(arguments: argparse.Namespace) -> int:
    """A JSON Schema, and nothing else: it is meant to be piped into a file."""
    import json

    from ...models.reading.schema import scenario_schema
    from ..result_schema import result_schema

    of = {"scenario": "", "observed": "observed"}
    made = result_schema() if arguments.of == "result" else scenario_schema(of[arguments.of])
    say(json.dumps(made, indent=2) + "\n")
    return 0


def bodies(arguments: argparse.Namespace) -> int:
    """The built-in planets and moons."""
    from ..body_list import body_list

    say(body_list(width()))
    return 0


def new(arguments: argparse.Namespace) -> int:
    """A bundled scenario as a file."""
    from ...scenarios import bundled, text

    names = bundled()
    if arguments.name not in names:
        raise InputError(
            f"there is no bundled scenario {arguments.name!r}; there are: {', '.join(names)}.", where="command line"
        )
    place = Path(arguments.file)
    if os.path.lexists(place):
        raise InputError(f"{place} exists already and is left alone: name another file.", where="command line")
    write_text(place, text(arguments.name))
    named = shlex.quote(str(place))
    say(f"Wrote {place}. Next: ringwright check {named}, then ringwright plan {named}\n")
    return 0


def questions(_: argparse.Namespace) -> int:
    """The questions that come with the program, and how to begin."""
    from ...scenarios import bundled

    columns = width()
    say("Ringwright plans evenly spaced relay rings. These questions come with it:\n\n")
    for name, question in bundled().items():
        say(f"  {name}\n{fill(question, columns, initial_indent='    ', subsequent_indent='    ')}\n")
    say("\nTo start from one:  ringwright new NAME my-ring.toml\n")
    say("Then:               ringwright plan my-ring.toml\n")
    say("One craft, no file: ringwright period --help\n")
    return 0
