"""What surrounds a craft besides a point mass and its bulge, as plain values: an uneven field, air, other bodies."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from .keys import number_by_default

Choice = Literal["auto", True, False]

AREA_M2_KG = 0.01
"""What is taken where area or mass of a craft is not given: 1 m^2 for each 100 kg (common practice, no source)."""


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
    angle_rad: float = number_by_default("pull.orbit", "angle")
    inclination_rad: float = number_by_default("pull.orbit", "inclination")
    node_rad: float = number_by_default("pull.orbit", "node")

    def later(self, by_s: float) -> Puller:
        """The same with the epoch moved on by so long."""
        return replace(self, angle_rad=self.angle_rad + 2.0 * math.pi * by_s / self.period_s)


@dataclass(frozen=True, kw_only=True)
class ForceSpec:
    """Which forces are flown beyond the body's bulge: each where it matters ("auto"), in any case, or not at all.

    ``degree`` is the highest degree and order of the field; 0 for the bulge alone. ``pulls`` is for the bodies of a
    world of one's own.
    """

    degree: int | Literal["auto"] = "auto"
    sun: Choice = "auto"
    moon: Choice = "auto"
    parent: Choice = "auto"
    drag: Choice = "auto"
    sunlight: Choice = "auto"
    pulls: Choice = "auto"


@dataclass(frozen=True, kw_only=True)
class Surface:
    """What air and light meet of a craft, each over its mass: drag coefficient times area, reflectivity times area.

    Both in m^2/kg; 0 where neither is flown.
    """

    drag_m2_kg: float = 0.0
    light_m2_kg: float = 0.0

    @staticmethod
    def of(mass_kg: float | None, area_m2: float | None, drag_coefficient: float, reflectivity: float) -> Surface:
        """From mass, area and the two coefficients; `AREA_M2_KG` where mass or area are not given.

        >>> Surface.of(100.0, 2.0, 2.5, 1.5)
        Surface(drag_m2_kg=0.05, light_m2_kg=0.03)
        """
        spread = AREA_M2_KG if mass_kg is None or area_m2 is None else area_m2 / mass_kg
        return Surface(drag_m2_kg=drag_coefficient * spread, light_m2_kg=reflectivity * spread)
