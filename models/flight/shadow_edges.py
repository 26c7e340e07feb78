"""Steps of the flight across the edges of a shadow, which no step size finds.

Light that is cut off within a step is a jump that an integrator smears over its stages: with steps that were good to
1e-11 otherwise, a craft 2 000 km over the Moon was 0.1 to 0.3 deg off after a year (measured). So each step holds the
share of light that it begins with, and what was missed by that is put in after the step, as small kicks at points of
the step, each carried to its end in the gradient of the point mass: u at a time s before the end gives
dv = u + s^2 (G_j / 6 + G / 3) u and dr = s u + s^3 (G_j + G) u / 12, with the gradients G_j there and G at the end
(the variational equation, with a gradient that changes evenly with time).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arrays import Array
from .forces import Extra, Surfaces
from .sunlight import Sunlight

LOOKS = 12
"""Intervals of a step in which edges are looked for: what dims for a hundredth of a radian only may be missed."""
FINER, ROUNDS = 12, 2
"""Into how many an interval with an edge is divided, and how often: a step of 700 s into 0.4 s."""


@dataclass(kw_only=True, eq=False)
class ShadowEdges:
    """The light on arcs that are stepped together.

    Args:
        light: the Sun's.
        gm: of the body that craft go around, m^3/s^2.
        begin_s: (n,) when each arc began, from the epoch.
        surfaces: of each arc's craft.
    """

    light: Sunlight
    gm: float
    begin_s: Array
    surfaces: Surfaces
    held: Array = field(init=False)

    def __post_init__(self) -> None:
        """All arcs lit until they are looked at."""
        self.held = np.ones_like(self.begin_s)

    def hold(self, chosen: NDArray[np.intp], y: Array) -> None:
        """Take the share of light at states (7, m) of some arcs for the step to come."""
        self.held[chosen] = self.light.share(self.begin_s[chosen] + y[6], y[:3])

    def steady(self, chosen: NDArray[np.intp], y: Array) -> Array:
        """Push of the light as it is held, m/s^2, (3, m)."""
        full = self.light.full(self.begin_s[chosen] + y[6], y[:3], self.surfaces.some(chosen))
        return np.asarray(self.held[chosen] * full)

    def kicks(self, chosen: NDArray[np.intp], before: Array, f_before: Array, after: Array, f_after: Array) -> Array:
        """What a step missed, (7, m), to be added to its end.

        Args:
            chosen: the arcs.
            before, after: their states, (7, m), the time last.
            f_before, f_after: rates of these in whatever the step was taken in.
        """
        found = np.zeros_like(after)
        path = _Path.of(before, f_before, after, f_after)
        some = self._changing(chosen, path, before, after)
        if some.size == 0:
            return found
        x, width, arc = self._pieces(chosen, path, some)
        place, left = path.at(x, arc), (1.0 - x) * path.length[arc]
        owner = chosen[arc]
        time_s = self.begin_s[owner] + after[6, arc] - left
        missed = self.light.share(time_s, place) - self.held[owner]
        push = self.light.full(time_s, place, self.surfaces.some(owner)) * (missed * width * path.length[arc])
        there, end = self._gradient(place, push), self._gradient(after[:3, arc], push)
        kick = np.vstack([left * push + left**3 / 12.0 * (there + end), push + left**2 * (there / 6.0 + end / 3.0)])
        for row in range(6):
            found[row] = np.bincount(arc, weights=kick[row], minlength=chosen.size)
        return found

    def _changing(self, chosen: NDArray[np.intp], path: _Path, before: Array, after: Array) -> NDArray[np.intp]:
        """On which arcs the light is not as it is held all through the step."""
        sun = self.light.sun.position(self.begin_s[chosen] + before[6])
        # on the day side at both ends of a step is far from the shadow
        night = np.minimum(np.einsum("ij,ij->j", before[:3], sun), np.einsum("ij,ij->j", after[:3], sun)) < 0.0
        touched = self.surfaces.light_m2_kg[chosen] > 0.0
        some = np.flatnonzero(touched & (night | (self.held[chosen] < 1.0)))
        if some.size == 0:
            return some
        looks = np.broadcast_arrays(np.linspace(0.0, 1.0, LOOKS + 1)[:, np.newaxis], some[np.newaxis])
        share = self._share(chosen, path, *looks)
        return some[np.any(share != self.held[chosen[some]], axis=0)]

    def _share(self, chosen: NDArray[np.intp], path: _Path, x: Array, arc: NDArray[np.intp]) -> Array:
        flat, who = x.ravel(), arc.ravel()
        time_s = self.begin_s[chosen[who]] + path.start_s[who] + flat * path.length[who]
        return np.asarray(self.light.share(time_s, path.at(flat, who)).reshape(x.shape))

    def _pieces(
        self, chosen: NDArray[np.intp], path: _Path, some: NDArray[np.intp]
    ) -> tuple[Array, Array, NDArray[np.intp]]:
        """Middles and widths, as shares of the step, of the pieces of some arcs' steps, and which arc each is of."""
        low = np.tile(np.arange(LOOKS) / LOOKS, some.size)
        arc, width = np.repeat(some, LOOKS), 1.0 / LOOKS
        middles, widths, owners = [], [], []
        for rounds in range(ROUNDS + 1):
            edges = np.stack([low, low + width])
            share = self._share(chosen, path, edges, np.stack([arc, arc]))
            dimming = (share[0] != share[1]) & (rounds < ROUNDS)
            middles.append(low[~dimming] + 0.5 * width)
            widths.append(np.full(middles[-1].size, width))
            owners.append(arc[~dimming])
            low = (low[dimming][:, np.newaxis] + width / FINER * np.arange(FINER)).ravel()
            arc, width = np.repeat(arc[dimming], FINER), width / FINER
        return np.concatenate(middles), np.concatenate(widths), np.concatenate(owners)

    def _gradient(self, place: Array, push: Array) -> Array:
        """The pull of the point mass changes by this where a craft moves by ``push``."""
        square = np.einsum("ij,ij->j", place, place)
        along = 3.0 * np.einsum("ij,ij->j", place, push) / square
        return np.asarray(self.gm / square**1.5 * (along * place - push))


