"""Craft that stay where they are while a ring is spread again: whether its slots can be laid through all of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from ...models.readouts import listed
from ...models.scenario import Scenario
from ..limits.slot_tolerance import LIMIT
from ..outcome import Bind, Infeasible, Outcome
from ..problem.ring_phase import places_of_staying

SLACK = 1.0 + 1e-9
"""An error that is the tolerance but for rounding keeps it."""

OTHER_SLOTS = 4
"""Numbers of slots up to so many times the one that was asked for are tried."""

LOOSER = 1.0 + 1e-6
"""A tolerance is named so far past the error that it has to take in."""


class _Off(NamedTuple):
    name: str
    slot: int
    error_rad: float


def misplaced(scenario: Scenario, serves: Callable[[Scenario], bool]) -> Outcome | None:
    """The answer where no slots go through all craft that stay, within the tolerance; None where some do.

    Args:
        scenario: of one plane whose phase is free; the slots are laid so that the largest error is least.
        serves: whether planning a scenario ends in a plan, which a looser tolerance is tried with.

    Raises:
        InputError: a craft that is to stay is not on the ring.
    """
    placed = places_of_staying(scenario)
    if placed is None:
        return None
    ring, found = placed
    off = [_Off(*one) for one in found]
    allowed = scenario.ring.tolerance_rad
    if _fit(off, allowed):
        return None
    bind = Bind(limit=LIMIT.key, value=allowed, serves=_tolerance(scenario, off, serves))
    return Outcome(
        scenario=scenario,
        ring=ring,
        proof=None,
        kept=(),
        front=None,
        plans=(),
        infeasible=Infeasible(binds=(bind,), together=False, reason=_reason(scenario, off), by_places=True),
    )


def _fit(off: list[_Off], tolerance_rad: float) -> bool:
    """Whether each is in a slot by itself, as near to it as is allowed."""
    near = all(abs(one.error_rad) <= tolerance_rad * SLACK for one in off)
    return near and len({one.slot for one in off}) == len(off)


def _tolerance(scenario: Scenario, off: list[_Off], serves: Callable[[Scenario], bool]) -> float | None:
    """A tolerance with which there is a plan; None where slots would be shared, or that does not serve."""
    if len({one.slot for one in off}) < len(off) or LIMIT.loosest is None:
        return None
    value, most = max(abs(one.error_rad) for one in off) * LOOSER, LIMIT.loosest(scenario)
    if most is None or value > most:
        return None
    return value if serves(replace(scenario, ring=replace(scenario.ring, tolerance_rad=value))) else None


def _reason(scenario: Scenario, off: list[_Off]) -> str:
    """Which craft are off which slots by how much, and what would do."""
    count, even = scenario.ring.slots, not scenario.ring.pattern_rad
    slots = f"{count} equally spaced slots" if even else f"{count} slots as far apart as these"
    parts = [_where(one) for one in off if abs(one.error_rad) > scenario.ring.tolerance_rad * SLACK]
    shared = next((one.slot for one in off if sum(other.slot == one.slot for other in off) > 1), None)
    if shared is not None:
        parts.append(f"{listed([one.name for one in off if one.slot == shared])} would share slot {shared}")
    said = f"no {slots} go through {listed([one.name for one in off])}, which stay: laid so that the largest error is "
    said += f"least, {listed(parts)}"
    others = _slots_that_fit(scenario) if even else None
    return said + ("" if others is None else f"; {others} equally spaced slots would go through all of them")


def _where(one: _Off) -> str:
    side = "ahead of" if one.error_rad > 0.0 else "behind"
    return f"{one.name} is {math.degrees(abs(one.error_rad)):.2f} deg {side} slot {one.slot}"


def _slots_that_fit(scenario: Scenario) -> int | None:
    """The least number of equally spaced slots, at least one a craft, that go through all craft that stay."""
    for count in range(len(scenario.craft), OTHER_SLOTS * scenario.ring.slots + 1):
        placed = places_of_staying(replace(scenario, ring=replace(scenario.ring, slots=count)))
        if placed is not None and _fit([_Off(*one) for one in placed[1]], scenario.ring.tolerance_rad):
            return count
    return None
