"""What can be changed at the desk: a closed list of keys, each as a field with its value in plain text.

What is typed goes through the same checks as ``--set``; the errors are those of the scenario reader, without the words
that only fit a command line.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ...models.errors import InputError
from ...models.scenario import Scenario
from ..limits import limit_words
from ..wording import AIM_WORDS

NO_LIMIT = "no limit"
"""Shown for an infinite limit; it may be typed too."""

LONGEST = 200
"""Characters of what may be typed into a field."""

_SPACES = {ord(" "): None, ord("\u00a0"): None, ord("\u202f"): None}


@dataclass(frozen=True, kw_only=True)
class Field:
    """A key that can be changed.

    Args:
        key: as in a setting, with its unit.
        label: what it is, in words.
        unit: printed behind the value; empty for a count or a choice.
        value: reads the value off a scenario, in that unit.
        choices: words for each value that can be chosen; empty where it is a number.
    """

    key: str
    label: str
    unit: str
    value: Callable[[Scenario], float | str]
    choices: tuple[tuple[str, str], ...] = ()


def _limit(name: str, key: str, per_unit: float, si: Callable[[Scenario], float]) -> Field:
    words = limit_words(f"limits.{name}")
    label = f"{words.words}, {'at least' if words.floor else 'at most'}"
    return Field(key=f"limits.{key}", label=label, unit=words.unit, value=lambda one: si(one) / per_unit)


FIELDS = (
    Field(
        key="ring.altitude_km",
        label="altitude of the ring",
        unit="km",
        value=lambda one: (one.ring.radius_m - one.body.radius_m) / 1e3,
    ),
    Field(key="ring.slots", label="slots in each plane", unit="", value=lambda one: one.ring.slots),
    _limit("finish_within", "finish_within_d", 86400.0, lambda one: one.limits.finish_within_s),
    _limit("wait_within", "wait_within_d", 86400.0, lambda one: one.limits.wait_within_s),
    _limit("revolutions_max", "revolutions_max", 1.0, lambda one: one.limits.revolutions_max),
    _limit("clearance", "clearance_km", 1e3, lambda one: one.limits.clearance_m),
    _limit("apoapsis_max", "apoapsis_max_km", 1e3, lambda one: one.limits.apoapsis_max_m - one.body.radius_m),
    _limit("separation", "separation_km", 1e3, lambda one: one.limits.separation_m),
    Field(
        key="goal.minimize",
        label="plan 1 has",
        unit="",
        value=lambda one: one.minimize,
        choices=tuple(AIM_WORDS.items()),
    ),
)

KEYS = {field.key: field for field in FIELDS}


def fields_of(scenario: Scenario, settings: dict[str, str]) -> list[dict[str, Any]]:
    """Every field with its value, ready for JSON; ``changed`` where the value is not the file's.

    A ring that stays over the ground has no choice of altitude.
    """
    fixed = {"ring.altitude_km"} if scenario.ring.longitude_rad is not None else set()
    return [
        {
            "key": field.key,
            "label": field.label,
            "unit": field.unit,
            "value": _shown(field.value(scenario)),
            "choices": [list(choice) for choice in field.choices],
            "changed": field.key in settings,
        }
        for field in FIELDS
        if field.key not in fixed
    ]


def typed_value(key: str, typed: str) -> str:
    """What was typed into a field, as the right side of a setting; empty where the file's value is to count again.

    Raises:
        InputError: no such field, or text that can be no value.

    >>> typed_value("ring.altitude_km", " 10 000 "), typed_value("limits.wait_within_d", "no limit")
    ('10000', 'inf')
    """
    if key not in KEYS:
        raise InputError(f"{key!r} cannot be changed here: {', '.join(KEYS)} can.", where="the desk")
    if len(typed) > LONGEST or not typed.replace("\u202f", " ").replace("\u00a0", " ").isprintable():
        raise InputError(f"this is no value of {key}: write a number.", where=key)
    given = typed.strip()
    if given.lower() in (NO_LIMIT, "none"):
        return "inf"
    return given if KEYS[key].choices else given.translate(_SPACES)


def words_of(fault: InputError, key: str, typed: str) -> str:
    """What is wrong with a value, to stand beside its field."""
    said = fault.problem
    for written in (f"--set {key}={typed_value(key, typed)} ", f"{key} = {typed_value(key, typed)} "):
        said = said.replace(written, f"{typed.strip()} ", 1) if said.startswith(written) else said
    return said


def _shown(value: float | str) -> str:
    if isinstance(value, str):
        return value
    return NO_LIMIT if math.isinf(value) else f"{value:.10g}"
