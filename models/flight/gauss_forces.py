"""Further forces on coasts that Gauss's equations solve: their pushes at all points of many panels at once.

The bulge changes an orbit by a thousandth a turn, what is left by a tenth of that or less: so the pushes are taken on
the orbits as last found, these are solved again under them, and after a few such rounds nothing changes any more.

Light has edges, which no points of a panel find. Where a panel meets the shadow, the share of light along it is taken
at many places, and the points get that of the polynomial which has the same moments: what the light does to the orbit
over the panel is then what it does with its edges.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Array, dot
from .drag import Air
from .equinoctial import turned_over
from .forces import Extra, Term
from .harmonics import UnevenField
from .point_masses import PointPull
from .sunlight import Sunlight

SMOOTH = (UnevenField, PointPull, Air)
"""Kinds of terms without edges; where layers of air meet, what the panels miss of the kink is looked at as all is."""
CHUNK = 4096
"""Points that terms are asked for at once: their tables then stay in the cache."""
PLACES = 512
"""Places of a panel at which the share of light is taken: an edge is then known to a thousandth of a panel."""
ASIDE = 0.05
"""Share of the distance by which a shadow may be missed at the points of a panel and yet be met between them."""


def followed(terms: tuple[Term, ...]) -> bool:
    """Whether all of these are known here; the sharp edges of a cylinder are left to steps."""
    return all(term.cone if isinstance(term, Sunlight) else isinstance(term, SMOOTH) for term in terms)


class Push(NamedTuple):
    """Accelerations radial, along and across, m/s^2, (3, n, ...), and those of what has no edges among them."""

    whole: Array
    smooth: Array


@dataclass(frozen=True, kw_only=True)
class Beyond:
    """The further forces on some arcs.

    Args:
        gm: of the body that craft go around, m^3/s^2.
        extra: the terms without edges, with when the coasts began.
        light: the others.
        points: (m,) where in [0, 1] a panel has its points.
        mirrored: (n,) which arcs are followed turned over about the first axis.
    """

    gm: float
    extra: Extra
    light: tuple[Sunlight, ...]
    points: tuple[float, ...]
    mirrored: NDArray[np.bool_]

    @staticmethod
    def by(gm: float, extra: Extra, points: Array, mirrored: NDArray[np.bool_]) -> Beyond:
        """From the forces on arcs."""
        return Beyond(
            gm=gm,
            extra=replace(extra, terms=tuple(term for term in extra.terms if not isinstance(term, Sunlight))),
            light=tuple(term for term in extra.terms if isinstance(term, Sunlight)),
            points=tuple(points.tolist()),
            mirrored=mirrored,
        )

    def of(self, chosen: NDArray[np.intp]) -> Beyond:
        """The same for some of the arcs."""
        return replace(self, extra=self.extra.of(chosen), mirrored=self.mirrored[chosen])

    def push(self, times: Array, states: Array) -> Push:
        """What pushes along panels, (n, panels, points).

        Args:
            times: since the coasts began, s, (n, panels, points).
            states: positions and velocities as followed, (6, n, panels, points).

        Raises:
            FlightError: a craft comes down.
        """
        turned = turned_over(states, self.mirrored)
        arcs = np.repeat(np.arange(times.shape[0]), times[0].size)
        flat, clock = turned.reshape(6, -1), times.ravel()
        found = np.zeros((3, clock.size))
        for first in range(0, clock.size if self.extra.terms else 0, CHUNK):
            some = slice(first, first + CHUNK)
            found[:, some] = self.extra.of(arcs[some]).acceleration(clock[some], flat[:3, some], flat[3:, some])
        smooth = whole = _components(found, flat).reshape(3, *times.shape)
        if self.light:
            began, surfaces = self.extra.begin_s[arcs], self.extra.surfaces.some(arcs)
            for light in self.light:
                full = light.full(began + clock, flat[:3], surfaces)
                share = self._lit(light, began.reshape(times.shape) + times, turned[:3])
                found = found + full * share.ravel()
            whole = _components(found, flat).reshape(3, *times.shape)
        return Push(whole, smooth)

    def share(self, state: Array) -> Array:
        """Size of the pushes against the pull of the point mass, (n,), where the coasts begin, (6, n)."""
        push = self.push(np.zeros((state.shape[1], 1, 1)), state[..., np.newaxis, np.newaxis]).smooth[..., 0, 0]
        return np.asarray(np.sqrt(dot(push, push)) * dot(state[:3], state[:3]) / self.gm)

    def _lit(self, light: Sunlight, time_s: Array, position: Array) -> Array:
        """Share of light at the points of panels, (n, panels, points), by its moments where the shadow is near."""
        found = light.share(time_s.ravel(), position.reshape(3, -1)).reshape(time_s.shape)
        if time_s.shape[-1] != len(self.points):
            return found
        sun = light.sun.position(time_s.ravel()).reshape(position.shape)
        ahead = dot(sun, position) / np.sqrt(dot(sun, sun))
        square = dot(position, position)
        aside = np.sqrt(np.maximum(square - ahead**2, 0.0)) - light.radius_m
        near = (ahead < 0.0) & (np.abs(aside) < ASIDE * np.sqrt(square))
        arc, panel = np.nonzero(np.any(near, axis=-1) | (np.ptp(found, axis=-1) > 0.0))
        if arc.size:
            between, fitted = _light_table(self.points)
            places, moments = position[:, arc, panel] @ between.T, time_s[arc, panel] @ between.T
            share = light.share(moments.ravel(), places.reshape(3, -1)).reshape(arc.size, -1)
            found[arc, panel] = share @ fitted.T
        return found


def _components(push: Array, state: Array) -> Array:
    """Accelerations (3, n) radial, along and across at states (6, n)."""
    place, speed = state[:3], state[3:]
    pole = np.stack([place[i - 2] * speed[i - 1] - place[i - 1] * speed[i - 2] for i in range(3)])
    radius, momentum = np.sqrt(dot(place, place)), np.sqrt(dot(pole, pole))
    radial, climb = dot(push, place) / radius, dot(place, speed) / radius
    along = (dot(push, speed) - radial * climb) * radius / momentum
    return np.stack([radial, along, dot(push, pole) / momentum])


@functools.cache
def _light_table(points: tuple[float, ...]) -> tuple[Array, Array]:
    """From values at points of a panel to those at its places, (k, m), and from places to points, (m, k), so that
    all moments of the polynomial through the points are those of the places.
    """
    places = (np.arange(PLACES) + 0.5) / PLACES
    legendre = np.polynomial.legendre.legvander
    degree = len(points) - 1
    at_points, at_places = legendre(2.0 * np.array(points) - 1.0, degree), legendre(2.0 * places - 1.0, degree)
    between = at_places @ np.linalg.inv(at_points)
    fitted = at_points @ (at_places * (2.0 * np.arange(degree + 1) + 1.0) / PLACES).T
    return between, fitted
