"""The limits, one a line: in this order they are judged, and loosened where no plan keeps them all."""

from __future__ import annotations

from ...models.scenario import Scenario
from . import (
    apoapsis_max,
    between_craft,
    between_drops,
    carrier_delta_v,
    clearance,
    finish_within,
    liftoffs,
    propellant,
    revolutions_max,
    separation,
    slot_tolerance,
    tilt_tolerance,
    wait_within,
)
from .limit import Limit, LimitWords
from .loosening import Loosening

LIMITS: tuple[Limit, ...] = (
    clearance.LIMIT,
    finish_within.LIMIT,
    wait_within.LIMIT,
    revolutions_max.LIMIT,
    apoapsis_max.LIMIT,
    separation.LIMIT,
    between_craft.LIMIT,
    liftoffs.LIMIT,
    slot_tolerance.LIMIT,
    tilt_tolerance.LIMIT,
    propellant.LIMIT,
    carrier_delta_v.LIMIT,
    between_drops.LIMIT,
)


def loosenings(scenario: Scenario) -> list[Loosening]:
    """Every limit that a scenario sets and that may be loosened, one after another."""
    return [one for limit in LIMITS for one in limit.loosenings(scenario)]


def words_of(key: str) -> LimitWords | None:
    """Unit and words of a limit, from its key without unit; None for a key that is no limit.

    >>> [words_of(key).words for key in ("limits.clearance", "launch.Atoll.turnaround", "carrier.Barge.delta_v")]
    ['lowest pass above the atmosphere', 'between liftoffs', 'delta-v of the carrier']
    """
    table, _, name = key.rpartition(".")
    said = {known: words for limit in LIMITS for known, words in limit.says.items()}
    return said.get(f"{table.partition('.')[0]}.{name}", said.get(name))


def gives_by_itself(key: str) -> bool:
    """Whether a plan that breaks nothing else keeps that limit once it is as wide as the plan's value."""
    return any(limit.key == key and limit.gives_by_itself for limit in LIMITS)


def may_be(scenario: Scenario, key: str, value: float) -> bool:
    """Whether a limit of a scenario may be loosened as far as a value, SI: no craft may fly through the ground."""
    return any(
        one.key == key and min(one.now, one.most) <= value <= max(one.now, one.most) for one in loosenings(scenario)
    )
