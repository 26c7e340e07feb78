"""What a launch site allows: when it may launch, whom, and how heavy.

Pure tests on values of the scenario; which way to fly is the business of ``windows.py``.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .craft import mass_at_start
from .scenario import Craft, Pad

EDGE_S = 1e-6
"""Moments this near to the end of a span belong to it: they were found by adding turnarounds up."""

EDGE_KG = 1e-6
"""A mass this near to the payload is that payload."""


def open_at(pad: Pad, time_s: ArrayLike) -> NDArray[np.bool_]:
    """Mask of the moments at which a site may launch: from ready to its latest date, and in no blackout.

    The ends of a blackout itself are allowed.

    >>> site = Pad(name="p", ready_s=10.0, until_s=90.0, blackouts_s=((40.0, 60.0),))
    >>> open_at(site, [0.0, 10.0, 40.0, 50.0, 60.0, 91.0]).tolist()
    [False, True, True, False, True, False]
    """
    times = np.asarray(time_s, dtype=np.float64)
    inside = (times >= pad.ready_s - EDGE_S) & (times <= pad.until_s + EDGE_S)
    for start, end in pad.blackouts_s:
        inside &= (times <= start + EDGE_S) | (times >= end - EDGE_S)
    return np.asarray(inside, dtype=np.bool_)


def may_launch(pad: Pad, craft: Craft) -> bool:
    """Whether a craft may be launched from a site at all, by name."""
    return not craft.pads or pad.name in craft.pads


def can_lift(most_kg: float, craft: Craft, delta_v_m_s: ArrayLike) -> NDArray[np.bool_]:
    """Mask of the plans of a craft, by their delta-v, for which a launcher that brings so much up is strong enough."""
    need = np.asarray(delta_v_m_s, dtype=np.float64)
    if math.isinf(most_kg):
        return np.ones(need.shape, dtype=np.bool_)
    return np.asarray(mass_at_start(craft, need) <= most_kg + EDGE_KG)