def light_apart(extra: Extra, gm: float) -> tuple[Extra | None, ShadowEdges | None]:
    """Forces without light, and the light, whose shadow has edges; None for what there is not."""
    light = next((term for term in extra.terms if isinstance(term, Sunlight)), None)
    if light is None:
        return extra, None
    others = tuple(term for term in extra.terms if term is not light)
    edges = ShadowEdges(light=light, gm=gm, begin_s=extra.begin_s, surfaces=extra.surfaces)
    return (replace(extra, terms=others) if others else None), edges


def put_in(
    solver: Any, edges: ShadowEdges, active: NDArray[np.intp], before: Array, f_before: Array, curve: Array | None
) -> None:
    """Put into a solver of scipy, and the interpolation (7, 7, n), what the last step missed; ready for the next."""
    after = solver.y.reshape(before.shape)
    missed = edges.kicks(active, before, f_before, after, solver.f.reshape(before.shape))
    edges.hold(active, after + missed)
    solver.y = (after + missed).ravel()
    solver.f = solver.fun(solver.t, solver.y)
    if curve is not None:
        curve[0] += missed


@dataclass(frozen=True)
class _Path:
    """Positions within steps, by quintic Hermite interpolation in time: from shares x of the step, in [0, 1]."""

    terms: Array  # (6, 3, m): rising powers of x
    start_s: Array
    length: Array

    @staticmethod
    def of(before: Array, f_before: Array, after: Array, f_after: Array) -> _Path:
        h = after[6] - before[6]
        r, v, a = before[:3], h * before[3:6], h * h * f_before[3:6] / f_before[6]
        r1, v1, a1 = after[:3], h * after[3:6], h * h * f_after[3:6] / f_after[6]
        gap, speed, bend = r1 - r - v - 0.5 * a, v1 - v - a, a1 - a
        rest = [10.0 * gap - 4.0 * speed + 0.5 * bend, 7.0 * speed - 15.0 * gap - bend]
        return _Path(np.stack([r, v, 0.5 * a, *rest, 6.0 * gap - 3.0 * speed + 0.5 * bend]), before[6], h)

    def at(self, x: Array, arc: NDArray[np.intp]) -> Array:
        """(3, k) at shares (k,) of the steps of arcs (k,)."""
        found = self.terms[5][:, arc]
        for power in self.terms[4::-1]:
            found = found * x + power[:, arc]
        return np.asarray(found)
