"""Burns: the rocket equation, how long a burn lasts, and the model that flies a burn at once or at constant thrust.

Constant thrust and mass flow, exhaust speed isp * g0. The rocket equation (Tsiolkovsky 1903) is exact without gravity.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Array
from .units import STANDARD_GRAVITY_M_S2

Steering = Literal["inertial", "local", "velocity"]


@dataclass(frozen=True, kw_only=True)
class Impulsive:
    """Burns that take no time."""


@dataclass(frozen=True, kw_only=True)
class FiniteThrust:
    """Burns at constant thrust, centered on the moment of the impulse that they stand for.

    Args:
        thrust_n: thrust, > 0.
        isp_s: specific impulse, > 0.
        mass_kg: mass when the itinerary starts.
        steering: what the direction is held to during the burn. ``inertial``: the stars; ``local``: the local axes,
            which turn with the craft; ``velocity``: the velocity. In each the direction is that of the impulse as it
            stands in the axes of the unburned state at the moment of the impulse.
    """

    thrust_n: float
    isp_s: float
    mass_kg: float
    steering: Steering = "inertial"

    @property
    def flow_kg_s(self) -> float:
        """Mass flow, thrust over exhaust speed."""
        return self.thrust_n / exhaust_speed(self.isp_s)


BurnModel = Impulsive | FiniteThrust


def exhaust_speed(isp_s: float) -> float:
    """Effective exhaust speed isp * g0, m/s.

    >>> round(exhaust_speed(312.0), 4)
    3059.6748
    """
    return isp_s * STANDARD_GRAVITY_M_S2


def mass_after(mass_kg: ArrayLike, delta_v_m_s: ArrayLike, isp_s: ArrayLike) -> Array:
    """Mass after a burn, m exp(-dv / c). Broadcasts.

    >>> round(float(mass_after(1000.0, 3059.6748, 312.0)), 3)
    367.879
    """
    speed = np.asarray(isp_s, dtype=np.float64) * STANDARD_GRAVITY_M_S2
    return np.asarray(np.asarray(mass_kg, dtype=np.float64) * np.exp(-np.asarray(delta_v_m_s) / speed))


def propellant_used(mass_kg: ArrayLike, delta_v_m_s: ArrayLike, isp_s: ArrayLike) -> Array:
    """Propellant for a burn that starts at a mass, kg. Broadcasts; exact for small burns too."""
    speed = np.asarray(isp_s, dtype=np.float64) * STANDARD_GRAVITY_M_S2
    return np.asarray(-np.asarray(mass_kg, dtype=np.float64) * np.expm1(-np.asarray(delta_v_m_s) / speed))


def propellant_needed(dry_kg: ArrayLike, delta_v_m_s: ArrayLike, isp_s: ArrayLike) -> Array:
    """Propellant that a dry mass needs for a total delta-v, kg: m (exp(dv / c) - 1). Broadcasts."""
    speed = np.asarray(isp_s, dtype=np.float64) * STANDARD_GRAVITY_M_S2
    return np.asarray(np.asarray(dry_kg, dtype=np.float64) * np.expm1(np.asarray(delta_v_m_s) / speed))


def delta_v_available(mass_kg: ArrayLike, propellant_kg: ArrayLike, isp_s: ArrayLike) -> Array:
    """Delta-v from burning propellant out of a mass, m/s: -c ln(1 - propellant / mass). Broadcasts.

    Args:
        mass_kg: mass before, propellant included.
        propellant_kg: in [0, mass_kg).
    """
    speed = np.asarray(isp_s, dtype=np.float64) * STANDARD_GRAVITY_M_S2
    return np.asarray(-speed * np.log1p(-np.asarray(propellant_kg) / np.asarray(mass_kg)))


def burn_duration(mass_kg: ArrayLike, delta_v_m_s: ArrayLike, isp_s: ArrayLike, thrust_n: ArrayLike) -> Array:
    """Seconds that a burn lasts at constant thrust: propellant over mass flow. Broadcasts.

    >>> round(float(burn_duration(540.0, 100.0, 312.0, 2000.0)), 3)
    26.564
    """
    speed = np.asarray(isp_s, dtype=np.float64) * STANDARD_GRAVITY_M_S2
    return np.asarray(propellant_used(mass_kg, delta_v_m_s, isp_s) * speed / np.asarray(thrust_n))
