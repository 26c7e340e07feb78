"""Two-body flight of many states at once, with its derivatives.

Elliptic arcs go through the eccentric anomaly, all others through the universal anomaly; the state-transition matrix is
the closed form in universal functions (Battin 1999, *An Introduction to the Mathematics and Methods of
Astrodynamics*, revised ed., section 9.7). States may be two- or three-dimensional. Valid for any conic that is not a
straight line through the center.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .arrays import Array, dot
from .errors import FlightError

# below this product of inverse semimajor axis and radius an arc is flown by the universal anomaly: the eccentric
# anomaly loses digits near the parabola
NEAR_PARABOLIC = 1e-4

NEARLY_ROUND = 0.2
"""Eccentricity below which two terms of the series start Kepler's equation."""


class Universal(NamedTuple):
    """Universal functions of an arc: anomaly ``chi`` and ``u1`` to ``u3`` at it, for GM = 1 (Battin 1999, sec. 4.5)."""

    chi: Array
    u1: Array
    u2: Array
    u3: Array
    alpha: Array


class Arc(NamedTuple):
    """Flown arcs for GM = 1: both ends, radii, Lagrange coefficients and the universal functions at the end.

    Vectors have shape (d, ...), components first, because the arithmetic then runs along memory; the rest (...).
    Lengths and times are in units in which GM = 1.
    """

    time: Array
    start: Array
    start_speed: Array
    end: Array
    end_speed: Array
    start_radius: Array
    end_radius: Array
    f: Array
    g: Array
    f_rate: Array
    g_rate: Array
    universal: Universal


def propagate(position: Array, velocity: Array, time_s: Array | float, gm: float = 1.0) -> tuple[Array, Array]:
    """Fly states along their conics.

    Args:
        position: positions from the center, m, shape (..., d) with d = 2 or 3.
        velocity: velocities, m/s, same shape.
        time_s: times of flight, s, positive or negative, broadcast against the leading axes.
        gm: gravitational parameter, m^3/s^2.

    Returns:
        Positions and velocities after the flight, shape (..., d).

    Raises:
        FlightError: Kepler's equation did not converge (degenerate state).

    Example:
        A quarter turn on the unit circle:

        >>> r, v = propagate(np.array([1.0, 0.0]), np.array([0.0, 1.0]), np.pi / 2)
        >>> bool(np.allclose(r, [0.0, 1.0])), bool(np.allclose(v, [-1.0, 0.0]))
        (True, True)
    """
    root = math.sqrt(gm)
    arc = _fly_rows(position, velocity, time_s, root)
    behind = (*range(1, arc.end.ndim), 0)
    return arc.end.transpose(behind), arc.end_speed.transpose(behind) * root


def _fly_rows(position: Array, velocity: Array, time_s: Array | float, root: float) -> Arc:
    """`fly` for vectors along the last axis and a gravitational parameter of ``root`` squared."""
    position, velocity = np.asarray(position, dtype=np.float64), np.asarray(velocity, dtype=np.float64)
    time = np.asarray(time_s, dtype=np.float64) * root
    shape = np.broadcast_shapes(position.shape[:-1], velocity.shape[:-1], time.shape)
    size, ahead = position.shape[-1:], (len(shape), *range(len(shape)))
    return fly(
        np.ascontiguousarray(np.broadcast_to(position, shape + size).transpose(ahead)),
        np.ascontiguousarray((np.broadcast_to(velocity, shape + size) / root).transpose(ahead)),
        np.broadcast_to(time, shape),
    )


def fly(position: Array, velocity: Array, time: Array) -> Arc:
    """Fly states of shape (d, ...) along their conics in units in which GM = 1, each for its own time (...).

    Raises:
        FlightError: Kepler's equation did not converge (degenerate state).
    """
    r0, sigma0, alpha = _scalars(position, velocity)
    u = _universal(r0, sigma0, alpha, time)
    # Battin 1999, eq. 4.84
    r = r0 * (1.0 - alpha * u.u2) + sigma0 * u.u1 + u.u2
    f, g = 1.0 - u.u2 / r0, r0 * u.u1 + sigma0 * u.u2
    f_rate, g_rate = -u.u1 / (r * r0), 1.0 - u.u2 / r
    end, speed = f * position + g * velocity, f_rate * position + g_rate * velocity
    return Arc(time, position, velocity, end, speed, r0, r, f, g, f_rate, g_rate, u)


