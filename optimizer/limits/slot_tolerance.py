"""Largest error of a craft against its slot."""

from __future__ import annotations

from dataclasses import replace

from .limit import Limit, in_unit
from .loosening import WIDEST_RAD, with_ring

LIMIT = Limit(
    key="ring.tolerance",
    words=in_unit("deg", "error against the slot"),
    allowed=lambda scenario: scenario.ring.tolerance_rad,
    values=lambda parts: [(abs(one.flown.slot_error_rad), one.craft) for one in parts.craft],
    loosest=lambda scenario: WIDEST_RAD if scenario.ring.tolerance_rad < WIDEST_RAD else None,
    step=0.01,
    with_value=with_ring(lambda held, value: replace(held, tolerance_rad=value)),
    gives_by_itself=True,
)
