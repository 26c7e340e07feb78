"""Lambert's problem with any number of whole revolutions, both branches, many arcs at once.

Time of flight in the variable x of Lancaster and Blanchard (1969), NASA TN D-5368; its derivatives, first guesses and
Householder's iteration after Izzo (2015), "Revisiting Lambert's problem", Celest. Mech. Dyn. Astr. 121:1-15. For N
revolutions there are two arcs where the time exceeds that of least time, so 2 N_max + 1 in all (Prussing 2000, J.
Astronaut. Sci. 48(2-3):131-148). Not defined where both radii are in one line through the center in the same
direction (transfer angle 0), and in three dimensions also not at half a turn, where the plane is undefined.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .arrays import Array

# relative distance from the parabola within which the closed form is replaced by the series of Battin
NEAR_PARABOLA = 0.01
ITERATIONS = 30


def lambert(
    start: ArrayLike,
    end: ArrayLike,
    time_s: ArrayLike,
    gm: float,
    *,
    revolutions: ArrayLike = 0,
    high: ArrayLike = False,
    pole: ArrayLike = (0.0, 0.0, 1.0),
) -> tuple[Array, Array]:
    """Velocities at both ends of the arc between two positions in a given time.

    Args:
        start, end: positions from the center, m, shape (..., d) with d = 2 or 3.
        time_s: time of flight, s, positive.
        gm: gravitational parameter, m^3/s^2.
        revolutions: whole turns made besides the swept angle in (0, 2 pi).
        high: of the two arcs with whole turns the one of larger x (True, the "high" one of Vallado 2013, sec. 7.6),
            or of smaller x (False). Without meaning for no whole turn.
        pole: the arc goes counterclockwise about this direction; in two dimensions always about the third.

    Returns:
        Velocities at start and end, m/s, broadcast shape (..., d); NaN where no such arc exists (too little time
        for the revolutions, or an undefined plane).

    Example:
        A quarter of the unit circle:

        >>> v1, v2 = lambert([1.0, 0.0], [0.0, 1.0], np.pi / 2, 1.0)
        >>> v1.round(9).tolist(), v2.round(9).tolist()
        ([-0.0, 1.0], [-1.0, 0.0])
    """
    r1, r2 = np.broadcast_arrays(np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64))
    shape = np.broadcast_shapes(r1.shape[:-1], np.shape(time_s), np.shape(revolutions), np.shape(high))
    size = r1.shape[-1]
    r1, r2 = np.broadcast_to(r1, (*shape, size)), np.broadcast_to(r2, (*shape, size))
    time = np.broadcast_to(np.asarray(time_s, dtype=np.float64), shape)
    turns = np.broadcast_to(np.asarray(revolutions, dtype=np.float64), shape)
    low = ~np.broadcast_to(np.asarray(high, dtype=np.bool_), shape)

    near, far, along1, along2, long_way = _geometry(r1, r2, np.asarray(pole, dtype=np.float64))
    chord = np.sqrt(((r2 - r1) ** 2).sum(axis=-1))
    half = 0.5 * (near + far + chord)
    share = np.sqrt(np.maximum(1.0 - chord / half, 0.0))
    lam = np.where(long_way, -share, share)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = _solve(lam, np.sqrt(2.0 * gm / half**3) * time, turns, low)
        y = np.sqrt(1.0 - lam * lam * (1.0 - x * x))
        gamma = np.sqrt(gm * half / 2.0)
        rho = (near - far) / chord
        sigma = np.sqrt(np.maximum(1.0 - rho * rho, 0.0))
        radial1 = gamma * ((lam * y - x) - rho * (lam * y + x)) / near
        radial2 = -gamma * ((lam * y - x) + rho * (lam * y + x)) / far
        across = gamma * sigma * (y + lam * x)
        first = (radial1 / near)[..., None] * r1 + (across / near)[..., None] * along1
        last = (radial2 / far)[..., None] * r2 + (across / far)[..., None] * along2
    return first, last


def _geometry(r1: Array, r2: Array, pole: Array) -> tuple[Array, Array, Array, Array, NDArray[np.bool_]]:
    """Radii, unit vectors along the motion at both ends, and whether more than half a turn is swept."""
    near, far = np.sqrt((r1 * r1).sum(axis=-1)), np.sqrt((r2 * r2).sum(axis=-1))
    if r1.shape[-1] == 2:
        cross = r1[..., 0] * r2[..., 1] - r1[..., 1] * r2[..., 0]
        along1 = np.stack([-r1[..., 1], r1[..., 0]], axis=-1) / near[..., None]
        along2 = np.stack([-r2[..., 1], r2[..., 0]], axis=-1) / far[..., None]
        return near, far, along1, along2, cross < 0.0
    normal = np.cross(r1, r2)
    length = np.sqrt((normal * normal).sum(axis=-1))
    long_way = (normal * pole).sum(axis=-1) < 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = normal / np.where(long_way, -length, length)[..., None]
        along1 = np.cross(unit, r1) / near[..., None]
        along2 = np.cross(unit, r2) / far[..., None]
    return near, far, along1, along2, long_way


def _time(x: Array, lam: Array, turns: Array) -> Array:
    """Scaled time of flight T(x) (Izzo 2015, eq. 9; near the parabola his eq. 20, after Battin)."""
    energy = x * x - 1.0
    z = np.sqrt(np.maximum(1.0 + lam * lam * energy, 0.0))
    y = np.sqrt(np.abs(energy))
    g = x * z - lam * energy
    angle = np.where(
        energy < 0.0,
        turns * np.pi + np.arccos(np.clip(g, -1.0, 1.0)),
        np.log(np.maximum(y * (z - lam * x) + g, 1e-300)),
    )
    closed = (x - lam * z - angle / y) / energy
    near = np.abs(x - 1.0) < NEAR_PARABOLA
    if not near.any():
        return np.asarray(closed)
    eta = z - lam * x
    s1 = 0.5 * (1.0 - lam - x * eta)
    term, total = np.ones_like(s1), np.ones_like(s1)
    for j in range(25):
        term = term * (3.0 + j) * (1.0 + j) / (2.5 + j) * np.where(near, s1, 0.0) / (j + 1.0)
        total = total + term
    series = 0.5 * (eta**3 * (4.0 / 3.0) * total + 4.0 * lam * eta) + turns * np.pi / np.abs(energy) ** 1.5
    return np.asarray(np.where(near, series, closed))


def _slopes(x: Array, time: Array, lam: Array) -> tuple[Array, Array, Array]:
    """First three derivatives of T(x) (Izzo 2015, eq. 22)."""
    rest = 1.0 - x * x
    square = 1.0 - lam * lam * rest
    y = np.sqrt(square)
    cube = lam * lam * lam
    bent = (1.0 - lam * lam) * cube / (square * y)
    d1 = (3.0 * time * x - 2.0 + 2.0 * cube * x / y) / rest
    d2 = (3.0 * time + 5.0 * x * d1 + 2.0 * bent) / rest
    d3 = (7.0 * x * d2 + 8.0 * d1 - 6.0 * bent * lam * lam * x / square) / rest
    return d1, d2, d3


def _least_time(lam: Array, turns: Array) -> tuple[Array, Array]:
    """Where T(x) is least for one or more whole turns, (n,), and its value: Halley's iteration on the slope."""
    x, left = np.zeros_like(lam), np.arange(lam.size)
    for _ in range(ITERATIONS):
        now, own = x[left], lam[left]
        d1, d2, d3 = _slopes(now, _time(now, own, turns[left]), own)
        step = d1 * d2 / (d2 * d2 - 0.5 * d1 * d3)
        # the minimum lies in (-1, 1); half-way to a border at most
        x[left] = np.clip(now - step, 0.5 * (now - 1.0), 0.5 * (now + 1.0))
        left = left[np.abs(step) >= 1e-13]
        if not left.size:
            break
    return x, _time(x, lam, turns)