def pull_back(arc: Arc, on_position: Array, on_velocity: Array) -> tuple[Array, Array]:
    """Carry a sensitivity with respect to the end of an arc back to its beginning.

    The product of row vectors with the state-transition matrix, without forming it: the closed form is a sum of
    outer products (Battin 1999, eqs. 9.84 to 9.87). This is also how a costate, hence a primer vector, is carried.

    Args:
        arc: flown arcs.
        on_position, on_velocity: derivatives of some quantities with respect to end position and velocity,
            shape (d, ...) or, for several quantities at once, (d, K, ...).

    Returns:
        Their derivatives with respect to the position and velocity at the beginning, same shape.
    """
    start, start_speed, end, end_speed = arc.start, arc.start_speed, arc.end, arc.end_speed
    along = dot(end, end_speed)
    if on_position.ndim > start.ndim:
        start, start_speed, end, end_speed = (v[:, None] for v in (start, start_speed, end, end_speed))
    c = _secular(arc.universal, arc.time)
    jump = end_speed - start_speed
    r0, r = arc.start_radius, arc.end_radius
    slip = r0 * (1.0 - arc.f)
    cubed, squared, cube = r0**3, r * r, r**3
    a_end, a_speed, a_jump = dot(on_position, end), dot(on_position, end_speed), dot(on_position, jump)
    a_shift = a_end - dot(on_position, start)
    b_end, b_speed, b_jump = dot(on_velocity, end), dot(on_velocity, end_speed), dot(on_velocity, jump)
    secular = a_speed - b_end / cube
    turn = b_end * (arc.f_rate * along / r - 1.0 / squared) - b_speed * (arc.f_rate * r)
    position = (
        (r * a_jump + turn) * jump
        + ((slip * a_end + c * secular) / cubed - b_jump / (r0 * r0)) * start
        - (b_end * (arc.f_rate / squared)) * end
        + arc.f * on_position
        + arc.f_rate * on_velocity
    )
    velocity = (
        (r0 * b_jump) * jump
        + (slip * a_shift + c * secular) * start_speed
        + ((1.0 - arc.g_rate) / squared * b_end - slip * a_jump) * start
        + arc.g * on_position
        + arc.g_rate * on_velocity
    )
    return position, velocity


def apsides(position: Array, velocity: Array, gm: float = 1.0) -> tuple[Array, Array]:
    """Radii of periapsis and apoapsis of the osculating conic, m; apoapsis infinite where it is open.

    Positions and velocities have shape (..., d).
    """
    scaled = np.moveaxis(np.asarray(velocity, dtype=np.float64), -1, 0) / math.sqrt(gm)
    r0, sigma0, alpha = _scalars(np.moveaxis(np.asarray(position, dtype=np.float64), -1, 0), scaled)
    parameter = np.maximum(r0 * (2.0 - alpha * r0) - sigma0**2, 0.0)
    eccentricity = np.sqrt(np.maximum(1.0 - alpha * parameter, 0.0))
    closed = alpha > 0.0
    highest = np.where(closed, (1.0 + eccentricity) / np.where(closed, alpha, 1.0), np.inf)
    return parameter / (1.0 + eccentricity), highest


def _scalars(position: Array, velocity: Array) -> tuple[Array, Array, Array]:
    """Radius, r.v and inverse semimajor axis for GM = 1."""
    r0 = np.sqrt(dot(position, position))
    return r0, dot(position, velocity), 2.0 / r0 - dot(velocity, velocity)


