"""Gauss's equations in modified equinoctial elements, along the true longitude.

The elements p, f, g, h, k know no singularity but the plane turned right over.

Sources: Walker, Ireland and Owens, A Set of Modified Equinoctial Orbit Elements, Celestial Mechanics 36, 1985; the pull
of the bulge in these: Betts, Practical Methods for Optimal Control, 2010, section 6.3 (both from memory; checked by
tests/models/flight/test_gauss_equations.py against steps in Cartesian coordinates).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..arrays import Array
from .gravity import Oblate, PointMass


def upright(state: Array) -> tuple[Array, NDArray[np.bool_]]:
    """States (6, n) with those that run backwards turned over about the first axis, and which these are."""
    backwards = state[0] * state[4] - state[1] * state[3] < 0.0
    return turned_over(state, backwards), backwards


def turned_over(state: Array, some: NDArray[np.bool_]) -> Array:
    """States (6, n, ...) with some of the n turned over about the first axis."""
    sign = np.where(some, -1.0, 1.0).reshape(-1, *(1,) * (state.ndim - 2))
    even = np.ones_like(sign)
    return np.asarray(state * np.stack([even, sign, sign, even, sign, sign]))


def elements_of(gm: float, state: Array) -> tuple[Array, Array]:
    """Elements (5, n): p, f, g, h, k, and true longitude (n,), from states (6, n)."""
    r, v = state[:3].T, state[3:].T
    momentum = np.cross(r, v)
    size = np.linalg.norm(momentum, axis=1)
    pole = momentum / size[:, np.newaxis]
    h, k = -pole[:, 1] / (1.0 + pole[:, 2]), pole[:, 0] / (1.0 + pole[:, 2])
    square = 1.0 + h * h + k * k
    first = np.stack([1.0 - k * k + h * h, 2.0 * h * k, -2.0 * k], axis=1) / square[:, np.newaxis]
    second = np.stack([2.0 * h * k, 1.0 + k * k - h * h, 2.0 * h], axis=1) / square[:, np.newaxis]
    towards = r / np.linalg.norm(r, axis=1)[:, np.newaxis]
    shape = np.cross(v, momentum) / gm - towards

    def product(a: Array, b: Array) -> Array:
        return np.asarray(np.einsum("ij,ij->i", a, b))

    longitude = np.arctan2(product(towards, second), product(towards, first))
    return np.stack([size * size / gm, product(shape, first), product(shape, second), h, k]), longitude


def states_of(gm: float, elements: Array, sine: Array, cosine: Array) -> Array:
    """Position and velocity, (6, ...), from elements (5, ...) and true longitude."""
    p, f, g, h, k = elements
    square = 1.0 + h * h + k * k
    alpha, both = h * h - k * k, 2.0 * h * k
    radius = p / (1.0 + f * cosine + g * sine) / square
    pace = np.sqrt(gm / p) / square
    a, b = sine + g, cosine + f
    return np.stack(
        [
            radius * (cosine + alpha * cosine + both * sine),
            radius * (sine - alpha * sine + both * cosine),
            2.0 * radius * (h * sine - k * cosine),
            -pace * (a + alpha * a - both * b),
            pace * (b - alpha * b - both * a),
            2.0 * pace * (h * b + k * a),
        ]
    )


def slowness(
    gravity: PointMass | Oblate, elements: Array, sine: Array, cosine: Array, more: Array | None = None
) -> Array:
    """Seconds for each rad of true longitude; ``more`` as in `rates`."""
    p, f, g, h, k = elements
    w = 1.0 + f * cosine + g * sine
    across = 0.0 if more is None else more[2]
    return np.asarray(1.0 / _pace(gravity, p, w, h * sine - k * cosine, h, k, across))


def _pace(
    gravity: PointMass | Oblate, p: Array, w: Array, above: Array, h: Array, k: Array, across: Array | float
) -> Array:
    """Rate of the true longitude, rad/s; ``above`` = h sin L - k cos L, ``across`` what else pushes across."""
    share = w / p
    own = np.sqrt(gravity.gm * p) * share * share
    if isinstance(gravity, PointMass):
        return np.asarray(own)
    normal = _bulge(gravity, share) * 4.0 * (1.0 - h * h - k * k) * above / (1.0 + h * h + k * k) ** 2 + across
    return np.asarray(own + np.sqrt(p / gravity.gm) / w * above * normal)


def _bulge(gravity: Oblate, share: Array) -> Array:
    """-3/2 GM J2 Re^2 / r^4, with the inverse of the radius."""
    return np.asarray(-1.5 * gravity.gm * gravity.j2 * gravity.j2_radius**2 * share**4)


def rates(gravity: Oblate, elements: Array, sine: Array, cosine: Array, more: Array | None = None) -> Array:
    """Rates of the elements for each rad of true longitude, (5, ...), under the bulge and further pushes (3, ...)."""
    p, f, g, h, k = elements
    w = 1.0 + f * cosine + g * sine
    above, beside = h * sine - k * cosine, h * cosine + k * sine
    square = 1.0 + h * h + k * k
    pull = _bulge(gravity, w / p)
    over = above / (square * square)
    radial = pull * (1.0 - 12.0 * above * over)
    transverse = 8.0 * pull * over * beside
    normal = 4.0 * pull * over * (1.0 - h * h - k * k)
    if more is not None:
        radial, transverse, normal = radial + more[0], transverse + more[1], normal + more[2]
    share = w / p
    root = np.sqrt(p / gravity.gm)
    # rate of the true longitude, see `_pace`
    pace = np.sqrt(gravity.gm * p) * share * share + root / w * above * normal
    scale = root / pace
    radial, transverse, normal = radial * scale, transverse * scale / w, normal * scale / w
    lean = above * normal
    tilt = 0.5 * square * normal
    return np.stack(
        [
            2.0 * p * transverse,
            radial * sine + ((w + 1.0) * cosine + f) * transverse - lean * g,
            -radial * cosine + ((w + 1.0) * sine + g) * transverse + lean * f,
            tilt * cosine,
            tilt * sine,
        ]
    )


def bulge_share(gravity: PointMass | Oblate, elements: Array) -> Array | float:
    """The pull of the bulge against that of the point mass, about."""
    if isinstance(gravity, PointMass):
        return 0.0
    return np.asarray(1.5 * gravity.j2 * (gravity.j2_radius / elements[0]) ** 2)
