"""Ringwright: plans evenly spaced relay rings, fuel against time.

The public functions, loaded when they are first used; arguments and data frames are in SI units and radians.

=================  ====================================================================
``read_scenario``  a scenario from its file
``plan``           ranked plans, flown, with the front of delta-v against finish
``period``         every period that brings one craft into its slot
``budget``         what errors cost, and what to load
``replan``         the best plan from what was seen of the craft
``compare``        strategies or scenarios side by side
``sweep``          a scenario over a grid of values
=================  ====================================================================
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .models.errors import InputError
    from .models.reading.scenario_reader import parse_scenario, read_scenario
    from .reports.notebook.calls import budget, compare, period, plan, replan, sweep

__version__ = "0.1.0"

__all__ = [
    "InputError",
    "budget",
    "compare",
    "parse_scenario",
    "period",
    "plan",
    "read_scenario",
    "replan",
    "sweep",
]

_HOMES = {
    "InputError": ".models.errors",
    "parse_scenario": ".models.reading.scenario_reader",
    "read_scenario": ".models.reading.scenario_reader",
}


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for (PEP 562)."""
    if name not in __all__:
        raise AttributeError(f"module 'ringwright' has no attribute {name!r}")
    return getattr(import_module(_HOMES.get(name, ".reports.notebook.calls"), __name__), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
