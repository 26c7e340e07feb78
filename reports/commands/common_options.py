"""Options as values, each a call that adds it to a parser, and those that several commands share."""

import argparse
from collections.abc import Callable
from typing import Any

from ..emphasis import CHOICES
from .option_types import file_place, folder_place, rank, seed

Place = argparse._ActionsContainer
"""A parser, or a group of options in it."""

Add = Callable[[Place], object]


def option(name: str, metavar: str | None, what: str, **more: Any) -> Add:
    """An option that takes a value, or an argument where the name has no dashes; ``more`` as argparse has it."""
    return lambda place: place.add_argument(name, metavar=metavar, help=what, **more)


def several(name: str, metavar: str, what: str) -> Add:
    """An option that may be repeated; its values come in a list."""
    return option(name, metavar, what, action="append", default=[])


def flag(name: str, what: str) -> Add:
    """An option that is there or not."""
    return lambda place: place.add_argument(name, action="store_true", help=what)


def either(*options: Add) -> Add:
    """Options of which one at most may be given."""

    def add(place: Place) -> None:
        group = place.add_mutually_exclusive_group()
        for one in options:
            one(group)

    return add


COLOR = option(
    "--color",
    None,
    "bold headings and colored warnings; default: auto, on a terminal unless NO_COLOR is set",
    choices=CHOICES,
    default="auto",
)
SETTINGS = option(
    "--set",
    "KEY=VALUE",
    "override one key, as in --set ring.altitude_km=9000; may be repeated",
    dest="settings",
    action="append",
    default=[],
)
GIVEN = (option("scenario", "SCENARIO", "a scenario file (TOML)"), SETTINGS)
"""The scenario, and keys of it given on the command line."""

RANK = option("--plan", "RANK", "the plan of that rank; default: 1, the best", type=rank)
SEED = option("--seed", "N", "seed of the random numbers; default: 1", type=seed, default=1)


def json_of(what: str) -> Add:
    """Where the answer goes as JSON."""
    return option("--json", "PATH", f"write {what} as JSON; - for standard output", type=file_place)


def out(what: str) -> Add:
    """Where its files go."""
    return option("--out", "DIR", what, type=folder_place)