def _universal(r0: Array, sigma0: Array, alpha: Array, time: Array) -> Universal:
    elliptic = alpha * r0 > NEAR_PARABOLIC
    if elliptic.all():
        return _elliptic(r0, sigma0, alpha, time)
    if not elliptic.any():
        return _open(r0, sigma0, alpha, time)
    parts = [np.empty_like(alpha) for _ in range(4)]
    for mask, solve in ((elliptic, _elliptic), (~elliptic, _open)):
        for whole, part in zip(parts, solve(r0[mask], sigma0[mask], alpha[mask], time[mask]), strict=False):
            whole[mask] = part
    chi, u1, u2, u3 = parts
    return Universal(chi, u1, u2, u3, alpha)


def _elliptic(r0: Array, sigma0: Array, alpha: Array, time: Array) -> Universal:
    root = np.sqrt(alpha)
    e_cos, e_sin = 1.0 - r0 * alpha, sigma0 * root
    eccentricity = np.sqrt(e_cos * e_cos + e_sin * e_sin)
    begin = np.arctan2(e_sin, e_cos)
    mean = begin - e_sin + alpha * root * time
    turns = np.round(mean / (2.0 * np.pi))
    mean = mean - 2.0 * np.pi * turns
    end = eccentric_anomaly(mean, eccentricity)
    swept = end + 2.0 * np.pi * turns - begin
    half = np.sin(0.5 * swept)
    sine = np.sin(swept)
    chi = swept / root
    u1 = sine / root
    return Universal(chi, u1, 2.0 * half * half / alpha, (chi - u1) / alpha, alpha)


def eccentric_anomaly(mean: Array, eccentricity: Array) -> Array:
    """Solve Kepler's equation M = E - e sin E for mean anomalies in [-pi, pi], rad, and e in [0, 1).

    Start and fourth-order correction after Danby (1992), *Fundamentals of Celestial Mechanics*, 2nd ed., eqs. 6.6.7
    to 6.6.9; where all are nearly round the start is the first terms of the series in e, so that one correction does.

    Raises:
        FlightError: no convergence.

    >>> round(float(eccentric_anomaly(np.array([1.0]), np.array([0.5]))[0]), 9)
    1.498701134
    """
    if eccentricity.max(initial=0.0) < NEARLY_ROUND:
        first = eccentricity * np.sin(mean)
        anomaly = mean + first * (1.0 + eccentricity * np.cos(mean))
    else:
        anomaly = mean + 0.85 * eccentricity * np.sign(mean)
    for _ in range(12):
        sine, cosine = np.sin(anomaly), np.cos(anomaly)
        e_sin, e_cos = eccentricity * sine, eccentricity * cosine
        miss = anomaly - e_sin - mean
        slope = 1.0 - e_cos
        step = -miss / slope
        step = -miss / (slope + 0.5 * step * e_sin)
        step = -miss / (slope + 0.5 * step * e_sin + step * step * e_cos / 6.0)
        anomaly = anomaly + step
        # the next miss is of fourth order in this step, far below rounding
        if np.abs(step).max(initial=0.0) < 1e-5:
            return anomaly
    if not np.abs(step).max(initial=0.0) < 1e-9:
        raise FlightError(f"Kepler's equation did not converge: largest last step {np.abs(step).max():.3g} rad.")
    return anomaly


def _stumpff(x: Array) -> tuple[Array, Array, Array]:
    """c1, c2, c3 with c_n(x) = sum (-x)^k / (2k + n)! (Danby 1992, sec. 6.9)."""
    small = np.abs(x) < 0.1
    if small.all():
        return _stumpff_series(x)
    if not small.any():
        return _stumpff_closed(x)
    c1, c2, c3 = np.empty_like(x), np.empty_like(x), np.empty_like(x)
    c1[small], c2[small], c3[small] = _stumpff_series(x[small])
    c1[~small], c2[~small], c3[~small] = _stumpff_closed(x[~small])
    return c1, c2, c3


def _stumpff_closed(x: Array) -> tuple[Array, Array, Array]:
    root = np.sqrt(np.abs(x))
    positive = x > 0.0
    with np.errstate(over="ignore"):
        sine = np.where(positive, np.sin(root), np.sinh(np.minimum(root, 350.0)))
        cosine = np.where(positive, np.cos(root), np.cosh(np.minimum(root, 350.0)))
    c1 = sine / root
    return c1, (1.0 - cosine) / x, (1.0 - c1) / x


