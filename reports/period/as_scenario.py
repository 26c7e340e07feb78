"""The question of ``period`` as a scenario file, so that the planner can take it further."""

from __future__ import annotations

import math
import os

from ...models.errors import InputError
from ...models.reading.scenario_reader import parse_scenario
from ...models.readouts import brief
from ...models.scenario import Body
from ..files import write_text
from .question import Asked

CRAFT = "Rowan"


def save(asked: Asked, file: str) -> str:
    """Write the question as a scenario file, whole or not at all; gives the name back.

    Raises:
        InputError: the file exists already or cannot be written.
    """

    if os.path.lexists(file):
        raise InputError(f"{file} exists already and is left as it is: give another name.", where="--save")
    text = scenario_text(asked)
    # what cannot be read back is not written
    parse_scenario(text, file)
    write_text(file, text)
    return file


def scenario_text(asked: Asked) -> str:
    """The same question as a scenario: one craft, one slot, the slot's lead exact at the touch, which is time 0."""

    question, body = asked.question, asked.body
    ahead = "ahead of" if question.lead_rad >= 0.0 else "behind"
    lines = [
        "# One craft, one slot: the question of `ringwright period` as a scenario. Time 0 is when the craft is at the",
        "# ring; angles count from where it is then.",
        f'title = "{CRAFT} to a slot {brief(math.degrees(abs(question.lead_rad)))} deg {ahead} it"',
        "",
        "[body]",
        f'name = "{body.name.lower() if asked.built_in else body.name}"',
    ]
    if not asked.built_in:
        lines += [f"gm_km3_s2 = {_number(body.gm / 1e9)}", f"radius_km = {_number(body.radius_m / 1e3)}"]
    size = (
        f"altitude_km = {_km(question.ring_radius_m, body)}"
        if asked.ring_period_s is None
        else f"period_s = {_number(asked.ring_period_s)}"
    )
    lines += [
        "",
        "[ring]",
        size,
        "slots = 1",
        f"slot0_deg = {_number(math.degrees(question.lead_rad))} # ahead of the craft at time 0",
        f"tolerance_deg = {_number(math.degrees(asked.tolerance_rad))}",
        "",
        "[limits]",
        f"clearance_km = {_km(question.floor_m - body.atmosphere_top_m, body)} # above the top of the atmosphere",
        f"revolutions_max = {question.revolutions_max}",
    ]
    if math.isfinite(question.within_s):
        lines.append(f"wait_within_{_time(question.within_s)}")
    if math.isfinite(question.ceiling_m):
        lines.append(f"apoapsis_max_km = {_km(question.ceiling_m, body)}")
    lines += ["", "[[craft]]", f'name = "{CRAFT}"', f"orbit = {{ {_orbit(asked, size)} }}"]
    return "\n".join(lines) + "\n"


def _orbit(asked: Asked, size: str) -> str:
    question, body = asked.question, asked.body
    if question.other_m == question.ring_radius_m:
        return f"{size}, angle_deg = 0.0"
    low_m, high_m = sorted((question.other_m, question.ring_radius_m))
    at = "apoapsis" if question.other_m < question.ring_radius_m else "periapsis"
    return f'periapsis_km = {_km(low_m, body)}, apoapsis_km = {_km(high_m, body)}, angle_deg = 0.0, at = "{at}"'


def _km(radius_m: float, body: Body) -> str:
    """An altitude in km, to a micrometer: the rest is dust of the conversion."""
    return _number(round((radius_m - body.radius_m) / 1e3, 9) + 0.0)


def _number(value: float) -> str:
    """A number for TOML, to a part in 10^13."""
    return repr(float(f"{value:.13g}"))


def _time(seconds: float) -> str:
    """Unit, equals sign and number in the largest unit in which the number is short."""
    for unit, size in (("d", 86400.0), ("h", 3600.0), ("min", 60.0)):
        number = _number(seconds / size)
        if seconds >= size and len(number) <= 7:
            return f"{unit} = {number}"
    return f"s = {_number(seconds)}"
