"""What the forces that are left out could do to the spacing of a ring: estimates by order of magnitude, good to a
factor of about three.

A small force along the track of acceleration f shifts a craft along its circle of radius a at 3 f / a (rad/s^2; the
drift of a synchronous orbit, Soop, *Handbook of Geostationary Orbits*, 1994, chapter 4; to first order, the opposite
way). Three forces are weighed.

- Other bodies: the tide GM' / d^3 of one at distance d pulls along the track with 3/2 GM' / d^3 a sin 2 psi, psi being
  the angle from it to the craft (second degree of its potential, Vallado 2013, section 8.6.3; outside its orbit of
  radius d, GM' d^2 / a^5 takes the place of GM' / d^3).
- The body's equator is no circle: C22 and S22 pull with 6 GM / a^2 J22 (Re / a)^2 sin 2 (longitude from the long axis)
  (Vallado 2013, section 9.6.5; Kaula 1966, section 3.6).
- Drag: rho v^2 / 2 times drag coefficient and area over mass, in an exponential atmosphere (Vallado 2013, section
  8.6.2).

The first two turn twice while the craft turns once against them, at a rate b against their pattern, so that what they
shift does not pile up: a craft put on the circle at some moment keeps a wrong mean rate of up to A / (2 b), the
integral of A sin (2 b t), where A is the greatest shift. Which part of that spoils the *spacing* depends on how
differently the craft were put there: the caller gives it as a share.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from . import bodies
from .fields import unnormalized
from .keys import number_by_default
from .scenario import Body
from .surroundings import AREA_M2_KG, AirLayer

DRAG_COEFFICIENT = number_by_default("craft", "drag_coefficient")
"""What drag is estimated for, besides `AREA_M2_KG`: a flat plate in thin air (common practice)."""

DRAG = "drag"

AIR_REACH = 4.0
"""A ring below so many times the altitude of the top of the air may be ruled by drag (a choice; 480 km at Earth)."""

SYNCHRONOUS_SHARE = 1e-3
"""Rates alike to this share of the ring's count as a ring over a fixed longitude: it takes over a year to lose half
a turn against a ground that turns in a day."""


@dataclass(frozen=True, kw_only=True)
class Pull:
    """A force that is left out, by its pull along the track.

    Args:
        name: as in "the pull of the Earth is left out".
        shift_rad_s2: greatest second derivative of the angle along the ring, A.
        pattern_rad_s: rate at which its pattern turns, met twice a turn by a craft; None where it always pulls back.
        fixed: whether it pulls each craft alike for good, so that the error is against the slot and not between craft.
    """

    name: str
    shift_rad_s2: float
    pattern_rad_s: float | None = None
    fixed: bool = False

    def spoils_s(self, rate_rad_s: float, tolerance_rad: float, share: float = 1.0) -> float:
        """Seconds until a share of this pull alone could shift a craft of the ring by the tolerance.

        The shift is taken as the smaller of A t^2 / 2 (as if it pulled one way) and A t / (2 b).

        Args:
            share: of the whole effect that acts between craft, in [0, 1].
        """
        shift = self.shift_rad_s2 * share
        if shift == 0.0:
            return math.inf
        one_way_s = math.sqrt(2.0 * tolerance_rad / shift)
        if self.pattern_rad_s is None or self.fixed:
            return one_way_s
        return max(one_way_s, 2.0 * abs(rate_rad_s - self.pattern_rad_s) * tolerance_rad / shift)

    def shift_rad(self, after_s: float, rate_rad_s: float) -> float:
        """What this pull alone could shift a craft of the ring by after so long, at most: `spoils_s` the other way."""
        one_way = 0.5 * self.shift_rad_s2 * after_s**2
        if self.pattern_rad_s is None or self.fixed or rate_rad_s == self.pattern_rad_s:
            return one_way
        return min(one_way, self.shift_rad_s2 * after_s / (2.0 * abs(rate_rad_s - self.pattern_rad_s)))


def pulls(body: Body, radius_m: float, rate_rad_s: float, inclination_rad: float = 0.0) -> tuple[Pull, ...] | None:
    """The forces left out around a built-in body, on a ring of that radius and rate; None for a world of one's own."""
    if not known(body):
        return None
    found = [tide(body.gm, radius_m, one) for one in bodies.neighbors(body.name)]
    j22 = bodies.sectoral(body.name)
    if j22 is not None:
        found.append(longitude_pull(body, j22, radius_m, rate_rad_s, inclination_rad))
    density = density_kg_m3(body.name, radius_m - body.radius_m)
    if density is not None:
        found.append(Pull(name=DRAG, shift_rad_s2=drag_shift_rad_s2(body.gm, radius_m, density)))
    return tuple(found)


def known(body: Body) -> bool:
    """Whether the sky around a body is known here: it is a built-in one."""
    return body.name.lower() in bodies.body_names()


