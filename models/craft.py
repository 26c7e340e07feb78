"""What a craft of the scenario can do with its propellant (rocket equation, see ``burns.py``)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .burns import delta_v_available, propellant_needed, propellant_used
from .scenario import Craft


def delta_v_allowed(craft: Craft) -> float:
    """The most that a plan may ask of a craft, m/s: all its propellant less the reserve; infinite without masses.

    >>> round(delta_v_allowed(Craft(name="a", dry_mass_kg=100.0, propellant_kg=100.0, isp_s=300.0)), 3)
    2039.236
    """
    if craft.dry_mass_kg is None or craft.propellant_kg is None or craft.isp_s is None:
        return math.inf
    wet = craft.dry_mass_kg + craft.propellant_kg
    return float(delta_v_available(wet, craft.propellant_kg, craft.isp_s)) - craft.reserve_m_s


def mass_at_start(craft: Craft, delta_v_m_s: ArrayLike) -> NDArray[np.float64]:
    """Mass before the first burn of a plan that needs that much, kg.

    With load "full" all the propellant is on board; with "least" only what the plan and the reserve need.
    Raises ValueError for a craft without masses.
    """
    if craft.dry_mass_kg is None or craft.propellant_kg is None or craft.isp_s is None:
        raise ValueError(f"craft {craft.name!r} has no masses")
    need = np.asarray(delta_v_m_s, dtype=np.float64)
    if craft.load == "full":
        return np.full(need.shape, craft.dry_mass_kg + craft.propellant_kg)
    return craft.dry_mass_kg + propellant_needed(craft.dry_mass_kg, need + craft.reserve_m_s, craft.isp_s)


def propellant(craft: Craft, delta_v_m_s: ArrayLike) -> NDArray[np.float64]:
    """Propellant that a plan burns, kg; zero for a craft without masses."""
    need = np.asarray(delta_v_m_s, dtype=np.float64)
    if craft.dry_mass_kg is None or craft.isp_s is None:
        return np.zeros(need.shape)
    return propellant_used(mass_at_start(craft, need), need, craft.isp_s)
