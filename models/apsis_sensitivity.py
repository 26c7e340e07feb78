"""The lowest and highest radius of arcs, and how they change with the state: what an optimizer holds at a limit."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .arrays import Array, dot
from .kepler import NEAR_PARABOLIC, Arc

MISSED = 2.0  # semimajor axes by which a missed apsis counts as farther, for each square radian: see `Held`


class Passage(NamedTuple):
    """The lowest or the highest radius along arcs, (...), and whether it is that of an apsis that is passed."""

    radius: Array
    passed: NDArray[np.bool_]


def lowest(arc: Arc) -> Passage:
    """Lowest radius along arcs: the periapsis where it is passed, else the lower end; GM = 1."""
    held = periapsis_held(arc)
    return Passage(np.where(held.passed, held.radius, np.minimum(arc.start_radius, arc.end_radius)), held.passed)


def highest(arc: Arc) -> Passage:
    """Highest radius along arcs: the apoapsis where it is passed, else the higher end; GM = 1."""
    held = apoapsis_held(arc)
    return Passage(np.where(held.passed, held.radius, np.maximum(arc.start_radius, arc.end_radius)), held.passed)


FARTHEST_APOAPSIS = 0.01
"""Orbits whose apoapsis lies beyond some 2 / this of the radius count as open where an apoapsis is held down."""


class Held(NamedTuple):
    """Radius of an apsis of arcs, made ready for an optimizer, with its derivatives, each (d, ...), GM = 1.

    Where the apsis is passed it is that of the apsis. Where it is missed, by eccentric anomalies x before the beginning
    and y after the end, 2 a (x y / (x + y))^2 is added to a periapsis and taken from an apoapsis. The ends of the arc
    lie no farther than that from the apsis, since a e (1 - cos x) <= a x^2 / 2, so that limits on both ends and on this
    are limits on the whole arc and no more; and all changes smoothly where the apsis comes to be passed.
    """

    radius: Array
    by_start: Array
    by_start_speed: Array
    by_end: Array
    by_end_speed: Array
    passed: NDArray[np.bool_]


def periapsis_held(arc: Arc, rounding: Array | float = 0.0) -> Held:
    """The periapsis of arcs for an optimizer; see :class:`Held`.

    ``rounding`` (an eccentricity) smooths the corner at circles, where an apsis has no direction, on the safe side:
    the radius given is never above the true one by more than the part for a missed apsis.
    """
    return _held(arc, rounding, apo=False)


def apoapsis_held(arc: Arc, rounding: Array | float = 0.0) -> Held:
    """The apoapsis of arcs for an optimizer; see :class:`Held` and :func:`periapsis_held`."""
    return _held(arc, rounding, apo=True)


def _held(arc: Arc, rounding: Array | float, *, apo: bool) -> Held:
    p0, v0, r0 = arc.start, arc.start_speed, arc.start_radius
    sigma0, square = dot(p0, v0), dot(v0, v0)
    alpha = 2.0 / r0 - square
    closed = alpha * r0 > (FARTHEST_APOAPSIS if apo else NEAR_PARABOLIC)
    safe = np.where(closed, alpha, 1.0)
    root = np.sqrt(safe)
    sign = 1.0 if apo else -1.0
    parameter = r0 * r0 * square - sigma0 * sigma0
    roundness = np.maximum(1.0 - alpha * parameter, 1e-24)
    softened = roundness + np.square(rounding)
    e = np.sqrt(softened)
    # r = (1 +- e) / alpha, with e^2 = 1 - alpha p and a rounding
    radius = (1.0 + sign * e) / safe
    by_parameter = -0.5 * sign / e
    by_alpha = -0.5 * sign * parameter / (e * safe) - (1.0 + sign * e) / safe**2

    # eccentric anomalies of both ends from the apsis in question
    turn = np.pi if apo else 0.0
    e_cos, e_sin = 1.0 - r0 * safe, sigma0 * root
    begin = np.mod(np.arctan2(e_sin, e_cos) + turn, 2.0 * np.pi)
    swept = np.where(closed, arc.universal.chi * root, 0.0)
    before, after = begin, 2.0 * np.pi - begin - swept
    passed = closed & (after <= 0.0)
    missed = closed & ~passed
    gap = np.where(missed, before + after, 1.0)
    short = np.where(missed, before * after / gap, 0.0)
    share = roundness / softened
    raised = -sign * MISSED * short**2 * share / safe
    radius = radius + raised
    by_alpha = by_alpha - raised / safe
    # share = e^2 / (e^2 + rounding^2)
    by_roundness = -sign * MISSED * short**2 * (np.square(rounding) / softened**2) / safe
    by_parameter = by_parameter - by_roundness * alpha
    by_alpha = by_alpha - by_roundness * parameter
    by_short = -sign * 2.0 * MISSED * short * share / safe

    if not closed.all():
        far = _open_conic(arc, alpha, parameter, roundness, apo=apo)
        radius, by_parameter, by_alpha = (
            np.where(closed, own, other) for own, other in zip((radius, by_parameter, by_alpha), far[:3], strict=True)
        )
        passed = np.where(closed, passed, far[3])
    by_square, by_inverse = 2.0 * by_parameter * square, 2.0 * by_parameter * r0 * r0
    by_start = (by_square - 2.0 * by_alpha / r0**3) * p0 - 2.0 * (by_parameter * sigma0) * v0
    by_start_speed = (by_inverse - 2.0 * by_alpha) * v0 - 2.0 * (by_parameter * sigma0) * p0
    on_before, on_after = by_short * (after / gap) ** 2, -by_short * (before / gap) ** 2
    position, velocity = _anomaly_slopes(p0, v0, r0, alpha, root, roundness)
    by_end, by_end_speed = _anomaly_slopes(arc.end, arc.end_speed, arc.end_radius, alpha, root, roundness)
    return Held(
        radius,
        by_start + on_before * position,
        by_start_speed + on_before * velocity,
        on_after * by_end,
        on_after * by_end_speed,
        passed,
    )


def _open_conic(
    arc: Arc, alpha: Array, parameter: Array, roundness: Array, *, apo: bool
) -> tuple[Array, Array, Array, Array | NDArray[np.bool_]]:
    """Radius held of open conics, its derivatives by parameter and alpha, and whether the apsis is passed.

    An open conic has a periapsis only, p / (1 + e); missed, it is raised by (r.v)^2 / 2. An infinite apoapsis is
    replaced by one far out, which falls as the orbit gains on closing.
    """
    if apo:
        least = FARTHEST_APOAPSIS / arc.start_radius
        far = 2.0 / least - 2.0 * (alpha - least) / least**2
        return far, np.zeros_like(alpha), -2.0 / least**2, np.zeros(alpha.shape, dtype=np.bool_)
    sigma0, sigma1 = dot(arc.start, arc.start_speed), dot(arc.end, arc.end_speed)
    passed = (sigma0 < 0.0) & (sigma1 > 0.0)
    e = np.sqrt(roundness)
    by_e = -parameter / (1.0 + e) ** 2
    nearer = np.where(passed, 0.0, np.minimum(np.abs(sigma0), np.abs(sigma1)))
    radius = parameter / (1.0 + e) + 0.5 * nearer**2
    return radius, 1.0 / (1.0 + e) - by_e * 0.5 * alpha / e, -by_e * 0.5 * parameter / e, passed


def _anomaly_slopes(
    position: Array, velocity: Array, radius: Array, alpha: Array, root: Array, roundness: Array
) -> tuple[Array, Array]:
    """Derivatives of the eccentric anomaly of a state with respect to it: E = atan2(r.v sqrt(alpha), 1 - r alpha)."""
    sigma = dot(position, velocity)
    e_cos, e_sin = 1.0 - radius * alpha, sigma * root
    on_sin, on_cos = e_cos / roundness, -e_sin / roundness
    by_sigma, by_radius = on_sin * root, -on_cos * alpha
    by_alpha = 0.5 * on_sin * sigma / root - on_cos * radius
    return (
        by_sigma * velocity + (by_radius / radius - 2.0 * by_alpha / radius**3) * position,
        by_sigma * position - 2.0 * by_alpha * velocity,
    )
