"""The one-craft question asked in a form: what ``ringwright period`` answers, by the same code."""

from __future__ import annotations

import argparse
import math
import re
from collections.abc import Mapping
from typing import Any

from ...models.bodies import body_names
from ...models.errors import InputError
from ...models.scenario import Scenario
from ..period.command import TYPED, add_arguments, run
from ..period.words import reached_title
from ..remarks import CAUTION
from ..typed import quantity

OPTIONS = {option.removeprefix("--"): name for name, option in TYPED} | {
    "revolutions": "revolutions",
    "tolerance": "tolerance",
    "got": "got",
}
"""The fields of the form, named like the options, and the arguments that they become. Files are not among them."""

LONGEST = 60
"""Characters of what may be typed into a field."""


def answered(typed: Mapping[str, str], width: int) -> dict[str, Any]:
    """Answer the question.

    Args:
        typed: text by field; what is empty is left out.

    Returns:
        ``status``, ``text`` as the command prints it, and ``next``: the part of it that says what to do now.

    Raises:
        InputError: a field that there is not, or text in one that cannot be used; ``where`` is then its option.
    """
    parser = argparse.ArgumentParser(add_help=False)
    add_arguments(parser)
    arguments = parser.parse_args([])
    for field, text in typed.items():
        if field not in OPTIONS:
            raise InputError(f"{field!r} is no field of this form: {', '.join(OPTIONS)} are.", where="the desk")
        if len(text) > LONGEST:
            raise InputError(f"this is longer than {LONGEST} characters: write a value with its unit.", where=field)
        if text.strip():
            setattr(arguments, OPTIONS[field], text.strip())
    status, text = run(arguments, width)
    got = typed.get("got", "").strip()
    return {"status": status, "text": text, "next": _reached(text, got) if got else _first(text)}


def _reached(text: str, got: str) -> str:
    """What a period read at cut-off makes of the slot, as it stands in the text, to its end."""
    title = reached_title(quantity(got, "time", "--got"))
    _, found, after = text.partition(f"\n{title}\n")
    return f"{title}\n{after[: after.rindex(CAUTION[:15])].rstrip()}" if found else ""


def _first(text: str) -> str:
    """Which period to have, as it stands in the text."""
    found = re.search(r"^((?:Cheapest|Soonest|NO PERIOD FITS).*?)\n\n", text, flags=re.MULTILINE | re.DOTALL)
    return found[1] if found else ""


def field_of(fault: InputError) -> str:
    """The field that an error is about; empty where it is none."""
    name = fault.where.removeprefix("--")
    return name if name in OPTIONS else ""


def first_filled(scenario: Scenario) -> dict[str, str]:
    """What the form holds at first: the world, the ring and the floor of the scenario at the desk."""
    body = scenario.body
    km = (scenario.ring.radius_m - body.radius_m) / 1e3
    filled = {
        "ring": f"{km:.10g}km",
        "floor": f"{(scenario.floor_m - body.radius_m) / 1e3:.10g}km",
        "revolutions": str(scenario.limits.revolutions_max),
        "tolerance": f"{math.degrees(scenario.ring.tolerance_rad):.10g}deg",
    }
    if body.name.lower() in body_names() and "but the scenario itself" not in body.source:
        return {"around": body.name.lower(), **filled}
    return {"gm": f"{body.gm / 1e9:.12g}km3/s2", "radius": f"{body.radius_m / 1e3:.10g}km", **filled}
