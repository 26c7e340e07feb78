"""Least distance to craft in place.

What an option comes to by itself is asked apart (`screening.passes_kept`): where the best choice of a row meets
another craft, the others of that row take its place.
"""

from __future__ import annotations

import math
from dataclasses import replace

from .limit import LENGTH_SLACK_M, Limit, PlanParts, Values, in_unit
from .loosening import with_limit


def _values(parts: PlanParts) -> Values:
    return [(one.flown.closest_m, one.craft) for one in parts.craft if one.flown.closest_m is not None]


LIMIT = Limit(
    key="limits.separation",
    words=in_unit("km", "distance to craft in place", floor=True),
    allowed=lambda scenario: scenario.limits.separation_m or math.inf,
    values=_values,
    slack=LENGTH_SLACK_M,
    loosest=lambda _: 0.0,
    step=0.1,
    with_value=with_limit(lambda held, value: replace(held, separation_m=value)),
    gives_by_itself=True,
)
