"""Largest tilt of a craft's orbit against the ring plane."""

from __future__ import annotations

import math
from dataclasses import replace

from .limit import Limit, PlanParts, Values, in_unit
from .loosening import WIDEST_RAD, with_ring

PLANE_SLACK_RAD = math.radians(0.01)
"""A tilt below this is none: the corrector and the ring's own mean plane over an oblate body are no better."""


def _values(parts: PlanParts) -> Values:
    tilts = [(one.flown.plane_error_rad, one.craft) for one in parts.craft]
    return [(tilt, who) for tilt, who in tilts if tilt > PLANE_SLACK_RAD]


LIMIT = Limit(
    key="ring.tilt_tolerance",
    words=in_unit("deg", "tilt against the ring plane"),
    allowed=lambda scenario: scenario.ring.tilt_tolerance_rad,
    values=_values,
    slack=PLANE_SLACK_RAD,
    loosest=lambda scenario: WIDEST_RAD if scenario.ring.tilt_tolerance_rad < WIDEST_RAD else None,
    step=0.01,
    with_value=with_ring(lambda held, value: replace(held, tilt_tolerance_rad=value)),
    gives_by_itself=True,
)
