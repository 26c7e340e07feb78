"""Mean orbits over years: Gauss's equations averaged over a turn, many craft side by side.

Averages are taken numerically over points evenly spaced in eccentric longitude, in which all forces are evaluated where
the mean orbit passes (a semi-analytic theory of first order: Vallado 2013, section 9.6; equations of the eccentricity
vector and the pole as of Milankovitch: Rosengren and Scheeres, Celest. Mech. Dyn. Astr. 118, 197, 2014). Nothing in it
is singular on circles, over the equator or for orbits that go backwards.

What swings faster than a turn of a body in the sky is averaged out: the field enters by its zonal part alone, unless
the ring keeps step with the turning of the body (`in_step`) or the body turns slowly (`slow_ground.py`). Squares of
forces are left out; what they do to the mean rate of a craft is put in by the caller, who measures that rate by a
flight (`MeanOrbits.sped`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..arrays import Array
from ..scenario import Body
from .drag import Air
from .forces import Field, Surfaces, Term
from .harmonics import UnevenField
from .lifted import lifted
from .point_masses import turning_rad_s
from .shadow_work import shadow_work
from .sunlight import Sunlight
from .zonals import Zonals

POINTS = 48
"""Points a turn: harmonics up to degree 10 come out to rounding; the edges of the shadow ask for more than these."""

BEND = 0.35
"""Most radians that the eccentricity vector, or the pattern of a pull, turns in a step."""
STEP_MAX_S = 2.0 * 86_400.0

SLOWEST_SWING_S = 20.0 * 86_400.0
"""A pattern of the ground that comes round against the ring more slowly than this is kept and not averaged out."""


_NEXT, _LAST = [1, 2, 0], [2, 0, 1]
"""Components in a vector product."""


@dataclass(frozen=True, kw_only=True)
class MeanOrbits:
    """Mean orbits of n craft at one moment.

    Args:
        semi_major_m: (n,).
        eccentricity: (3, n) vector towards the periapsis.
        pole: (3, n) unit vectors.
        origin: (3, n) unit vectors in the planes, from which longitudes count; they do not turn about the poles.
        longitude_rad: (n,) mean longitude.
        added_rad_s: (n,) what is added to the rate of the mean longitude.
    """

    semi_major_m: Array
    eccentricity: Array
    pole: Array
    origin: Array
    longitude_rad: Array
    added_rad_s: Array

    @staticmethod
    def of(states: Sequence[Array], weights: Array, gm: float) -> MeanOrbits:
        """Weighted means of osculating orbits: for each craft its states (k, 6) at times that weigh (k,).

        Longitudes are left at 0 (see `placed`).
        """
        size, shape, pole = [], [], []
        for state in states:
            r, v = state[:, :3], state[:, 3:]
            radius, square = np.linalg.norm(r, axis=1), np.einsum("ij,ij->i", v, v)
            size.append(float(weights @ (1.0 / (2.0 / radius - square / gm))))
            climb = np.einsum("ij,ij->i", r, v)
            e = ((square - gm / radius)[:, np.newaxis] * r - climb[:, np.newaxis] * v) / gm
            shape.append(weights @ e)
            h = np.cross(r, v)
            pole.append(weights @ (h / np.linalg.norm(h, axis=1, keepdims=True)))
        found = np.array(pole).T
        found /= np.linalg.norm(found, axis=0)
        nothing = np.zeros(len(states))
        return MeanOrbits(
            semi_major_m=np.array(size),
            eccentricity=_level(np.array(shape).T, found),
            pole=found,
            origin=_across(found),
            longitude_rad=nothing,
            added_rad_s=nothing,
        )

    def placed(self, angle_rad: Array, axes: tuple[Array, Array, Array]) -> MeanOrbits:
        """The same where their places, projected on planes by their axes (n, 3), are at these angles."""
        first, second, up = (axis.T for axis in axes)
        there = np.cos(angle_rad) * first + np.sin(angle_rad) * second
        # along the plane's pole into the own plane, so that its projection stays
        there = there - up * (_dot(there, self.pole) / _dot(up, self.pole))
        ahead = _cross(self.pole, self.origin)
        return replace(self, longitude_rad=np.arctan2(_dot(there, ahead), _dot(there, self.origin)))

    def sped(self, rates_rad_s: Array) -> MeanOrbits:
        """The same turning faster by so much, (n,)."""
        return replace(self, added_rad_s=self.added_rad_s + rates_rad_s)

    def angles(self, axes: tuple[Array, Array, Array]) -> Array:
        """Angles of the mean places projected on planes by their axes (n, 3): (n,)."""
        ahead = _cross(self.pole, self.origin)
        there = np.cos(self.longitude_rad) * self.origin + np.sin(self.longitude_rad) * ahead
        return np.arctan2(_dot(there, axes[1].T), _dot(there, axes[0].T))

    def some(self, chosen: NDArray[np.bool_]) -> MeanOrbits:
        """Those of some craft."""
        return MeanOrbits(**{name: value[..., chosen] for name, value in vars(self).items()})

    @staticmethod
    def together(several: Sequence[MeanOrbits]) -> MeanOrbits:
        """Several side by side."""
        names = vars(several[0])
        return MeanOrbits(**{name: np.concatenate([vars(one)[name] for one in several], axis=-1) for name in names})

    @property
    def periapsis_m(self) -> Array:
        """Radius of the periapsis, (n,)."""
        return np.asarray(self.semi_major_m * (1.0 - np.linalg.norm(self.eccentricity, axis=0)))

    def packed(self) -> Array:
        """As rows, (11, n): semi-major axis, eccentricity, pole, origin, longitude."""
        return np.vstack([self.semi_major_m, self.eccentricity, self.pole, self.origin, self.longitude_rad])

    def unpacked(self, rows: Array) -> MeanOrbits:
        """Mean orbits from rows, with the poles and origins made unit vectors at right angles again."""
        pole = rows[4:7] / np.sqrt(_dot(rows[4:7], rows[4:7]))
        origin = _level(rows[7:10], pole)
        return replace(
            self,
            semi_major_m=rows[0],
            eccentricity=_level(rows[1:4], pole),
            pole=pole,
            origin=origin / np.sqrt(_dot(origin, origin)),
            longitude_rad=rows[10],
        )


@dataclass(frozen=True, kw_only=True)
class AveragedForces:
    """What changes mean orbits.

    Args:
        gm: of the body.
        zonals: its field without longitudes.
        ground: its whole uneven field beyond the bulge, where the ring keeps step with it or the body turns slowly
            (`slow_ground.py`); then ``zonals`` is the bulge alone.
        turns: turns of the ring over which the field is averaged then.
        still: whether the ground stands still while a turn is averaged.
        bulge_m2: J2 times the square of its radius, by which craft in air are above or below their mean orbits.
        terms: the others.
        step_s: longest step.
        floor_m: radius at which a craft is down.
        points: over which a turn is averaged.
    """

    gm: float
    zonals: Zonals
    ground: UnevenField | None
    turns: int
    terms: tuple[Term, ...]
    step_s: float
    floor_m: float
    points: int = POINTS
    still: bool = False
    bulge_m2: float = 0.0

    @staticmethod
    def of(body: Body, field: Field, radius_m: float, *, drag: bool = True) -> AveragedForces:
        """For orbits of about a radius under a field; without drag where that is made up for."""
        uneven = next((term for term in field.terms if isinstance(term, UnevenField)), None)
        terms = tuple(
            term for term in field.terms if not isinstance(term, UnevenField) and (drag or not isinstance(term, Air))
        )
        rate = math.sqrt(body.gm / radius_m**3)
        turns = 0 if uneven is None else in_step(body, rate, max(one.order for one in uneven.coefficients))
        degree = 2 if uneven is None or turns else uneven.degree
        precession = 3.0 * rate * abs(body.j2) * (body.j2_radius_m / radius_m) ** 2
        pace = max([precession, *(turning_rad_s(term) for term in terms)])
        return AveragedForces(
            gm=body.gm,
            zonals=Zonals.of(body, degree),
            ground=uneven if turns else None,
            turns=turns or 1,
            terms=terms,
            step_s=min(STEP_MAX_S, BEND / pace) if pace > 0.0 else STEP_MAX_S,
            floor_m=body.radius_m + body.atmosphere_top_m,
            bulge_m2=body.j2 * body.j2_radius_m**2,
        )

    def rates(self, orbits: MeanOrbits, time_s: float, surfaces: Surfaces) -> Array:
        """Rates of the rows of `MeanOrbits.packed`, (11, n)."""
        a, w, q, e = orbits.semi_major_m, orbits.pole, orbits.origin, orbits.eccentricity
        n = np.sqrt(self.gm / a**3)
        root = np.sqrt(1.0 - _dot(e, e))
        path = _Path.of(orbits, n, root, self.points, self.turns, beside=self.ground is not None)
        force, light = self._force(path, orbits, n, time_s, surfaces)
        r, v = path.position, path.velocity
        # all means are sums of products, weighed once; torque = r x F, and v x (r x F) = r (v . F) - F (v . r)
        weighed = force * path.weight
        along = np.einsum("ikn,ikn->kn", v, weighed)
        by_place = np.einsum("ikn,jkn->ijn", r, weighed)
        torque = np.array([by_place[i - 2, i - 1] - by_place[i - 1, i - 2] for i in range(3)])
        bent = np.einsum("ikn,kn->in", r, along) - np.einsum("ikn,kn->in", weighed, np.einsum("ikn,ikn->kn", v, r))
        momentum = np.sqrt(self.gm * a) * root
        turning = torque / momentum
        pole_rate = turning - _dot(turning, w) * w
        shape_rate = (_cross(weighed.sum(axis=1), momentum * w) + bent) / self.gm
        apsis = _dot(w, _cross(e, shape_rate)) / (1.0 + root)
        outward = by_place[0, 0] + by_place[1, 1] + by_place[2, 2]
        power = along.sum(axis=0) + self._power(path, n, light, time_s, surfaces)
        found = np.empty((11, n.size))
        found[0] = 2.0 * a**2 / self.gm * power
        found[1:4], found[4:7] = shape_rate, pole_rate
        found[7:10] = -_dot(q, pole_rate) * w
        found[10] = n - 2.0 * outward / (n * a**2) + apsis + orbits.added_rad_s
        return found

    def _power(self, path: _Path, n: Array, light: Array | None, time_s: float, surfaces: Surfaces) -> Array | float:
        """Mean power, W/kg, of light by the edges of the shadow more than by the points of the path, (3, k, n)."""
        if light is None:
            return 0.0
        found = -np.einsum("ikn,ikn,kn->n", path.velocity, light, path.weight)
        for term in self.terms:
            if isinstance(term, Sunlight):
                found += shadow_work(term, time_s, path.place, surfaces) * n / (2.0 * math.pi)
        return np.asarray(found)

    def _force(
        self, path: _Path, orbits: MeanOrbits, n: Array, time_s: float, surfaces: Surfaces
    ) -> tuple[Array, Array | None]:
        """All forces, and that of light alone where it shines, (3, k, n)."""
        shape = path.position.shape
        place, motion = path.position.reshape(3, -1), path.velocity.reshape(3, -1)
        spread = Surfaces(*(np.tile(one, shape[1]) for one in surfaces))
        found = self.zonals.acceleration(place)
        light: Array | None = None
        now = np.array([time_s])
        for term in self.terms:
            there = place
            if isinstance(term, Air):
                there = lifted(place, self.bulge_m2, orbits.semi_major_m, orbits.eccentricity, orbits.pole)
            own = term.acceleration(now, there, motion, spread)
            found += own
            if isinstance(term, Sunlight):
                light = own.reshape(shape)
        if self.ground is not None:
            ahead = np.zeros_like(path.longitude) if self.still else (path.longitude - orbits.longitude_rad) / n
            times = (time_s + ahead).ravel()
            found += self.ground.acceleration(times, place, motion, spread)
        return found.reshape(shape), light


@dataclass(frozen=True, kw_only=True)
class _Path:
    """Points of the mean orbits, (3, k, n) and (k, n): place, velocity, mean longitude, and what each weighs.

    ``place`` gives positions at other eccentric longitudes (k, n).
    """

    position: Array
    velocity: Array
    longitude: Array
    weight: Array
    place: Callable[[Array], Array]

    @staticmethod
    def of(orbits: MeanOrbits, n: Array, root: Array, points: int, turns: int, *, beside: bool) -> _Path:
        a, q = orbits.semi_major_m, orbits.origin
        s = _cross(orbits.pole, q)
        x, y = _dot(orbits.eccentricity, q), _dot(orbits.eccentricity, s)
        count = points * turns
        around = (2.0 * math.pi / points) * (np.arange(count) + 0.5)[:, np.newaxis]
        if beside:
            # about the present longitude, where it matters over which ground that is
            around = around + (orbits.longitude_rad - math.pi * turns)
        cos, sin = np.cos(around), np.sin(around)
        share = 1.0 / (1.0 + root)
        distance = 1.0 - x * cos - y * sin
        # place = cos first + sin second - middle, by the eccentric longitude
        first = (a * ((1.0 - y * y * share) * q + x * y * share * s))[:, np.newaxis]
        second = (a * ((1.0 - x * x * share) * s + x * y * share * q))[:, np.newaxis]
        middle = (a * (x * q + y * s))[:, np.newaxis]

        def place(at: Array) -> Array:
            return np.asarray(np.cos(at) * first + np.sin(at) * second - middle)

        return _Path(
            place=place,
            position=cos * first + sin * second - middle,
            velocity=(cos * second - sin * first) * (n / distance),
            longitude=around - x * sin + y * cos,
            weight=distance / count,
        )


def in_step(body: Body, rate_rad_s: float, order: int) -> int:
    """Turns after which a ring comes back over the same ground, if harmonics up to an order keep step with it; else 0.

    A harmonic of order m pulls with the slow swings m spin - k u'; one of order m = p and k = q is slow where p turns
    of the ring take q of the body.
    """
    spin = abs(body.spin_rad_s)
    for turns in range(1, order + 1):
        rounds = round(turns * spin / rate_rad_s)
        if rounds and abs(turns * spin - rounds * rate_rad_s) * SLOWEST_SWING_S < 2.0 * math.pi:
            return turns
    return 0


def _dot(one: Array, other: Array) -> Array:
    return np.asarray(np.einsum("in,in->n", one, other))


def _cross(one: Array, other: Array) -> Array:
    """Vector product along the first axis."""
    # few calls on what is small: years of mean orbits spend their time here
    found = one[_NEXT] * other[_LAST]
    found -= one[_LAST] * other[_NEXT]
    return np.asarray(found)


def _level(vector: Array, pole: Array) -> Array:
    return vector - _dot(vector, pole) * pole


def _across(pole: Array) -> Array:
    """Unit vectors at right angles to poles, all alike for poles that are alike."""
    axis = np.eye(3)[:, [int(np.argmin(np.abs(pole.mean(axis=1))))]]
    found = _level(np.repeat(axis, pole.shape[1], axis=1), pole)
    return np.asarray(found / np.linalg.norm(found, axis=0))
