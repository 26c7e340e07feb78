"""What surrounds a craft besides a point mass and its bulge, as plain values: an uneven field, air, other bodies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Choice = Literal["auto", True, False]


@dataclass(frozen=True, kw_only=True)
class Harmonic:
    """One pair of coefficients C and S of a potential GM / r (Re / r)^n P_nm(sin lat) (C cos m lon + S sin m lon).

    Unnormalized; Re is the radius that the body's J2 belongs to.
    """

    degree: int
    order: int
    cosine: float
    sine: float = 0.0


@dataclass(frozen=True, kw_only=True)
class AirLayer:
    """A layer of an exponential atmosphere: from this altitude up, density there, kg/m^3, and scale height, m."""

    altitude_m: float
    density_kg_m3: float
    scale_height_m: float


@dataclass(frozen=True, kw_only=True)
class Puller:
    """A body that pulls in a world of one's own: GM, m^3/s^2, on a circle around the body.

    ``angle_rad`` is its argument of latitude at the epoch.
    """

    name: str
    gm: float
    radius_m: float
    period_s: float
    angle_rad: float = 0.0
    inclination_rad: float = 0.0
    node_rad: float = 0.0


@dataclass(frozen=True, kw_only=True)
class ForceSpec:
    """Which forces are flown beyond the body's bulge: each where it matters ("auto"), in any case, or not at all.

    ``degree`` is the highest degree and order of the field; 0 for the bulge alone.
    """

    degree: int | Literal["auto"] = "auto"
    sun: Choice = "auto"
    moon: Choice = "auto"
    parent: Choice = "auto"
    drag: Choice = "auto"
    sunlight: Choice = "auto"
    density_factor: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Surface:
    """What air and light meet of a craft, each over its mass: drag coefficient times area, reflectivity times area.

    Both in m^2/kg; 0 where nothing is known of the craft.
    """

    drag_m2_kg: float = 0.0
    light_m2_kg: float = 0.0

    @staticmethod
    def of(mass_kg: float | None, area_m2: float | None, drag_coefficient: float, reflectivity: float) -> Surface:
        """From mass, area and the two coefficients; nothing where mass or area are not known.

        >>> Surface.of(100.0, 2.0, 2.5, 1.5)
        Surface(drag_m2_kg=0.05, light_m2_kg=0.03)
        """
        if mass_kg is None or area_m2 is None or not math.isfinite(mass_kg):
            return Surface()
        return Surface(drag_m2_kg=drag_coefficient * area_m2 / mass_kg, light_m2_kg=reflectivity * area_m2 / mass_kg)
