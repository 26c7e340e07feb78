"""Coasts around a point mass or an oblate body by Gauss's equations: whole revolutions at a time.

Newton's law written for the elements of the osculating orbit (variation of parameters): under the bulge alone these
change by a thousandth a revolution, so many revolutions are solved together, by repeated quadrature along the true
longitude (Picard's iteration), instead of in some forty steps for each. Time is a quadrature too: no formula for the
period enters. The elements are the modified equinoctial ones, which know no singularity but the plane turned right
over; orbits that run backwards are flown mirrored, which the pull does not notice.

Sources: Walker, Ireland and Owens, A Set of Modified Equinoctial Orbit Elements, Celestial Mechanics 36, 1985; the pull
of the bulge in these: Betts, Practical Methods for Optimal Control, 2010, section 6.3 (both from memory; checked by
tests/models/flight/test_gauss_equations.py against steps in Cartesian coordinates).
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..arrays import Array
from ..deadline import poll
from ..errors import FlightError
from .gravity import Gravity, Oblate, PointMass
from .stepping import Arc

NODES = 8
"""Points of a panel, both ends among them (Gauss and Lobatto): polynomials of degree 7, integrals of degree 13."""
PANELS_A_TURN = 16
"""Panels of a revolution on a circle: positions between the points are then good to some 1e-12 of the radius."""
NEAR = 2.4
"""Panels are narrower by this over the distance of the poles of the radius, as a function of true longitude, to the
real axis, where that is nearer: good to 1 cm at an eccentricity of 0.8."""
LOOKS = 10
"""Samples of a panel where near passes are looked for."""
ECCENTRICITY_MAX, BULGE_MAX = 0.9, 0.15
"""Orbits more eccentric, or more disturbed (1.5 J2 by the square of reference radius to parameter), are stepped."""
TURNS_MAX, POINTS_MAX = 8, 1 << 15
"""Revolutions solved together, and points of all arcs that stay in the cache."""
DISTURBED = 0.08
"""Of revolutions solved together, their number by the pull of the bulge against that of the point mass."""
SETTLED, ROUNDS_MAX = 1e-14, 24
"""A round of the iteration that changes the elements by less is the last one; so many are allowed."""


def suits(gravity: Gravity, state: Array) -> NDArray[np.bool_]:
    """Which states (6, n) begin a coast that is solved here: bound, of some breadth, and little disturbed."""
    if not isinstance(gravity, PointMass | Oblate):
        return np.zeros(state.shape[1], dtype=bool)
    with np.errstate(all="ignore"):
        elements, _ = _elements(gravity.gm, _upright(state)[0])
        good = np.hypot(elements[1], elements[2]) <= ECCENTRICITY_MAX
        good &= np.abs(_size(gravity, elements)) <= BULGE_MAX
    return np.asarray(good & np.isfinite(elements).all(axis=0))


def _size(gravity: PointMass | Oblate, elements: Array) -> Array | float:
    """The pull of the bulge against that of the point mass, about."""
    if isinstance(gravity, PointMass):
        return 0.0
    return np.asarray(1.5 * gravity.j2 * (gravity.j2_radius / elements[0]) ** 2)


@dataclass(kw_only=True, eq=False)
class Panels:
    """What was recorded of arcs: by arc the times at the ends of panels, bases and curves as an `Arc` holds them."""

    knots: list[list[Array]] = field(default_factory=list)
    base: list[list[Array]] = field(default_factory=list)
    curve: list[list[Array]] = field(default_factory=list)

    def arc(self, column: int, leg: int, start_s: float, end_s: float) -> Arc:
        """One arc's panels."""
        return Arc(
            leg=leg,
            start_s=start_s,
            end_s=end_s,
            knots=np.concatenate(self.knots[column]),
            base=np.concatenate(self.base[column]),
            curve=np.concatenate(self.curve[column]),
            looks=LOOKS,
        )