def _stumpff_series(x: Array) -> tuple[Array, Array, Array]:
    series = [np.ones_like(x) for _ in range(3)]
    for k in range(6, 0, -1):
        for n in (1, 2, 3):
            series[n - 1] = 1.0 - x / ((2 * k + n) * (2 * k + n - 1)) * series[n - 1]
    return series[0], series[1] / 2.0, series[2] / 6.0


def _open(r0: Array, sigma0: Array, alpha: Array, time: Array) -> Universal:
    """Laguerre's iteration on the universal Kepler equation (Conway 1986, Celestial Mechanics 39:199-211).

    Time grows with the anomaly, so a bracket keeps each step; it is flown forwards, backwards by mirroring the state.
    """
    backwards = time < 0.0
    time, sigma = np.abs(time), np.where(backwards, -sigma0, sigma0)
    root = np.sqrt(np.maximum(-alpha, 1e-12))
    chi = time / r0
    late = -2.0 * alpha * time / (sigma + (1.0 - r0 * alpha) / root)
    # on a hyperbola flown for long the anomaly grows with the logarithm of time (Vallado 2013, algorithm 8)
    chi = np.where((alpha < -1e-6) & (late > 4.0), np.log(np.maximum(late, 4.0)) / root, chi)
    low, high = np.zeros_like(chi), np.where(alpha < 0.0, 60.0 / root, np.inf)
    chi = np.minimum(chi, 0.5 * high)
    for _ in range(60):
        c1, c2, c3 = _stumpff(alpha * chi * chi)
        u1, u2, u3 = chi * c1, chi * chi * c2, chi**3 * c3
        miss = r0 * u1 + sigma * u2 + u3 - time
        slope = r0 * (1.0 - alpha * u2) + sigma * u1 + u2
        bend = sigma * (1.0 - alpha * u2) + (1.0 - alpha * r0) * u1
        low, high = np.where(miss > 0.0, low, chi), np.where(miss > 0.0, chi, high)
        swing = np.sqrt(np.abs(16.0 * slope * slope - 20.0 * miss * bend))
        new = chi - 5.0 * miss / (slope + swing)
        inner = np.where(np.isfinite(high), 0.5 * (low + high), 2.0 * chi + time)
        step = np.where((new >= low) & (new <= high), new, inner) - chi
        chi = chi + step
        if np.all(np.abs(step) <= 1e-13 * (1.0 + chi)):
            break
    else:
        # far out on a hyperbola the terms cancel: there the anomaly is known to fewer digits
        if not np.all(np.abs(step) <= 1e-6 * (1.0 + chi)):
            raise FlightError("the universal Kepler equation did not converge on an open arc.")
    c1, c2, c3 = _stumpff(alpha * chi * chi)
    sign = np.where(backwards, -1.0, 1.0)
    return Universal(sign * chi, sign * chi * c1, chi * chi * c2, sign * chi**3 * c3, alpha)


def _secular(u: Universal, time: Array) -> Array:
    """3 U5 - chi U4 - t U2 (Battin 1999, eq. 9.74), by series where the closed form would cancel."""
    square = u.chi * u.chi
    x = u.alpha * square
    small = np.abs(x) < 1e-2
    safe = np.where(small, 1.0, u.alpha)
    u4, u5 = (0.5 * square - u.u2) / safe, (square * u.chi / 6.0 - u.u3) / safe
    if small.any():
        u4 = np.where(small, square**2 / 24.0 * (1.0 - x / 30.0 * (1.0 - x / 56.0 * (1.0 - x / 90.0))), u4)
        by_series = square**2 * u.chi / 120.0 * (1.0 - x / 42.0 * (1.0 - x / 72.0 * (1.0 - x / 110.0)))
        u5 = np.where(small, by_series, u5)
    return np.asarray(3.0 * u5 - u.chi * u4 - time * u.u2)
