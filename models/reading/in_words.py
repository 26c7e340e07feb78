"""How messages about a scenario name its craft and its altitudes."""

from __future__ import annotations

from ..readouts import brief, no_less
from ..scenario import Craft, Scenario
from .document import Table


def km(radius_m: float, scenario: Scenario) -> str:
    """An altitude in words, from a radius."""
    return f"{brief((radius_m - scenario.body.radius_m) / 1e3)} km"


def said(craft: Craft, table: Table) -> str:
    """A craft by name, with its line where there is one."""
    line = table.line()
    return f"craft {craft.name!r} (line {line})" if line else f"craft {craft.name!r}"


def least_km(radius_m: float, scenario: Scenario) -> str:
    """An altitude in words where it is the least that is accepted."""
    return f"{no_less((radius_m - scenario.body.radius_m) / 1e3)} km"


def planes_accepted(count: int) -> str:
    """The numbers of the planes that a ring has.

    >>> planes_accepted(1), planes_accepted(3)
    ('it has one, plane 0', 'it has 3, counted 0 to 2')
    """
    return "it has one, plane 0" if count == 1 else f"it has {count}, counted 0 to {count - 1}"
