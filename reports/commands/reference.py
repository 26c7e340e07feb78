"""The commands that plan nothing or need no file: ``period``, ``check``, ``schema``, ``bodies``, ``new``, and none."""

from __future__ import annotations

import argparse
import os
import shlex
from pathlib import Path
from textwrap import fill, indent

from ...models.errors import InputError
from ..console import say, width
from ..files import write_text
from .deliver import again, deliver, next_text
from .planned import scenario_of


def period(arguments: argparse.Namespace) -> int:
    """The one-craft question."""
    from ..period.command import question_again, run
    from ..period.periods_alone import without_body

    status, text = run(arguments, width())
    again_typed = shlex.join(question_again(arguments))
    if arguments.save is not None:
        following = [("the plans of the file", f"plan {shlex.quote(arguments.save)}")]
    elif arguments.got is None and status == 0:
        following = [("when the burn is cut off, with the period read then", f"{again_typed} --got H:MM:SS")]
    elif without_body(arguments):
        following = [("delta-v and clearance as well, around a body", f"{again_typed} --around BODY")]
    else:
        following = [("the question as a scenario", f"{again_typed} --save FILE")]
    deliver(arguments, lambda: text, following=following)
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
    from ...models.bodies import body
    from ..body_list import body_list

    if arguments.name is None:
        following = [("one of them alone", "bodies mars")]
    else:
        high_km = round(body(arguments.name).radius_m / 1e5) * 100
        asked = f"period --around {shlex.quote(arguments.name)} --ring {high_km}km --slot-ahead 60deg"
        following = [("a period to a slot above it", asked)]
    # what is printed can be copied as it is: whatever is no table is a comment
    after = indent(next_text(following, width() - 2), "# ", lambda line: bool(line.strip()))
    deliver(arguments, lambda: body_list(width(), arguments.name) + after)
    return 0


def new(arguments: argparse.Namespace) -> int:
    """A bundled scenario as a file."""
    from ...scenarios import text

    source = text(arguments.name)
    place = Path(arguments.file)
    if os.path.lexists(place):
        raise InputError(f"{place} exists already and is left alone: name another file.", where="command line")
    write_text(place, source)
    named = shlex.quote(str(place))
    deliver(
        arguments,
        lambda: f"Wrote {place}.\n",
        following=[("what was understood of it", f"check {named}"), ("its plans", f"plan {named}")],
    )
    return 0


def questions(_: argparse.Namespace) -> int:
    """The questions that come with the program, and how to begin."""
    from ...scenarios import bundled

    columns = width()
    say("Ringwright plans evenly spaced relay rings. These questions come with it:\n\n")
    for name, question in bundled().items():
        say(f"  {name}\n{fill(question, columns, initial_indent='    ', subsequent_indent='    ')}\n")
    following = [
        ("to start from one", f"new {next(iter(bundled()))} my-ring.toml"),
        ("one craft, without a file", "period --help"),
    ]
    say(next_text(following, columns))
    return 0