def _solve(lam: Array, time: Array, turns: Array, low: NDArray[np.bool_]) -> Array:
    whole = turns > 0.0
    zero_energy = 2.0 / 3.0 * (1.0 - lam**3)
    middle = np.arccos(np.clip(lam, -1.0, 1.0)) + lam * np.sqrt(np.maximum(1.0 - lam * lam, 0.0))
    slow = (middle / time) ** (2.0 / 3.0) - 1.0
    fast = 2.5 * zero_energy * (zero_energy - time) / (time * (1.0 - lam**5)) + 1.0
    between = (middle / time) ** np.log2(zero_energy / middle) - 1.0
    x = np.where(time >= middle, slow, np.where(time < zero_energy, fast, between))
    left, right = np.full_like(x, -1.0), np.full_like(x, np.inf)
    if whole.any():
        safe = np.where(whole, turns, 1.0)
        best, least = np.full_like(x, np.nan), np.full_like(x, np.nan)
        best[whole], least[whole] = _least_time(lam[whole], turns[whole])
        short = ((safe * np.pi + np.pi) / (8.0 * time)) ** (2.0 / 3.0)
        far = (8.0 * time / (safe * np.pi)) ** (2.0 / 3.0)
        guess = np.where(low, (short - 1.0) / (short + 1.0), (far - 1.0) / (far + 1.0))
        # each branch keeps to its own side of the least time
        left = np.where(whole, np.where(low, -1.0, best), left)
        right = np.where(whole, np.where(low, best, 1.0), right)
        outside = whole & ((guess <= left) | (guess >= right))
        guess = np.where(outside, 0.5 * (left + right), guess)
        x = np.where(whole, guess, x)
        x = np.where(whole & (time < least), np.nan, x)
    return _refined(x.ravel(), left.ravel(), right.ravel(), (whole & ~low).ravel(), lam, time, turns).reshape(x.shape)


def _refined(
    x: Array, left: Array, right: Array, rising: NDArray[np.bool_], lam: Array, time: Array, turns: Array
) -> Array:
    """Roots of T(x) = time from first guesses between ``left`` and ``right``, all (n,); T may rise with x or fall."""
    lam, time, turns = lam.ravel(), time.ravel(), turns.ravel()
    todo = np.flatnonzero(np.isfinite(x))
    for _ in range(ITERATIONS):
        if not todo.size:
            break
        now, own, wanted = x[todo], lam[todo], time[todo]
        miss = _time(now, own, turns[todo]) - wanted
        d1, d2, d3 = _slopes(now, miss + wanted, own)
        # Householder, third order (Izzo 2015, eq. 23)
        step = miss * (d1 * d1 - 0.5 * miss * d2) / (d1 * (d1 * d1 - miss * d2) + d3 * miss * miss / 6.0)
        step = np.where(np.isfinite(step), step, 0.0)
        too_far = np.where(rising[todo], miss > 0.0, miss < 0.0)
        right[todo] = high = np.where(too_far, np.minimum(right[todo], now), right[todo])
        left[todo] = low = np.where(too_far, left[todo], np.maximum(left[todo], now))
        new = now - step
        inner = np.where(np.isfinite(high), 0.5 * (low + high), 2.0 * np.abs(now) + 1.0)
        outside = ((new < low) | (new > high)) & (np.abs(step) > 1e-12)
        x[todo] = np.where(outside, inner, new)
        todo = todo[(outside | (np.abs(step) >= 1e-13)) & np.isfinite(x[todo])]
    return x
