"""What a craft can do with its propellant (rocket equation, Tsiolkovsky)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .scenario import Craft

STANDARD_GRAVITY = 9.80665  # m/s^2, CGPM 1901, the reference of every specific impulse


def exhaust_speed(craft: Craft) -> float:
    """Effective exhaust speed, m/s; infinite where the scenario counts no propellant."""
    return math.inf if craft.isp_s is None else craft.isp_s * STANDARD_GRAVITY


def delta_v_allowed(craft: Craft) -> float:
    """The most that a plan may ask of a craft, m/s: all its propellant less the reserve; infinite without masses.

    >>> round(delta_v_allowed(Craft(name="a", dry_mass_kg=100.0, propellant_kg=100.0, isp_s=300.0)), 3)
    2039.25
    """
    if craft.dry_mass_kg is None or craft.propellant_kg is None:
        return math.inf
    return exhaust_speed(craft) * math.log1p(craft.propellant_kg / craft.dry_mass_kg) - craft.reserve_m_s


def mass_at_start(craft: Craft, delta_v_m_s: ArrayLike) -> NDArray[np.float64]:
    """Mass before the first burn of a plan that needs that much, kg.

    With load "full" all the propellant is on board; with "least" only what the plan and the reserve need.
    Raises ValueError for a craft without masses.
    """
    if craft.dry_mass_kg is None or craft.propellant_kg is None:
        raise ValueError(f"craft {craft.name!r} has no masses")
    need = np.asarray(delta_v_m_s, dtype=np.float64)
    if craft.load == "full":
        return np.full(need.shape, craft.dry_mass_kg + craft.propellant_kg)
    return np.asarray(craft.dry_mass_kg * np.exp((need + craft.reserve_m_s) / exhaust_speed(craft)))


def propellant(craft: Craft, delta_v_m_s: ArrayLike) -> NDArray[np.float64]:
    """Propellant that a plan burns, kg; zero for a craft without masses."""
    need = np.asarray(delta_v_m_s, dtype=np.float64)
    if craft.dry_mass_kg is None:
        return np.zeros(need.shape)
    return np.asarray(mass_at_start(craft, need) * -np.expm1(-need / exhaust_speed(craft)))


def propellant_needed(craft: Craft, delta_v_m_s: float) -> float:
    """The smallest load with which a plan keeps the reserve, kg. Raises ValueError for a craft without masses."""
    if craft.dry_mass_kg is None:
        raise ValueError(f"craft {craft.name!r} has no masses")
    return craft.dry_mass_kg * math.expm1((delta_v_m_s + craft.reserve_m_s) / exhaust_speed(craft))
