"""Coasts around a point mass or an oblate body by Gauss's equations: whole revolutions at a time.

Newton's law written for the elements of the osculating orbit (variation of parameters): under the bulge alone these
change by a thousandth a revolution, so many revolutions are solved together, by repeated quadrature along the true
longitude (Picard's iteration), instead of in some forty steps for each. Time is a quadrature too: no formula for the
period enters. Orbits that run backwards are flown mirrored, which the pull does not notice. The elements and their
rates, and where these are from, are in `equinoctial.py`. Further forces join as pushes on the orbits as last
found (`gauss_forces.py`).
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..arrays import Array, dot
from ..deadline import poll
from ..errors import FlightError
from .equinoctial import bulge_share, elements_of, rates, slowness, states_of, turned_over, upright
from .forces import Extra, Field
from .gauss_forces import Beyond, followed
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
LOOSE, FINER, PUSHED, LEFT = 1e-7, 1e-2, 1e-12, 1e-13
"""Under further forces the elements by the bulge alone need not be settled better at first, nor between two rounds of
the pushes than a hundredth of what the last round changed; after one that changes them by less than the third of these,
far less than that is left. The last: what may be left if rounds go on to change less by the factor of the last two.
"""
PUSH_MAX, TAIL_MAX, NARROWER_MAX = 0.02, 5e-10, 4
"""Coasts under pushes larger than this share of the central pull are stepped; where the tail of their polynomials, as a
share of it, is larger, panels are made narrower, by so much at most: what a panel misses is far below the tail."""


def suits(gravity: Gravity, state: Array) -> NDArray[np.bool_]:
    """Which states (6, n) begin a coast that is solved here: bound, of some breadth, and little disturbed."""
    if isinstance(gravity, Field) and followed(gravity.terms):
        gravity = gravity.near
    if not isinstance(gravity, PointMass | Oblate):
        return np.zeros(state.shape[1], dtype=bool)
    with np.errstate(all="ignore"):
        elements, _ = elements_of(gravity.gm, upright(state)[0])
        good = np.hypot(elements[1], elements[2]) <= ECCENTRICITY_MAX
        good &= np.abs(bulge_share(gravity, elements)) <= BULGE_MAX
    return np.asarray(good & np.isfinite(elements).all(axis=0))


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
    gravity: PointMass | Oblate,
    start: Array,
    duration_s: Array,
    keep: NDArray[np.bool_],
    extra: Extra | None = None,
) -> tuple[Array, Panels]:
    """Fly arcs without thrust: states (6, n) over durations (n,), > 0; those to ``keep`` are recorded.

    Raises:
        FlightError: the iteration does not settle: the orbit is disturbed too much, or a craft comes down.
    """
    total = start.shape[1]
    turned, mirrored = upright(start)
    elements, longitude = elements_of(gravity.gm, turned)
    beyond = None if extra is None else Beyond.by(gravity.gm, extra, _rule().points, mirrored)
    if beyond is not None and isinstance(gravity, PointMass):
        gravity = Oblate(gm=gravity.gm, j2=0.0, j2_radius=1.0)
    recorded = Panels(knots=[[np.zeros(1)] for _ in range(total)], base=[[] for _ in range(total)],
                      curve=[[] for _ in range(total)])  # fmt: skip
    axis = elements[0] / (1.0 - elements[1] ** 2 - elements[2] ** 2)
    turns_left = duration_s * np.sqrt(gravity.gm / axis**3) / (2.0 * math.pi)
    landed, clock, active = np.empty((6, total)), np.zeros(total), np.arange(total)
    panels_a_turn, most = _panels(gravity, elements, turned, beyond)
    widest = panels_a_turn
    while active.size:
        poll()
        # pushes are dear: arcs that end sooner do not go on with the others
        turns = float(turns_left[active].max() if beyond is None else turns_left[active].min())
        wanted = math.ceil((turns + 0.05) * panels_a_turn)
        count = max(min(wanted, most, POINTS_MAX // (NODES * active.size)), 1)
        width = 2.0 * math.pi / panels_a_turn
        along = longitude[active, np.newaxis, np.newaxis] + width * (np.arange(count)[:, np.newaxis] + _rule().points)
        sine, cosine = np.sin(along), np.cos(along)
        began = clock[active, np.newaxis, np.newaxis]
        pushes = beyond and beyond.of(active)
        found, more, tail = _pushed(gravity, elements[:, active], sine, cosine, width, began, pushes)
        if found is None:
            if most == 1:
                raise FlightError("an orbit disturbed too strongly to be followed by its elements")
            most = max(count // 2, 1)
            continue
        if tail > TAIL_MAX:
            if panels_a_turn >= NARROWER_MAX * widest:
                raise FlightError("an orbit pushed too unevenly to be followed by its elements")
            panels_a_turn, most = 2 * panels_a_turn, 2 * most
            continue
        times = began + _integral(slowness(gravity, found, sine, cosine, more), width)
        _record(recorded, gravity.gm, active[keep[active]], keep[active], found, sine, cosine, times,
                duration_s[active], mirrored[active])  # fmt: skip
        arrived = times[:, -1, -1] >= duration_s[active]
        there = active[arrived]
        if there.size:
            landed[:, there] = _landed(gravity.gm, found[:, arrived], along[arrived], times[arrived], duration_s[there])
        turns_left[active] = np.maximum(turns_left[active] - count / panels_a_turn, 0.0)
        on, last = active[~arrived], (~arrived, -1, -1)
        elements[:, on], longitude[on], clock[on] = found[:, *last], along[last], times[last]
        active = on
    return turned_over(landed, mirrored), recorded


def _panels(gravity: PointMass | Oblate, elements: Array, state: Array, beyond: Beyond | None) -> tuple[int, int]:
    """Panels of a turn, and how many are solved together."""
    size = np.abs(bulge_share(gravity, elements))
    # the bulge changes the eccentricity meanwhile by about its size against the central pull
    eccentric = min(float((np.hypot(elements[1], elements[2]) + size).max()), 0.99)
    panels_a_turn = math.ceil(PANELS_A_TURN * max(1.0, NEAR / math.acosh(1.0 / max(eccentric, 1e-3))))
    disturbed = float(np.max(size))
    if beyond is not None:
        pushed = float(np.max(beyond.share(state)))
        if pushed > PUSH_MAX:
            raise FlightError("an orbit pushed too strongly to be followed by its elements")
        disturbed += pushed
    # the iteration gains a factor of about this in each round; one that settles slowly costs more than it spares
    return panels_a_turn, max(math.ceil(panels_a_turn * min(TURNS_MAX, DISTURBED / max(disturbed, 1e-9))), 1)


class _Rule:
    """Points of a panel in [0, 1], and the matrices that integrate and interpolate between them."""

    def __init__(self) -> None:
        inner = np.polynomial.legendre.Legendre.basis(NODES - 1).deriv().roots()
        self.points = np.concatenate([[0.0], 0.5 * (np.sort(inner.real) + 1.0), [1.0]])
        powers = self.points[:, np.newaxis] ** np.arange(NODES)
        self.to_powers = np.linalg.inv(powers)
        """From values at the points to coefficients of rising powers."""
        self.tail = self.to_powers[-1] / math.comb(2 * NODES - 2, NODES - 1)
        """From values at the points to the last coefficient in Legendre polynomials."""
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


def _integral(slopes: Array, width: float) -> Array:
    """Integrals from the start of the first panel to every point; slopes of (..., panels, points)."""
    inside = width * (slopes @ _rule().integral.T)
    before = np.cumsum(inside[..., -1], axis=-1)
    inside[..., 1:, :] += before[..., :-1, np.newaxis]
    return np.asarray(inside)


def _varied(gravity: PointMass | Oblate, begin: Array, sine: Array, cosine: Array, width: float) -> Array | None:
    """The elements (5, arcs, panels, points) along given longitudes, from those at their start; None where the
    iteration does not settle."""
    found = np.broadcast_to(begin[:, :, np.newaxis, np.newaxis], (*begin.shape, *sine.shape[1:]))
    if isinstance(gravity, PointMass):
        return np.ascontiguousarray(found)
    return _settled(gravity, found, sine, cosine, width)[0]


def _settled(
    gravity: Oblate,
    found: Array,
    sine: Array,
    cosine: Array,
    width: float,
    more: Array | None = None,
    until: float = SETTLED,
) -> tuple[Array | None, float]:
    """The elements from a guess at them on, and by how much the whole iteration changed them; None where it does not
    settle."""
    guess, start = found, found[:, :, :1, :1]
    size = np.ones_like(start)
    size[0] = start[0]
    for _ in range(ROUNDS_MAX):
        last = found
        with np.errstate(all="ignore"):
            found = start + _integral(rates(gravity, last, sine, cosine, more), width)
            moved = float(np.max(np.abs(found - last) / size))
        if moved < until:
            return found, float(np.max(np.abs(found - guess) / size))
        if not moved < 1.0:
            break
    return None, math.inf


def _pushed(
    gravity: PointMass | Oblate,
    begin: Array,
    sine: Array,
    cosine: Array,
    width: float,
    began: Array,
    beyond: Beyond | None,
) -> tuple[Array | None, Array | None, float]:
    """The same under further forces, with the pushes (3, ...) and the tail of their polynomials; arcs are ``began`` s
    old."""
    if beyond is None:
        return _varied(gravity, begin, sine, cosine, width), None, 0.0
    assert isinstance(gravity, Oblate)
    flat = np.broadcast_to(begin[:, :, np.newaxis, np.newaxis], (*begin.shape, *sine.shape[1:]))
    found, moved = _settled(gravity, flat, sine, cosine, width, until=LOOSE)
    more: Array | None = None
    for _ in range(ROUNDS_MAX):
        if found is None:
            break
        times = began + _integral(slowness(gravity, found, sine, cosine, more), width)
        states = states_of(gravity.gm, found, sine, cosine)
        more, smooth = beyond.push(times, states)
        until, last = max(FINER * min(moved, LOOSE), SETTLED), moved
        found, moved = _settled(gravity, found, sine, cosine, width, more, until)
        if moved < PUSHED or moved * moved < LEFT * last:
            share = smooth * (dot(states[:3], states[:3]) / gravity.gm)
            return found, more, width * float(np.abs(share @ _rule().tail).max())
    return None, None, 0.0


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
    state = turned_over(states_of(gm, found[:, keep], sine[keep], cosine[keep]), mirrored[keep])
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
    return states_of(gm, elements, np.sin(longitude), np.cos(longitude))
