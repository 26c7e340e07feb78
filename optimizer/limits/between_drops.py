"""Least time between two drops of one carrier.

Loads keep it by their passes as planned (`routes/carrier_spaced.py`); what is judged is how they are flown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

from ...models.scenario import Carrier, Scenario
from ..outcome import Margin
from ..problem.problem import Problem
from .limit import TIME_SLACK_S, Limit, LimitWords, PlanParts, in_unit
from .loosening import Loosening

ROOM_SHARE = 2e-3
"""Over an oblate body drops are planned so much farther apart than they have to be: its passes come sooner or later."""


def apart_s(problem: Problem, carrier: Carrier) -> float:
    """Least time between drops as planned, s; 0 for no limit."""
    return carrier.between_drops_s * (1.0 + ROOM_SHARE * problem.oblate)


@dataclass(frozen=True, kw_only=True)
class _BetweenDrops(Limit):
    """Judged for each carrier, as ``carrier.NAME.between_drops``."""

    @property
    def says(self) -> dict[str, LimitWords]:
        """See `Limit`; apart from what else lies between two moments."""
        return {self.key: self.words}

    def margins(self, parts: PlanParts) -> tuple[Margin, ...]:
        """See `Limit`."""
        least = {one.name: one.between_drops_s for one in parts.scenario.carriers if one.between_drops_s > 0.0}
        return tuple(
            margin
            for one in parts.carriers
            if one.carrier in least
            for margin in self.nearest(
                f"carrier.{one.carrier}.between_drops",
                least[one.carrier],
                [(late.time_s - early.time_s, late.craft) for early, late in pairwise(one.drops)],
            )
        )

    def loosenings(self, scenario: Scenario) -> tuple[Loosening, ...]:
        """See `Limit`: that of each carrier."""
        return tuple(
            Loosening(
                key=f"carrier.{one.name}.between_drops",
                now=one.between_drops_s,
                most=0.0,
                step=self.step,
                unit=self.words.per_unit,
                apply=_with_carrier(index),
            )
            for index, one in enumerate(scenario.carriers)
            if one.between_drops_s > 0.0
        )


def _with_carrier(index: int) -> Callable[[Scenario, float], Scenario]:
    def apply(scenario: Scenario, value: float) -> Scenario:
        carriers = list(scenario.carriers)
        carriers[index] = replace(carriers[index], between_drops_s=value)
        return replace(scenario, carriers=tuple(carriers))

    return apply


LIMIT = _BetweenDrops(
    key="carrier.between_drops",
    words=in_unit("h", "between drops of the carrier", floor=True),
    slack=TIME_SLACK_S,
    step=0.01,
)