def coast(
    gravity: PointMass | Oblate, start: Array, duration_s: Array, keep: NDArray[np.bool_]
) -> tuple[Array, Panels]:
    """Fly arcs without thrust: states (6, n) over durations (n,), > 0; those to ``keep`` are recorded.

    Raises:
        FlightError: the iteration does not settle: the orbit is disturbed too much.
    """
    total = start.shape[1]
    turned, mirrored = _upright(start)
    elements, longitude = _elements(gravity.gm, turned)
    # the bulge changes the eccentricity meanwhile by about its size against the central pull
    eccentric = min(float((np.hypot(elements[1], elements[2]) + np.abs(_size(gravity, elements))).max()), 0.99)
    panels_a_turn = math.ceil(PANELS_A_TURN * max(1.0, NEAR / math.acosh(1.0 / max(eccentric, 1e-3))))
    recorded = Panels(knots=[[np.zeros(1)] for _ in range(total)], base=[[] for _ in range(total)],
                      curve=[[] for _ in range(total)])  # fmt: skip
    axis = elements[0] / (1.0 - elements[1] ** 2 - elements[2] ** 2)
    turns_left = duration_s * np.sqrt(gravity.gm / axis**3) / (2.0 * math.pi)
    landed, clock, active = np.empty((6, total)), np.zeros(total), np.arange(total)
    # the iteration gains a factor of about this in each round; one that settles slowly costs more than it spares
    disturbed = float(np.max(_size(gravity, elements)))
    most = max(math.ceil(panels_a_turn * min(TURNS_MAX, DISTURBED / max(abs(disturbed), 1e-9))), 1)
    while active.size:
        poll()
        wanted = math.ceil((float(turns_left[active].max()) + 0.05) * panels_a_turn)
        count = max(min(wanted, most, POINTS_MAX // (NODES * active.size)), 1)
        width = 2.0 * math.pi / panels_a_turn
        along = longitude[active, np.newaxis, np.newaxis] + width * (np.arange(count)[:, np.newaxis] + _rule().points)
        sine, cosine = np.sin(along), np.cos(along)
        found = _varied(gravity, elements[:, active], sine, cosine, width)
        if found is None:
            if most == 1:
                raise FlightError("an orbit disturbed too strongly to be followed by its elements")
            most = max(count // 2, 1)
            continue
        times = clock[active, np.newaxis, np.newaxis] + _integral(_slowness(gravity, found, sine, cosine), width)
        _record(recorded, gravity.gm, active[keep[active]], keep[active], found, sine, cosine, times,
                duration_s[active], mirrored[active])  # fmt: skip
        arrived = times[:, -1, -1] >= duration_s[active]
        if arrived.any():
            there = _landed(gravity.gm, found[:, arrived], along[arrived], times[arrived], duration_s[active[arrived]])
            landed[:, active[arrived]] = there
        turns_left[active] -= count / panels_a_turn
        turns_left = np.maximum(turns_left, 0.0)
        on = active[~arrived]
        elements[:, on], longitude[on], clock[on] = (
            found[:, ~arrived, -1, -1],
            along[~arrived, -1, -1],
            times[~arrived, -1, -1],
        )
        active = on
    landed[1:3, mirrored] *= -1.0
    landed[4:6, mirrored] *= -1.0
    return landed, recorded


class _Rule:
    """Points of a panel in [0, 1], and the matrices that integrate and interpolate between them."""

    def __init__(self) -> None:
        inner = np.polynomial.legendre.Legendre.basis(NODES - 1).deriv().roots()
        self.points = np.concatenate([[0.0], 0.5 * (np.sort(inner.real) + 1.0), [1.0]])
        powers = self.points[:, np.newaxis] ** np.arange(NODES)
        self.to_powers = np.linalg.inv(powers)
        """From values at the points to coefficients of rising powers."""
        self.integral = (powers * self.points[:, np.newaxis] / np.arange(1, NODES + 1)) @ self.to_powers
        """From values at the points to integrals from 0 to each point."""
        basis = np.ones((NODES, NODES - 1))
        for i in range(NODES - 1):
            # as `Arc.at` multiplies: x, then 1 - x, and so on
            factor = self.points if i % 2 == 0 else 1.0 - self.points
            basis[:, i] = factor if i == 0 else basis[:, i - 1] * factor
        self.to_curve = np.linalg.pinv(basis[1:])
        """From values at the points less the first of them to the coefficients of a curve of an `Arc`."""


@functools.cache
def _rule() -> _Rule:
    return _Rule()


def _upright(state: Array) -> tuple[Array, NDArray[np.bool_]]:
    """States with those that run backwards turned over about the first axis, and which these are."""
    backwards = state[0] * state[4] - state[1] * state[3] < 0.0
    sign = np.where(backwards, -1.0, 1.0)
    return np.stack([state[0], sign * state[1], sign * state[2], state[3], sign * state[4], sign * state[5]]), backwards


def _elements(gm: float, state: Array) -> tuple[Array, Array]:
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

    def dot(a: Array, b: Array) -> Array:
        return np.asarray(np.einsum("ij,ij->i", a, b))

    longitude = np.arctan2(dot(towards, second), dot(towards, first))
    return np.stack([size * size / gm, dot(shape, first), dot(shape, second), h, k]), longitude


def _states(gm: float, elements: Array, sine: Array, cosine: Array) -> Array:
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


def _slowness(gravity: PointMass | Oblate, elements: Array, sine: Array, cosine: Array) -> Array:
    """Seconds for each rad of true longitude."""
    p, f, g, h, k = elements
    w = 1.0 + f * cosine + g * sine
    return np.asarray(1.0 / _pace(gravity, p, w, h * sine - k * cosine, h, k))


def _pace(gravity: PointMass | Oblate, p: Array, w: Array, above: Array, h: Array, k: Array) -> Array:
    """Rate of the true longitude, rad/s; ``above`` = h sin L - k cos L."""
    share = w / p
    own = np.sqrt(gravity.gm * p) * share * share
    if isinstance(gravity, PointMass):
        return np.asarray(own)
    normal = _bulge(gravity, share) * 4.0 * (1.0 - h * h - k * k) * above / (1.0 + h * h + k * k) ** 2
    return np.asarray(own + np.sqrt(p / gravity.gm) / w * above * normal)


def _bulge(gravity: Oblate, share: Array) -> Array:
    """-3/2 GM J2 Re^2 / r^4, with the inverse of the radius."""
    return np.asarray(-1.5 * gravity.gm * gravity.j2 * gravity.j2_radius**2 * share**4)


def _rates(gravity: Oblate, elements: Array, sine: Array, cosine: Array) -> Array:
    """Rates of the elements for each rad of true longitude, (5, ...)."""
    p, f, g, h, k = elements
    w = 1.0 + f * cosine + g * sine
    above, beside = h * sine - k * cosine, h * cosine + k * sine
    square = 1.0 + h * h + k * k
    pull = _bulge(gravity, w / p)
    over = above / (square * square)
    radial = pull * (1.0 - 12.0 * above * over)
    transverse = 8.0 * pull * over * beside
    normal = 4.0 * pull * over * (1.0 - h * h - k * k)
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


def _integral(rates: Array, width: float) -> Array:
    """Integrals from the start of the first panel to every point; rates of (..., panels, points)."""
    inside = width * (rates @ _rule().integral.T)
    before = np.cumsum(inside[..., -1], axis=-1)
    inside[..., 1:, :] += before[..., :-1, np.newaxis]
    return np.asarray(inside)


def _varied(gravity: PointMass | Oblate, begin: Array, sine: Array, cosine: Array, width: float) -> Array | None:
    """The elements (5, arcs, panels, points) along given longitudes, from those at their start; None where the
    iteration does not settle."""
    start = begin[:, :, np.newaxis, np.newaxis]
    found = np.broadcast_to(start, (*begin.shape, *sine.shape[1:]))
    if isinstance(gravity, PointMass):
        return np.ascontiguousarray(found)
    size = np.ones_like(start)
    size[0] = start[0]
    for _ in range(ROUNDS_MAX):
        last = found
        with np.errstate(all="ignore"):
            found = start + _integral(_rates(gravity, last, sine, cosine), width)
            moved = float(np.max(np.abs(found - last) / size))
        if moved < SETTLED:
            return found
        if not moved < 1.0:
            return None
    return None


def _record(
    recorded: Panels,
    gm: float,
    who: NDArray[np.intp],
    keep: NDArray[np.bool_],
    found: Array,
    sine: Array,
    cosine: Array,
    times: Array,
    duration_s: Array,
    mirrored: NDArray[np.bool_],
) -> None:
    """Add panels to what is recorded of some arcs, up to the one in which each arrives."""
    if not who.size:
        return
    state = _states(gm, found[:, keep], sine[keep], cosine[keep])
    sign = np.where(mirrored[keep], -1.0, 1.0)[:, np.newaxis, np.newaxis]
    for row in (1, 2, 4, 5):
        state[row] *= sign
    values = np.moveaxis(np.concatenate([state, times[np.newaxis, keep]]), 0, -1)  # arcs, panels, points, 7
    base = values[:, :, 0, :]
    curve = _rule().to_curve @ (values[:, :, 1:, :] - values[:, :, :1, :])
    ends = times[keep, :, -1]
    counts = np.minimum(np.sum(times[keep, :, 0] < duration_s[keep, np.newaxis], axis=1), ends.shape[1])
    for i, owner in enumerate(who.tolist()):
        many = max(int(counts[i]), 1)
        recorded.knots[owner].append(ends[i, :many].copy())
        recorded.base[owner].append(base[i, :many].copy())
        recorded.curve[owner].append(curve[i, :many].copy())


def _landed(gm: float, found: Array, along: Array, times: Array, duration_s: Array) -> Array:
    """States (6, n) at durations that lie within the panels."""
    arcs = np.arange(duration_s.size)
    panel = np.minimum(np.sum(times[:, :, -1] < duration_s[:, np.newaxis], axis=1), times.shape[1] - 1)
    clock = times[arcs, panel]
    to_powers = _rule().to_powers.T
    begin, length = clock[:, :1], clock[:, -1:] - clock[:, :1]
    powers = ((clock - begin) / length) @ to_powers
    wanted = (duration_s - begin[:, 0]) / length[:, 0]
    x = wanted.copy()
    for _ in range(8):
        value, slope = powers[:, -1].copy(), np.zeros(x.size)
        for i in range(NODES - 2, -1, -1):
            slope = slope * x + value
            value = value * x + powers[:, i]
        change = (value - wanted) / slope
        x = x - change
        if np.max(np.abs(change)) < 1e-9:
            break
    own = found[:, arcs, panel]
    raised = x[:, np.newaxis] ** np.arange(NODES)
    elements = own[..., 0] + np.einsum("kni,ni->kn", (own - own[..., :1]) @ to_powers, raised)
    ends = along[arcs, panel]
    longitude = ends[:, 0] + x * (ends[:, -1] - ends[:, 0])
    return _states(gm, elements, np.sin(longitude), np.cos(longitude))
