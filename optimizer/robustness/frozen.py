"""Whether an orbit like the ring's keeps its shape where circles do not: the frozen one of J2 and J3, beside a circle.

The closed form (``models/round_orbits.py``) knows J2 and J3 alone; both orbits are followed under all zonal harmonics
known here, until the bulge has turned a periapsis half round. It is advice only where the frozen one moves less.
"""

from __future__ import annotations

import math

import numpy as np

from ...models.flight.averaged import AveragedForces
from ...models.flight.follow import follow
from ...models.flight.forces import Surfaces
from ...models.flight.lifetime import circles
from ...models.flight.zonals import Zonals
from ...models.ring import Ring
from ...models.round_orbits import bulge_rad_s, frozen_eccentricity
from ...models.scenario import Body
from ...models.surroundings import Surface
from ...models.units import DAY_S, YEAR_S
from ..standing import Frozen

LEAST, MOST = 1e-4, 0.02
"""Eccentricities between which a frozen orbit is worth a word beside a circle."""

CALMER = 0.5
"""It must move by less than this share of what a circle does."""

LONGEST_S = 3.0 * YEAR_S


def frozen(body: Body, ring: Ring) -> Frozen | None:
    """The frozen orbit of a ring's size and plane; None where there is none, or it is not calmer than a circle."""
    e = frozen_eccentricity(body, ring.radius_m, ring.inclination_rad)
    turns = abs(bulge_rad_s(body, ring.radius_m, ring.inclination_rad))
    if e is None or not LEAST <= abs(e) <= MOST or math.pi / turns > LONGEST_S:
        return None
    shapes, over_s = np.array([abs(e), 0.0]), math.pi / turns
    forces = AveragedForces(
        gm=body.gm,
        zonals=Zonals.of(body, max(one.degree for one in body.harmonics)),
        ground=None,
        turns=1,
        terms=(),
        step_s=min(DAY_S, 0.05 / turns),
        floor_m=0.0,
    )
    ahead = math.copysign(0.5 * math.pi, e)
    tilt = np.full(2, ring.inclination_rad)
    start = circles(ring.radius_m * (1.0 - shapes), tilt, np.zeros(2), ahead, ring.radius_m * (1.0 + shapes))
    track = follow(forces, start, Surfaces.of([Surface(), Surface()]), 0.0, over_s)
    size = np.linalg.norm(track.rows[:, 1:4], axis=1)
    moved = np.max(np.abs(size - shapes), axis=0)
    if moved[0] > CALMER * moved[1]:
        return None
    return Frozen(
        eccentricity=abs(e), ahead=e > 0.0, moves=float(moved[0]), circle_grows=float(moved[1]), over_s=over_s
    )
