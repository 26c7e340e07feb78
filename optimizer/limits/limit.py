"""What a limit is: its key, what it allows, what options and plans come to, and what would serve.

A limit is one file of this folder that ends in a `Limit`, and one line in `registry.py`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ...models.scenario import Scenario
from ..craft_plan import CarrierPlan, CraftPlan
from ..outcome import Broken, Margin
from ..problem.options import Options
from ..problem.problem import Problem
from .loosening import Loosening, WithValue

DEGREE = math.pi / 180.0
LENGTH_SLACK_M = 1.0
"""The integrator and its search for the lowest point are good to less than this."""

TIME_SLACK_S = 1e-3
"""Moments as flown agree with those planned to less than this."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class LimitWords:
    """How a limit is spelled and said.

    Args:
        suffix: unit suffix of the scenario key, empty for a count.
        per_unit: SI units in one unit of the suffix.
        unit: the unit as printed after a number.
        words: what is limited, said of a plan ("lowest pass above the atmosphere").
        floor: True where a plan must stay at or above the value, False where at or below.
    """

    suffix: str
    per_unit: float
    unit: str
    words: str
    floor: bool = False


def in_unit(unit: str, words: str, *, floor: bool = False) -> LimitWords:
    """A limit in one of the units that limits are given in.

    >>> in_unit("km", "highest apoapsis").suffix, in_unit("m/s", "delta-v of one craft").suffix
    ('_km', '_m_s')
    """
    sizes = {"km": 1e3, "d": 86400.0, "h": 3600.0, "deg": DEGREE, "kg": 1.0, "m/s": 1.0, "": 1.0}
    suffix = f"_{unit.replace('/', '_')}" if unit else ""
    return LimitWords(suffix=suffix, per_unit=sizes[unit], unit=unit, words=words, floor=floor)


@dataclass(frozen=True, kw_only=True)
class PlanParts:
    """A plan to be judged: its craft and carriers, and whether the flight may have moved liftoffs.

    That is so for sites that pass through the ring plane of an oblate body.
    """

    scenario: Scenario
    craft: Sequence[CraftPlan]
    carriers: Sequence[CarrierPlan] = ()
    moved: bool = False


Values = list[tuple[float, str]]
"""What each craft or carrier comes to, SI, and whose it is."""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One limit that a scenario may set.

    Args:
        key: as in ``limits.clearance``.
        words: its unit and how it is said.
        allowed: the value that a scenario allows, as it is judged, SI; infinite where it sets none.
        values: what a plan comes to.
        slack: overstepping it by less is none: what the flight is good to.
        keeps: mask of the options that keep it by themselves, with the latest finish asked for, s; None where it does
            not bind, or is asked elsewhere.
        of_path: whether what ``keeps`` asks is the path alone, whichever craft flies it and whatever it spends.
        loosest: the loosest value that is tried where no plan keeps all limits; None where it is not loosened.
        step: to which the value that serves is rounded, in the unit of the key.
        with_value: the scenario with another value.
        gives_by_itself: whether a plan that breaks nothing else keeps it once it is as wide as the plan's value.
        also: keys besides its own that say something of it, by their last part, and how they are said.
    """

    key: str
    words: LimitWords
    allowed: Callable[[Scenario], float] = lambda _: math.inf
    values: Callable[[PlanParts], Values] = lambda _: []
    slack: float = 1e-6
    keeps: Callable[[Problem, Options, float], Mask | None] = lambda _problem, _options, _finish_s: None
    of_path: bool = False
    loosest: Callable[[Scenario], float | None] = lambda _: None
    step: float = 1.0
    with_value: WithValue = lambda scenario, _: scenario
    gives_by_itself: bool = False
    also: Mapping[str, LimitWords] = field(default_factory=dict)

    @property
    def sense(self) -> Literal["at least", "at most"]:
        """On which side of what is allowed a value keeps it."""
        return "at least" if self.words.floor else "at most"

    @property
    def says(self) -> dict[str, LimitWords]:
        """How its keys are said, by their last part."""
        return {self.key.rpartition(".")[2]: self.words, **self.also}

    def kept(self, scenario: Scenario, value: float) -> bool:
        """Whether a value keeps the limit of a scenario, with its slack; any does where there is none."""
        allowed = self.allowed(scenario)
        if math.isinf(allowed):
            return True
        return value >= allowed - self.slack if self.words.floor else value <= allowed + self.slack

    def nearest(self, key: str, allowed: float, values: Values) -> tuple[Margin, ...]:
        """The room that is left for the one that comes closest; none where nothing is limited."""
        if not values or not math.isfinite(allowed):
            return ()
        # of craft alike but for rounding the first is named
        value, who = (min if self.words.floor else max)(values, key=lambda pair: round(float(f"{pair[0]:.8g}"), 6))
        return (Margin(limit=key, value=value, allowed=allowed, sense=self.sense, craft=who),)

    def margins(self, parts: PlanParts) -> tuple[Margin, ...]:
        """How much room a plan leaves under it, by the flight where it decides that."""
        return self.nearest(self.key, self.allowed(parts.scenario), self.values(parts))

    def broken(self, margins: Iterable[Margin]) -> list[Broken]:
        """Those of its margins that the flight finds broken."""
        found = []
        for one in margins:
            over = one.allowed - one.value if self.words.floor else one.value - one.allowed
            if over > self.slack:
                found.append(Broken(craft=one.craft, limit=one.limit, value=one.value, allowed=one.allowed))
        return found

    def loosenings(self, scenario: Scenario) -> tuple[Loosening, ...]:
        """How it may be loosened in a scenario; nothing where it may not, or does not bind."""
        now, most = self.allowed(scenario), self.loosest(scenario)
        if most is None or not math.isfinite(now):
            return ()
        return (
            Loosening(
                key=self.key, now=now, most=most, step=self.step, unit=self.words.per_unit, apply=self.with_value
            ),
        )
