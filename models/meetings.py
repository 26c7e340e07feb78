"""How close an orbit that touches the ring comes to a craft on the ring.

Two-body. Near a touch the two move almost alike, so the least distance is often much less than the distance at the
touch itself: a craft 10 km ahead there may be passed at 300 m beneath a little later. An orbit that stays within a few
separations of the ring may pass another craft anywhere on it, and is examined all the way round.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .deadline import poll
from .golden_section import least_between
from .ring import Ring

F = NDArray[np.float64]

SURE = 2.0
"""The parabola of the relative motion separates near from far beyond this factor; else the orbit is used."""

LOW = 3.2
"""An orbit that leads less than so many separations away from the ring is examined all the way round: farther out the
parabola, good to some 1.2 rad of eccentric anomaly, covers all that is within the separation."""

_AROUND = 97
"""Moments in a revolution; between them the motion against the ring is taken as straight: 0.2 % of the separation."""

_STEPS = 40


def _parabola(ring: Ring, speed_m_s: F, ahead_rad: F) -> F:
    """Least distance by the parabola height = (v + v_c) / (2 |v - v_c|) * angle^2 * R, m."""
    slip = np.abs(speed_m_s - ring.speed_m_s)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(0.5 * (speed_m_s + ring.speed_m_s) / slip * ahead_rad**2 * ring.radius_m)


def passes_within(
    ring: Ring, speed_m_s: F, ahead_rad: F, separation_m: float, *, before: bool
) -> tuple[NDArray[np.bool_], F]:
    """Whether a ring craft is passed within a separation on one side of a touch, and when, s from the touch; both (n,).

    Args:
        speed_m_s: tangential speed at the touch, nan for no touch; (n,).
        ahead_rad: how far the ring craft is ahead at the touch, in (-pi, pi]; (n,).
        before: look before the touch; else after it.

    A craft slower than the ring at the touch has one ahead of it behind it before, and the other way round, so the
    near pass lies on one side of the touch only. The time is zero where the touch itself is too close, and comes with
    the time that the craft takes to cross the separation, so that craft who arrives just after still counts.
    """
    hit, when = np.zeros(ahead_rad.shape, dtype=bool), np.full(ahead_rad.shape, np.nan)
    slowest = np.nanmax(np.abs(speed_m_s - ring.speed_m_s) / (speed_m_s + ring.speed_m_s), initial=0.0)
    ratio = separation_m / ring.radius_m
    with np.errstate(invalid="ignore"):
        (near,) = np.nonzero(
            (np.abs(ahead_rad) <= max(ratio, math.sqrt(2.0 * SURE * ratio * slowest))) & (speed_m_s > 0)
        )
    if near.size:
        hit[near], when[near] = _passes(ring, speed_m_s[near], ahead_rad[near], separation_m, before)
    return hit, when


def _passes(ring: Ring, speed_m_s: F, ahead_rad: F, separation_m: float, before: bool) -> tuple[NDArray[np.bool_], F]:
    with np.errstate(invalid="ignore"):
        slip = speed_m_s / ring.radius_m - ring.rate_rad_s
        linear_s = np.where(slip != 0.0, ahead_rad / np.where(slip == 0.0, 1.0, slip), np.inf)
        hit = np.abs(ahead_rad) * ring.radius_m < separation_m
        when = np.where(hit, 0.0, linear_s)
        estimate = _parabola(ring, speed_m_s, ahead_rad)
        on_side = (linear_s < 0.0) if before else (linear_s > 0.0)
        (ask,) = np.nonzero(~hit & on_side & (estimate < SURE * separation_m))
    if ask.size:
        distance, moment = _closest(ring, speed_m_s[ask], ahead_rad[ask], linear_s[ask])
        near = distance < separation_m
        hit[ask[near]] = True
        when[ask[near]] = moment[near]
    crossing = separation_m / np.maximum(np.abs(slip) * ring.radius_m, 1e-3)
    return hit, np.where(hit, when + crossing, np.nan)


def _closest(ring: Ring, speed_m_s: F, ahead_rad: F, linear_s: F) -> tuple[F, F]:
    """Least distance between the touch and twice the time at which a steady slip would close the angle, and when."""
    semi = 1.0 / (2.0 / ring.radius_m - speed_m_s**2 / ring.gm)
    # signed so that the touch is at E = 0 whether it is the periapsis (positive) or the apoapsis (negative)
    eccentricity = 1.0 - ring.radius_m / semi
    motion = np.sqrt(ring.gm / semi**3)
    minor = semi * np.sqrt(1.0 - eccentricity**2)

    def gap(anomaly: F) -> F:
        sine = np.sin(anomaly)
        angle = ahead_rad + ring.rate_rad_s * (anomaly - eccentricity * sine) / motion
        x = semi * (np.cos(anomaly) - eccentricity) - ring.radius_m * np.cos(angle)
        y = minor * sine - ring.radius_m * np.sin(angle)
        return np.asarray(np.hypot(x, y))

    far = np.clip(2.0 * linear_s * motion / (1.0 - eccentricity), -1.2, 1.2)
    left, right = np.minimum(far, 0.0), np.maximum(far, 0.0)
    anomaly = least_between(gap, left, right, _STEPS)
    return gap(anomaly), np.asarray((anomaly - eccentricity * np.sin(anomaly)) / motion)


def _stays_low(ring: Ring, speed_m_s: F, separation_m: float) -> NDArray[np.bool_]:
    """Mask of orbits that lead away from the ring by less than `LOW` separations, by their speeds at it."""
    half = 0.5 * LOW * separation_m
    slowest = math.sqrt(ring.gm * max(2.0 / ring.radius_m - 1.0 / max(ring.radius_m - half, 1e-300), 0.0))
    fastest = math.sqrt(ring.gm * (2.0 / ring.radius_m - 1.0 / (ring.radius_m + half)))
    return np.asarray((speed_m_s > slowest) & (speed_m_s < fastest))


AT_ONCE = 1 << 14
"""So many passes are looked at together round a whole revolution: more would only fill the memory."""


def passes_around(
    ring: Ring, speed_m_s: F, ahead_rad: F, separation_m: float, *, before: bool, since_s: F | None = None
) -> tuple[NDArray[np.bool_], F]:
    """Whether a ring craft is passed within a separation in the whole revolution after, or before, a touch; both (n,).

    Args:
        ring, speed_m_s, ahead_rad: as for :func:`passes_within`; only orbits near the ring are examined, see `LOW`.
        before: look at the revolution before the touch; else at the one after it.
        since_s: what is earlier does not count, s from the touch; (n,).

    Returns:
        Mask, and until when the craft is that near, s from the touch; nan where it never is.
    """
    hit, until = np.zeros(ahead_rad.shape, dtype=bool), np.full(ahead_rad.shape, np.nan)
    (low,) = np.nonzero(_stays_low(ring, speed_m_s, separation_m))
    semi = 1.0 / (2.0 / ring.radius_m - speed_m_s[low] ** 2 / ring.gm)
    off = np.abs(semi - ring.radius_m) / ring.radius_m
    drift = np.abs(2.0 * np.pi - ring.rate_rad_s * 2.0 * np.pi * np.sqrt(semi**3 / ring.gm))
    within = np.abs(ahead_rad[low]) <= drift + 4.0 * off + separation_m / ring.radius_m
    near, semi = low[within], semi[within, np.newaxis]
    if not near.size:
        return hit, until
    if near.size > AT_ONCE:
        for part in np.array_split(near, -(-near.size // AT_ONCE)):
            poll()
            since = None if since_s is None else since_s[part]
            hit[part], until[part] = passes_around(
                ring, speed_m_s[part], ahead_rad[part], separation_m, before=before, since_s=since
            )
        return hit, until
    ahead = ahead_rad[near, np.newaxis]
    anomaly = np.linspace(-2.0 * np.pi, 0.0, _AROUND) if before else np.linspace(0.0, 2.0 * np.pi, _AROUND)
    # signed so that the touch is at E = 0 whether it is the periapsis (positive) or the apoapsis (negative)
    shape = 1.0 - ring.radius_m / semi
    times = (anomaly - shape * np.sin(anomaly)) * np.sqrt(semi**3 / ring.gm)
    x, y = semi * (np.cos(anomaly) - shape), semi * np.sqrt(1.0 - shape**2) * np.sin(anomaly)
    angle = ahead + ring.rate_rad_s * times
    # in axes that turn with the ring craft: outward and along
    out = x * np.cos(angle) + y * np.sin(angle) - ring.radius_m
    along = y * np.cos(angle) - x * np.sin(angle)
    step_out, step_along = np.diff(out, axis=1), np.diff(along, axis=1)
    square = np.maximum(step_out**2 + step_along**2, 1e-12)
    part = np.clip(-(out[:, :-1] * step_out + along[:, :-1] * step_along) / square, 0.0, 1.0)
    inside = np.hypot(out[:, :-1] + part * step_out, along[:, :-1] + part * step_along) < separation_m
    if since_s is not None:
        inside &= times[:, 1:] > since_s[near, np.newaxis]
    last = inside.shape[1] - 1 - np.argmax(inside[:, ::-1], axis=1)
    hit[near] = inside.any(axis=1)
    until[near] = np.where(hit[near], times[np.arange(near.size), last + 1], np.nan)
    return hit, until
