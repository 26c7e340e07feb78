"""Whether circles stay round over years: closed forms of first order, averaged over turns of craft and other bodies.

Another body in its orbit of radius d, with k = 3/4 GM' / (d^3 n), turns and stretches a small eccentricity vector of a
circle at inclination i to that orbit; the bulge turns it at P = 3/4 n J2 (Re / a)^2 (4 - 5 sin^2 i). It grows as
e^(g t) with g^2 = (2 k + P) (k (5 sin^2 i - 2) - P) where both factors are positive: without a bulge beyond 39.2 deg,
and then to sqrt(1 - 5/3 cos^2 i) at most (Lidov 1962, Planet. Space Sci. 9, 719; Kozai 1962, Astron. J. 67, 591; the
bulge as in Vallado 2013, section 9.6). What swings with the turns of the other body changes these rates by a share of
some nine times n' / n, the ratio of both rates of turning (as for the Moon's own periapsis, Clairaut 1752).
Inclinations count from the body's equator, from which the orbit of a planet seen from its moons is a few degrees off.

Under J2 and J3 alone an eccentricity of -J3 / (2 J2) (Re / a) sin i with the periapsis a quarter of a turn ahead of the
node stays as it is: a frozen orbit (Cutting, Born and Frautnick 1978, J. Astronaut. Sci. 26, 315; Vallado 2013, section
11.4; both from memory). At 63.4 deg the bulge does not turn the periapsis, and there is none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from .bodies import Neighbor
from .scenario import Body

SEED = 1e-3
"""Eccentricity that a circle is taken to begin with."""


def pull_rad_s(gm: float, radius_m: float, one: Neighbor) -> float:
    """k = 3/4 GM' / (d^3 n), rad/s."""
    return 0.75 * one.gm / one.distance_m**3 / math.sqrt(gm / radius_m**3)


def growth_rad_s(body: Body, radius_m: float, inclination_rad: float, others: Sequence[Neighbor]) -> float:
    """How fast a small eccentricity grows, 1/s; 0 where circles stay round.

    >>> body = Body(name="Oss", gm=4.9028e12, radius_m=1.7374e6)
    >>> earth = Neighbor(name="Earth", gm=3.986e14, distance_m=3.844e8)
    >>> year_s = 365.25 * 86_400.0
    >>> [round(growth_rad_s(body, 1.17374e7, math.radians(i), [earth]) * year_s, 2) for i in (39.0, 45.0, 60.0)]
    [0.0, 3.02, 5.64]
    """
    k = math.fsum(pull_rad_s(body.gm, radius_m, one) for one in others)
    square = math.sin(inclination_rad) ** 2
    bulge = bulge_rad_s(body, radius_m, inclination_rad)
    first, second = 2.0 * k + bulge, k * (5.0 * square - 2.0) - bulge
    return math.sqrt(first * second) if first > 0.0 and second > 0.0 else 0.0


def bulge_rad_s(body: Body, radius_m: float, inclination_rad: float) -> float:
    """How fast the bulge turns the periapsis of a circle, rad/s."""
    rate, reference = math.sqrt(body.gm / radius_m**3), body.j2_radius_m or body.radius_m
    return 0.75 * rate * body.j2 * (reference / radius_m) ** 2 * (4.0 - 5.0 * math.sin(inclination_rad) ** 2)


def round_up_to_rad(body: Body, radius_m: float, inclination_rad: float, others: Sequence[Neighbor]) -> float:
    """The inclination nearest to one, towards the equator, at which circles still stay round."""
    back = inclination_rad > 0.5 * math.pi
    low, high = (math.pi, inclination_rad) if back else (0.0, inclination_rad)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if growth_rad_s(body, radius_m, middle, others) > 0.0 else (middle, high)
    return low


def grown_after_s(rate_rad_s: float, eccentricity: float) -> float:
    """When an eccentricity that begins at `SEED` has grown to a small one, s; infinite where it does not grow."""
    return math.inf if rate_rad_s == 0.0 else math.log(max(eccentricity / SEED, 1.0)) / rate_rad_s


def frozen_eccentricity(body: Body, radius_m: float, inclination_rad: float) -> float | None:
    """Of the orbit that J2 and J3 leave as it is; negative: periapsis a quarter of a turn behind the node.

    None where J3 is not known, and near 63.4 deg.

    >>> from .bodies import body
    >>> round(frozen_eccentricity(body("earth"), 7.168e6, math.radians(98.5)), 5)
    0.00103
    """
    j3 = next((-one.cosine for one in body.harmonics if (one.degree, one.order) == (3, 0)), 0.0)
    if not body.j2 or not j3 or abs(4.0 - 5.0 * math.sin(inclination_rad) ** 2) < 0.2:
        return None
    return -0.5 * j3 / body.j2 * body.j2_radius_m / radius_m * math.sin(inclination_rad)