def tide(gm: float, radius_m: float, other: bodies.Neighbor) -> Pull:
    """The pull of another body, from its mean distance on a circle.

    >>> moon = bodies.Neighbor(name="Moon", gm=4.9028e12, distance_m=3.844e8)
    >>> f"{tide(3.986e14, 4.2164e7, moon).shift_rad_s2:.2e}"
    '3.88e-13'
    """
    distance = other.distance_m
    gradient = other.gm / distance**3 if distance > radius_m else other.gm * distance**2 / radius_m**5
    article = "the " if other.name in ("Sun", "Earth", "Moon") else ""
    return Pull(
        name=f"the pull of {article}{other.name}",
        shift_rad_s2=4.5 * gradient,
        pattern_rad_s=math.sqrt((gm + other.gm) / distance**3),
    )


def longitude_pull(body: Body, j22: float, radius_m: float, rate_rad_s: float, inclination_rad: float = 0.0) -> Pull:
    """The pull of an equator that is no circle: 18 n^2 J22 (Re / a)^2 at most, which turns with the body."""
    spin = math.copysign(1.0, math.cos(inclination_rad)) * body.spin_rad_s
    shift = 18.0 * body.gm / radius_m**3 * j22 * (body.j2_radius_m / radius_m) ** 2
    fixed = abs(rate_rad_s - spin) <= SYNCHRONOUS_SHARE * rate_rad_s
    return Pull(
        name=f"the uneven equator of {body.name} (C22 and S22)", shift_rad_s2=shift, pattern_rad_s=spin, fixed=fixed
    )


def uneven_pull(body: Body, degree: int, radius_m: float, rate_rad_s: float, inclination_rad: float) -> Pull:
    """The pull of all harmonics of a degree n: GM / a^2 (Re / a)^n 2 n times the root of the sum of squares of their
    normalized coefficients, which is a degree's mean size on the sphere (Kaula 1966, section 3.3), its peak taken twice
    that.
    """
    uneven = math.sqrt(
        sum(
            (one.cosine**2 + one.sine**2) / unnormalized(degree, one.order) ** 2
            for one in body.harmonics
            if one.degree == degree
        )
    )
    reference = body.j2_radius_m or body.radius_m
    along = body.gm / radius_m**2 * 2.0 * degree * (reference / radius_m) ** degree * uneven
    spin = math.copysign(1.0, math.cos(inclination_rad)) * body.spin_rad_s
    return Pull(
        name=f"degree {degree}",
        shift_rad_s2=3.0 * along / radius_m,
        pattern_rad_s=spin,
        fixed=abs(rate_rad_s - spin) <= SYNCHRONOUS_SHARE * rate_rad_s,
    )


def light_pull(name: str, radius_m: float, light_m2_kg: float) -> Pull:
    """The pressure of sunlight, whose pattern stands still but for the body's year (Soop 1994, chapter 4)."""
    sun = next((one for one in bodies.neighbors(name) if one.name == "Sun"), None)
    distance = bodies.ASTRONOMICAL_UNIT_M if sun is None else sun.distance_m
    push = 1360.8 / 299_792_458.0 * (bodies.ASTRONOMICAL_UNIT_M / distance) ** 2 * light_m2_kg
    return Pull(name="sunlight", shift_rad_s2=3.0 * push / radius_m, pattern_rad_s=0.0)


def drag_shift_rad_s2(
    gm: float, radius_m: float, density: float, drag_m2_kg: float = DRAG_COEFFICIENT * AREA_M2_KG
) -> float:
    """How drag shifts a craft along its circle, rad/s^2: 3 / a times rho v^2 / 2 Cd A / m, v the circular speed.

    >>> f"{math.degrees(drag_shift_rad_s2(3.986e14, 6.778e6, 3.725e-12)) * 86_400.0**2:.2f} deg/d^2"
    '0.46 deg/d^2'
    """
    return 1.5 * density * gm / radius_m**2 * drag_m2_kg


def density_kg_m3(name: str, altitude_m: float) -> float | None:
    """Density of a built-in body's air by its table of layers; None where no table is known here.

    Below the lowest layer, where no ring can be, its law is carried on downward; above the highest, upward.

    >>> density_kg_m3("earth", 400e3), density_kg_m3("jupiter", 400e3)
    (3.725e-12, None)
    """
    layers = bodies.air(name)
    return density_of(layers, altitude_m) if layers else None


def density_of(layers: Sequence[AirLayer], altitude_m: float) -> float:
    """Density by a table of layers, one at least, kg/m^3."""
    layer = next((one for one in reversed(layers) if one.altitude_m <= altitude_m), layers[0])
    return layer.density_kg_m3 * math.exp((layer.altitude_m - altitude_m) / layer.scale_height_m)


def drag_unknown(body: Body, radius_m: float) -> bool:
    """Whether a ring is so low over air of unknown density that nothing can be said without it."""
    low = radius_m - body.radius_m < AIR_REACH * body.atmosphere_top_m
    return low and not (known(body) and bodies.air(body.name))
