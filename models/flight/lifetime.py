"""How long an orbit lasts that nobody burns in any more: mean orbits followed until they meet the air or the ground.

By averaged equations (``averaged.py``) under zonal harmonics, drag, and the pull of other bodies. A body that comes
round within two months is averaged over its own orbit as well, so that steps of weeks follow what piles up over
decades (Kozai 1962, Astron. J. 67, 591; Lidov 1962, Planet. Space Sci. 9, 719). Sunlight is left out.

Where other bodies cannot move the periapsis by more than a kilometer or so (`SWING_M`), the air alone is followed, in
steps as long as the orbit takes to sink by a twentieth of its height: the air is the same all around the pole, so that
turning node and periapsis change nothing.

An estimate: densities of the air differ by a factor of two and more from a steady table with the Sun's activity, and
lifetimes with them (King-Hele 1987, *Satellite Orbits in an Atmosphere*, chapter 12).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..arrays import Array
from ..deadline import poll
from ..errors import FlightError
from ..frames import plane_axes
from ..scenario import Body
from ..units import DAY_S, YEAR_S
from .averaged import AveragedForces, MeanOrbits
from .drag import Air
from .follow import stepped
from .forces import Surfaces, Term
from .point_masses import PointPull, turning_rad_s
from .zonals import Zonals

LOOK_S = 200.0 * YEAR_S
"""How far ahead an orbit is followed at most."""

STEPS_MAX = 400
"""Most steps: with the Sun, the Moon and a bulge that turns the periapsis these are some ten years or more."""

AIR_STEPS_MAX = 10_000
"""The same where the air alone decides: some hundred bring each orbit down."""

BEND = 0.35
"""Most radians that a pattern turns in a step."""

ROUND_S, SLOW = 60.0 * DAY_S, 0.02
"""A body that comes round faster than in so long is averaged over its own orbit, unless it goes round at more than this
share of the rate of the craft: what swings with its turns then adds up, too."""

AROUND = 8
"""Places over which it is averaged."""

SWING_M = 1500.0
"""Change of the periapsis by other bodies that still leaves the air alone to decide: a fifth of the least scale
height."""

SINK_SHARE, SINK_LEAST_M = 0.05, 200.0
"""Share of its height above the floor that an orbit may sink in a step, and the least."""

SEED = 1e-3
"""Eccentricity with which a circle begins: a perfect one would stay round where every real one does not."""


@dataclass(frozen=True, kw_only=True)
class Lasting:
    """How long an orbit lasts.

    Args:
        seconds: until its periapsis is at the top of the air, or at the ground where there is none; infinite where it
            has not come down by ``looked_s``.
        looked_s: how far it was followed.
        eccentricity: the largest that it had until then.
    """

    seconds: float
    looked_s: float
    eccentricity: float


@dataclass(frozen=True)
class AllAround:
    """A pull averaged over its own orbit, at places of one turn about the present moment."""

    pull: PointPull
    turn_s: float

    @property
    def name(self) -> str:
        """As it is printed."""
        return self.pull.name

    def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
        """Acceleration, m/s^2, (3, n)."""
        times = float(time_s[0]) + self.turn_s * ((np.arange(AROUND) + 0.5) / AROUND - 0.5)
        places = self.pull.path.position(times)
        many = position.shape[1]
        still = replace(self.pull, path=_Still(np.repeat(places, many, axis=1)))
        here = np.tile(position, AROUND)
        found = still.acceleration(time_s, here, here, surfaces)
        return np.asarray(found.reshape(3, AROUND, many).mean(axis=1))


@dataclass(frozen=True)
class _Still:
    """A body that stands where it is, (3, n) for n places of craft."""

    place: Array

    def position(self, time_s: Array) -> Array:
        """Position, m, (3, n)."""
        return self.place


def circles(
    radius_m: Array, inclination_rad: Array, node_rad: Array, argument_rad: float = 0.0, other_m: Array | None = None
) -> MeanOrbits:
    """Mean orbits by both apsides, (n,) each; circles without the other one, which begin with `SEED`.

    Args:
        radius_m: of one apsis, or of the circle.
        argument_rad: of the periapsis, from the node.
    """
    radius = np.asarray(radius_m, np.float64)
    other = radius if other_m is None else np.asarray(other_m, np.float64)
    first, second, pole = (np.broadcast_to(axis, (radius.size, 3)).T for axis in plane_axes(inclination_rad, node_rad))
    size = np.maximum(np.abs(radius - other) / (radius + other), 0.0 if other_m is not None else SEED)
    nothing = np.zeros(radius.size)
    return MeanOrbits(
        semi_major_m=0.5 * (radius + other),
        eccentricity=size * (math.cos(argument_rad) * first + math.sin(argument_rad) * second),
        pole=pole.copy(),
        origin=first.copy(),
        longitude_rad=nothing,
        added_rad_s=nothing,
    )


def lasting(
    body: Body, terms: Sequence[Term], orbits: MeanOrbits, surfaces: Surfaces, from_s: float, look_s: float = LOOK_S
) -> tuple[Lasting, ...]:
    """How long orbits last, one for each.

    Args:
        terms: drag and other bodies among the forces there are; others are left out.
        orbits: n of them, at a moment.
        surfaces: of what flies there.
        from_s: that moment, from the epoch.
        look_s: how far to follow them at most.
    """
    found: list[Lasting] = [Lasting(seconds=0.0, looked_s=0.0, eccentricity=0.0)] * orbits.semi_major_m.size
    wide = _pulled(body, terms, orbits)
    for pulled in (False, True):
        for group in _alike(orbits, wide == pulled):
            forces = _forces(body, terms, orbits.some(group), pulled=pulled)
            done = _followed(forces, orbits.some(group), surfaces.some(np.flatnonzero(group)), from_s, look_s)
            for index, one in zip(np.flatnonzero(group).tolist(), done, strict=True):
                found[index] = one
    return tuple(found)


def deciding(body: Body, terms: Sequence[Term], orbits: MeanOrbits) -> tuple[str, ...]:
    """Names of the forces that orbits are followed under."""
    pulled = bool(np.any(_pulled(body, terms, orbits)))
    named = ("bulge",) if pulled and body.j2 != 0.0 else ()
    return (*named, *(one.name for one in terms if isinstance(one, Air) or (pulled and isinstance(one, PointPull))))


def _alike(orbits: MeanOrbits, chosen: NDArray[np.bool_]) -> list[NDArray[np.bool_]]:
    """Those chosen, in groups of about the same shape: nearly circles ask for fewer points a turn than others."""
    oval = np.linalg.norm(orbits.eccentricity, axis=0) > 0.1
    return [group for group in (chosen & ~oval, chosen & oval) if np.any(group)]


def _pulled(body: Body, terms: Sequence[Term], orbits: MeanOrbits) -> NDArray[np.bool_]:
    """Whether other bodies may move the periapsis of orbits so far that they count, (n,).

    With k = 3/4 GM' / (d^3 n) the eccentricity e changes by up to 5/2 k e sqrt(1 - e^2) a second, for as long as
    the bulge lets the periapsis point about the same way: 1 / (3/2 n J2 (Re / p)^2) (Lidov 1962; Vallado 2013, 9.6).
    """
    e, a = np.linalg.norm(orbits.eccentricity, axis=0), orbits.semi_major_m
    n, share = np.sqrt(body.gm / a**3), np.sqrt(1.0 - e * e)
    k = _stretch_rad_s(body, terms, a)
    turning = 1.5 * n * abs(body.j2) * ((body.j2_radius_m or body.radius_m) / (a * share * share)) ** 2
    swing = a * 2.5 * k * np.maximum(e, SEED) * share / np.maximum(turning, 1e-300)
    airless = not any(isinstance(one, Air) for one in terms)
    return np.asarray((k > 0.0) & ((swing > SWING_M) | (5.0 * k > turning) | airless))


def _stretch_rad_s(body: Body, terms: Sequence[Term], a: Array) -> Array:
    """k of all other bodies together, where they are at the epoch, (n,)."""
    k = np.zeros_like(a)
    for one in terms:
        if isinstance(one, PointPull):
            k += (
                0.75 * one.gm / float(np.linalg.norm(one.path.position(np.array([0.0])))) ** 3 * np.sqrt(a**3 / body.gm)
            )
    return k


def _forces(body: Body, terms: Sequence[Term], orbits: MeanOrbits, *, pulled: bool) -> AveragedForces:
    """What orbits of about the same shape are followed under."""
    floor_m = body.radius_m + body.atmosphere_top_m
    airs = tuple(one for one in terms if isinstance(one, Air))
    pulls = tuple(_smooth(one, orbits, body.gm) for one in terms if pulled and isinstance(one, PointPull))
    degree = max((one.degree for one in body.harmonics), default=2)
    zonals = Zonals.of(body if pulled else replace(body, j2=0.0, harmonics=()), degree if pulled else 2)
    e, a = np.linalg.norm(orbits.eccentricity, axis=0), orbits.semi_major_m
    lowest = float(np.min(a))
    turning = 3.0 * math.sqrt(body.gm / lowest**3) * abs(body.j2) * (body.j2_radius_m / lowest) ** 2
    turning = max(turning, 0.0) if pulled else 0.0
    paces = [turning, *(turning_rad_s(one) for one in pulls if isinstance(one, PointPull))]
    if pulled:
        paces.append(5.0 * float(np.max(_stretch_rad_s(body, terms, a))))
    scale = min((layer.scale_height_m for air in airs for layer in air.layers), default=math.inf)
    # so many that the dip into the air at the periapsis is as wide as the points are apart
    points = max(48, math.ceil(7.0 * math.sqrt(float(np.max(a * e)) / scale)))
    step_s = min(30.0 * DAY_S, BEND / max(paces)) if pulled and max(paces) > 0.0 else YEAR_S
    return AveragedForces(
        gm=body.gm,
        zonals=zonals,
        ground=None,
        turns=1,
        terms=(*airs, *pulls),
        step_s=step_s,
        floor_m=floor_m,
        points=points,
        bulge_m2=body.j2 * body.j2_radius_m**2,
    )


def _smooth(one: PointPull, orbits: MeanOrbits, gm: float) -> Term:
    rate, slowest = turning_rad_s(one), math.sqrt(gm / float(np.max(orbits.semi_major_m)) ** 3)
    turn_s = 2.0 * math.pi / rate if rate > 0.0 else math.inf
    return AllAround(one, turn_s) if turn_s < ROUND_S and rate < SLOW * slowest else one


def _followed(
    forces: AveragedForces, start: MeanOrbits, surfaces: Surfaces, from_s: float, look_s: float
) -> list[Lasting]:
    """Follow orbits side by side; those that are down are taken out."""
    count = start.semi_major_m.size
    done: list[Lasting | None] = [None] * count
    left, here, elapsed, steps = np.arange(count), start, 0.0, 0
    largest = np.linalg.norm(start.eccentricity, axis=0)
    most = _most_steps(forces)
    while left.size:
        poll()
        size = np.linalg.norm(here.eccentricity, axis=0)
        largest[left] = np.fmax(largest[left], size)
        # written so that an orbit that is none any more is down, too
        low = ~(here.periapsis_m > forces.floor_m)
        over = elapsed >= look_s or steps >= most
        for k in np.flatnonzero(low | over):
            lasts = elapsed if low[k] else math.inf
            done[left[k]] = Lasting(seconds=lasts, looked_s=elapsed, eccentricity=float(largest[left[k]]))
        if np.any(low) or over:
            left, here, surfaces = left[~(low | over)], here.some(~(low | over)), surfaces.some(np.flatnonzero(~low))
            continue
        here, step = _step(forces, here, surfaces, from_s + elapsed, look_s - elapsed)
        elapsed, steps = elapsed + step, steps + 1
    return [one for one in done if one is not None]


def _most_steps(forces: AveragedForces) -> int:
    """Most steps, by what a step takes."""
    if all(isinstance(one, Air) for one in forces.terms):
        return AIR_STEPS_MAX
    return STEPS_MAX * (1 if any(isinstance(one, AllAround) for one in forces.terms) else 3)


def _step(
    forces: AveragedForces, here: MeanOrbits, surfaces: Surfaces, now: float, most_s: float
) -> tuple[MeanOrbits, float]:
    """One step of all, and how long it was; an orbit in which drag is a tenth of the weight is put on the floor."""
    try:
        # an orbit that ends within a step may be none any more inside it
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            return _stepped(forces, here, surfaces, now, most_s)
    except FlightError:
        lowest = int(np.argmin(here.periapsis_m))
        a = here.semi_major_m.copy()
        a[lowest] = 0.0
        return replace(here, semi_major_m=a), 0.0


def _stepped(
    forces: AveragedForces, here: MeanOrbits, surfaces: Surfaces, now: float, most_s: float
) -> tuple[MeanOrbits, float]:
    first = forces.rates(here, now, surfaces)
    step = min(forces.step_s, most_s)
    e = np.linalg.norm(here.eccentricity, axis=0)
    grows = np.einsum("in,in->n", here.eccentricity, first[1:4]) / np.maximum(e, 1e-12)
    for sign in (-1.0, 1.0):
        # both apsides, each by its height and its sinking
        height = here.semi_major_m * (1.0 + sign * e) - forces.floor_m
        sinking = -first[0] * (1.0 + sign * e) - sign * here.semi_major_m * grows
        room = np.maximum(SINK_SHARE * np.maximum(height, 0.0), SINK_LEAST_M)
        if np.any(sinking > 0.0):
            step = min(step, float(np.min(room[sinking > 0.0] / sinking[sinking > 0.0])))
    return stepped(forces, here, surfaces, now, step, first), step
