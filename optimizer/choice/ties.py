"""What counts as equal: values that print alike. Ties between plans go by the order of `AIMS`, then by slots."""

from __future__ import annotations

import math

from ...models.scenario import Aim

AIMS: tuple[Aim, ...] = ("delta_v", "finish", "worst_delta_v", "propellant")
"""In the order in which they decide between plans that are alike in the aims before."""

MINUTE_S = 60.0
MARGIN = 1e-6
"""So far below the next printed digit a value is still safely printed as this one."""


def printed(aim: Aim, value: float) -> float:
    """Round a value of an aim as it is printed: 0.1 m/s, 0.1 kg, 1 min.

    Args:
        aim: what it is a value of.
        value: in m/s, kg or s.

    Returns:
        The printed value in m/s or kg; for ``finish`` in whole minutes.

    >>> printed("delta_v", 10.04) == printed("delta_v", 9.96), printed("finish", 89.0), printed("finish", 91.0)
    (True, 1.0, 2.0)
    """
    if not math.isfinite(value):
        return value
    return float(round(value / MINUTE_S)) if aim == "finish" else round(value, 1) + 0.0


def digit(aim: Aim) -> float:
    """The step from one printed value to the next, in the units of the aim: m/s, s or kg.

    >>> digit("finish"), digit("propellant")
    (60.0, 0.1)
    """
    return MINUTE_S if aim == "finish" else 0.1


def prints_until(aim: Aim, value: float) -> float:
    """The greatest value that prints like this one, in the units of the aim.

    >>> round(prints_until("delta_v", 10.04), 5), round(prints_until("finish", 45.0), 5)
    (10.05, 90.0)
    """
    if not math.isfinite(value):
        return value
    half = 0.5 * digit(aim)
    middle = printed(aim, value) * (MINUTE_S if aim == "finish" else 1.0)
    return max(value, middle + half - MARGIN)


def sooner_in_print(finish_s: float) -> float:
    """The latest finish that prints as sooner than this one, s.

    >>> round(sooner_in_print(125.0), 5), round(sooner_in_print(80.0), 5)
    (90.0, 30.0)
    """
    return (printed("finish", finish_s) - 0.5) * MINUTE_S - MARGIN
