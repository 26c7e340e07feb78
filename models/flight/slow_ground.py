"""Mean orbits over a body that turns slowly: its uneven field as it stands, for the first weeks.

A harmonic of order m swings mean orbits m times in a turn of the body. Over the Earth that is over within hours and
small; over the Moon it goes on for weeks and, low down, moves the eccentricity by thousandths: by the zonal part alone
a ring of 300 km whose craft differ in what sunlight meets left a fifth too late (6.1 d, flown 5.0 d; 4.7 d with the
ground). While the ring turns many times, the ground hardly moves: it is taken as at rest while a turn is averaged,
which leaves just those swings (Kaula, Theory of Satellite Geodesy, 1966, chapter 3: terms without the mean anomaly;
from memory). Later on the zonal part has to do, since such steps are short.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..scenario import Body
from .averaged import BEND, AveragedForces, MeanOrbits
from .follow import Track, follow
from .forces import Field, Surfaces
from .harmonics import UnevenField
from .zonals import Zonals

SLOW = 0.02
"""A body that turns by less than this share of the ring's rate is slow: what is left out by the ground at rest is of
that order."""

REACH_S = 60.0 * 86_400.0
"""How long the ground is followed: two turns of the Moon, over which its swings show whole."""


class NearAndFar(NamedTuple):
    """What changes mean orbits within `REACH_S`, and later."""

    near: AveragedForces
    far: AveragedForces

    @staticmethod
    def of(body: Body, field: Field, radius_m: float, *, drag: bool = True) -> NearAndFar:
        """For orbits of about a radius under a field; without drag where that is made up for."""
        far = AveragedForces.of(body, field, radius_m, drag=drag)
        return NearAndFar(over_slow_ground(far, body, field, math.sqrt(body.gm / radius_m**3)), far)


def over_slow_ground(forces: AveragedForces, body: Body, field: Field, rate_rad_s: float) -> AveragedForces:
    """The same with the whole uneven field of a slow body; unchanged over others and where the ring keeps step."""
    uneven = next((term for term in field.terms if isinstance(term, UnevenField)), None)
    if uneven is None or forces.ground is not None or abs(body.spin_rad_s) > SLOW * rate_rad_s:
        return forces
    pace = max(one.order for one in uneven.coefficients) * abs(body.spin_rad_s)
    step_s = forces.step_s if pace == 0.0 else min(forces.step_s, BEND / pace)
    return replace(forces, zonals=Zonals.of(body, 2), ground=uneven, still=True, step_s=step_s)


def follow_both(forces: NearAndFar, start: MeanOrbits, surfaces: Surfaces, from_s: float, to_s: float) -> Track:
    """Follow mean orbits by one set of forces for `REACH_S`, then by the other."""
    nothing = Track(times_s=np.array([from_s]), rows=start.packed()[np.newaxis], start=start, down=None)
    return followed_on(forces, nothing, surfaces, from_s, to_s)


def followed_on(forces: NearAndFar, track: Track, surfaces: Surfaces, from_s: float, to_s: float) -> Track:
    """A track that began at a moment followed on from its end."""
    near, far = forces
    change_s = to_s if near is far else min(from_s + REACH_S, to_s)
    for by, end_s in ((near, change_s), (far, to_s)):
        now_s = float(track.times_s[-1])
        if track.down is None and now_s < end_s:
            more = follow(by, track.at(-1), surfaces, now_s, end_s)
            track = Track(
                times_s=np.concatenate([track.times_s, more.times_s[1:]]),
                rows=np.concatenate([track.rows, more.rows[1:]]),
                start=track.start,
                down=more.down,
            )
    return track
