"""First guesses at the time-limited optimum, one family for each way of spending the time.

Many local optima compete; which is best depends on the lead, the time and the limits, so each family gives one guess
for every number of turns that fits. Units and the order of the unknowns are those of ``burn_chain``; all guesses
are made in the ring plane, from the start as it projects on it.
"""

from __future__ import annotations

import numpy as np

from ...models.apsis_sensitivity import highest, lowest
from ...models.arrays import Array
from ...models.kepler import fly, propagate
from ...models.lambert import lambert
from ...models.units import TWO_PI as TURN
from .question import Guess, Question, from_local
from .tangent_guesses import split_tangents


def guesses(question: Question) -> list[Guess]:
    """Guesses of four burns that run along no limit."""
    found = double_hohmann(question)
    if question.on_ring:
        found += mirrored(question) + split_tangents(question)
    return found


def double_hohmann(question: Question, count: int = 400) -> list[Guess]:
    """Into a circular waiting orbit and out of it to the slot, half a turn each way, arriving as time runs out.

    For each departure and number of turns the radius b of the waiting orbit is the root of one equation: half a turn
    to b, a wait there and half a turn to the ring bring the craft to the angle of the slot. Guesses below the floor
    are kept: the optimum may lie beside them.
    """
    low, high = max(0.4, question.floor - 0.15), min(4.0, question.ceiling + 0.3)
    b = np.exp(np.linspace(np.log(low), np.log(high), count))
    found = []
    for departure in question.departures():
        position, velocity = propagate(question.position, question.velocity, departure)
        radius = float(np.hypot(*position))
        angle = float(np.arctan2(position[1], position[0]))
        out, back = np.pi * ((radius + b) / 2.0) ** 1.5, np.pi * ((1.0 + b) / 2.0) ** 1.5
        wait = question.allowed - departure - out - back
        ahead = angle + TURN + wait * b**-1.5 - (question.slot_angle + question.allowed)
        usable = wait > 0.0
        for whole in range(
            int(np.floor(ahead[usable].min(initial=0.0) / TURN)), 1 + int(ahead[usable].max(initial=0.0) / TURN)
        ):
            f = ahead - TURN * whole
            for i in np.flatnonzero((f[1:] * f[:-1] < 0.0) & usable[1:] & usable[:-1]):
                shelf = float(b[i] - f[i] * (b[i + 1] - b[i]) / (f[i + 1] - f[i]))
                found.append(_hohmann_guess(question, float(departure), position, velocity, radius, angle, shelf))
    return found


def _hohmann_guess(
    question: Question, departure: float, position: Array, velocity: Array, radius: float, angle: float, shelf: float
) -> Guess:
    out, back = np.pi * ((radius + shelf) / 2.0) ** 1.5, np.pi * ((1.0 + shelf) / 2.0) ** 1.5
    times = np.array([departure, departure + out, question.allowed - back, question.allowed])
    leave = np.sqrt(2.0 / radius - 2.0 / (radius + shelf))
    arrive = np.sqrt(2.0 / shelf - 2.0 / (radius + shelf))
    home = np.sqrt(2.0 / shelf - 2.0 / (1.0 + shelf))
    circular = shelf**-0.5

    def forward(at: float) -> Array:
        return np.array([-np.sin(at), np.cos(at)])

    first = leave * forward(angle) - velocity
    second = (circular - arrive) * forward(angle + np.pi)
    third = (home - circular) * forward(angle + np.pi + (times[2] - times[1]) * shelf**-1.5)
    return Guess("double Hohmann", times, np.stack([first, second, third]))


def along_limit(question: Question, count: int = 300) -> list[Guess]:
    """From the ring quickly down to the floor, along it in a circle, and up again as a mirror image; or at the ceiling.

    Where the waiting orbit of the double Hohmann would lie beyond a limit, time is gained by steeper ways there and
    back: arcs tangent to the limit whose other apsis lies beyond the ring, chosen so that the craft meets the slot.
    """
    found: list[Guess] = []
    if not question.on_ring:
        return found
    for limit in (question.floor, question.ceiling):
        if not 0.0 < limit < np.inf or abs(limit - 1.0) < 1e-6:
            continue
        inward = limit < 1.0
        # arcs that differ in the other apsis, or for open ones in the eccentricity
        least = abs(1.0 - limit) / (1.0 + limit)
        e = least + np.geomspace(1e-5, 3.0 if inward else 0.98 - least, count)
        parameter = limit * (1.0 + e if inward else 1.0 - e)
        anomaly = np.arccos(np.clip((parameter - 1.0) / e, -1.0, 1.0))
        passage = _since_periapsis(parameter, e, anomaly)
        # from the ring to the limit: before the periapsis there, or after the periapsis up to the apoapsis there
        swept = anomaly if inward else np.pi - anomaly
        taken = passage if inward else np.pi * (parameter / (1.0 - e * e)) ** 1.5 - passage
        wait = question.allowed - 2.0 * taken
        start = float(np.arctan2(question.position[1], question.position[0]))
        ahead = start + 2.0 * swept + wait * limit**-1.5 - question.slot_angle - question.allowed
        for whole in range(int(np.floor(ahead.min() / TURN)), 1 + int(np.floor(ahead.max() / TURN))):
            f = ahead - TURN * whole
            for i in np.flatnonzero((f[1:] * f[:-1] <= 0.0) & (wait[1:] > 0.0) & (wait[:-1] > 0.0))[:1]:
                momentum, inverse = float(parameter[i]) ** 0.5, float((1.0 - e[i] ** 2) / parameter[i])
                outward = -np.sqrt(max(2.0 - inverse - momentum**2, 0.0)) * (1.0 if inward else -1.0)
                change = limit**-0.5 - momentum / limit
                local = np.array([[outward, momentum - 1.0], [0.0, change], [0.0, -change]])
                times = np.array([0.0, taken[i], question.allowed - taken[i], question.allowed])
                found.append(Guess("along the limit", times, from_local(question, times, local)))
    return found


def _since_periapsis(parameter: Array, eccentricity: Array, anomaly: Array) -> Array:
    """Time from periapsis to a true anomaly below pi on any conic: r^2 / h by Gauss's quadrature."""
    node, weight = np.polynomial.legendre.leggauss(40)
    at = 0.5 * anomaly[:, None] * (1.0 + node)
    pace = (1.0 + eccentricity[:, None] * np.cos(at)) ** -2
    return np.asarray(0.5 * anomaly * parameter**1.5 * (pace @ weight))


def linear_primer(time: float) -> tuple[float, float, Array, Array]:
    """The best primer of the linearized phasing from ring to ring in a given time (Clohessy and Wiltshire 1960).

    By the symmetry of the question in time its components, with s counted from mid-flight, are 1 + q cos s outward
    and -(3/2 s + 2 q sin s) along; q makes the largest length least. The cost per radian of lead is then
    1 / (2 length).

    Returns:
        q, that length, and samples of s in [0, time / 2] with the length at them.
    """
    s = np.linspace(0.0, time / 2.0, max(200, int(40 * time)))
    cosine, sine = np.cos(s), np.sin(s)

    def worst(q: float) -> float:
        return float(((1.0 + q * cosine) ** 2 + (1.5 * s + 2.0 * q * sine) ** 2).max())

    low, high = -4.0 * (1.0 + time), 4.0 * (1.0 + time)
    golden = (np.sqrt(5.0) - 1.0) / 2.0
    left, right = high - golden * (high - low), low + golden * (high - low)
    at_left, at_right = worst(left), worst(right)
    while high - low > 1e-9:
        if at_left < at_right:
            high, right, at_right = right, left, at_left
            left = high - golden * (high - low)
            at_left = worst(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + golden * (high - low)
            at_right = worst(right)
    q = 0.5 * (low + high)
    return q, worst(q) ** 0.5, s, np.sqrt((1.0 + q * cosine) ** 2 + (1.5 * s + 2.0 * q * sine) ** 2)


def mirrored(question: Question, most: int = 6) -> list[Guess]:
    """Four burns at 0, s, T - s, T, mirror images in time: the convex optimum of the linearized phasing, both ways.

    s is where the linear primer is longest between its ends; each further local maximum gives another guess.
    """
    time, found = question.allowed, []
    q, _, s, length = linear_primer(time)
    end = len(s) - 1
    inner = np.flatnonzero((length[1:-1] >= length[:-2]) & (length[1:-1] >= length[2:])) + 1
    order = inner[np.argsort(-length[inner])][:most]
    lead = question.slot_angle - float(np.arctan2(question.position[1], question.position[0]))
    lead = (lead + np.pi) % TURN - np.pi
    for gain in (lead, lead - np.copysign(TURN, lead)):
        for i in order if len(order) else [end // 2]:
            outward = (1.0 + q * np.cos(s[[end, i]])) / length[[end, i]]
            along = (1.5 * s[[end, i]] + 2.0 * q * np.sin(s[[end, i]])) / length[[end, i]]
            effect = np.stack(
                [
                    outward - 1.5 * s[[end, i]] * along,
                    outward * np.cos(s[[end, i]]) - 2.0 * np.sin(s[[end, i]]) * along,
                ]
            )
            if abs(np.linalg.det(effect)) < 1e-9:
                continue
            sizes = np.linalg.solve(effect, [-0.25 * gain, 0.0])
            if np.abs(sizes).sum() > 2.0:
                continue
            local = np.array(
                [
                    [sizes[0] * outward[0], -sizes[0] * along[0]],
                    [sizes[1] * outward[1], -sizes[1] * along[1]],
                    [sizes[1] * outward[1], sizes[1] * along[1]],
                ]
            )
            times = np.array([0.0, time / 2.0 - s[i], time / 2.0 + s[i], time])
            found.append(Guess("mirrored", times, from_local(question, times, local)))
    return found


def lambert_arcs(question: Question, departures: int = 12, arrivals: int = 24, keep: int = 8) -> list[Guess]:
    """Two burns: the cheapest Lambert arcs, every number of turns, both branches, over a grid of times.

    One guess for each number of turns, branch, and turns gained on the slot, among the arcs that keep the limits and
    again among those that break them, the former first.
    """
    last = min(question.latest_first, question.allowed)
    leave = np.linspace(0.0, last * (1.0 - 1.0 / departures), departures)
    leave = leave[:1] if question.on_ring else leave
    arrive = question.allowed * np.linspace(1.0 / arrivals, 1.0, arrivals)
    turns = np.arange(int(question.allowed / TURN * 2.0) + 1)
    grid = np.meshgrid(leave, arrive, turns, [False, True], indexing="ij")
    t1, t2, n, high = (axis.ravel() for axis in grid)
    usable = (t2 - t1 > 0.05) & ((n > 0) | ~high)
    t1, t2, n, high = t1[usable], t2[usable], n[usable], high[usable]
    position, velocity = propagate(question.position, question.velocity, t1)
    angle = question.slot_angle + t2
    slot = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    speed = np.stack([-np.sin(angle), np.cos(angle)], axis=-1)
    first, second = lambert(position, slot, t2 - t1, 1.0, revolutions=n, high=high)
    cost = np.hypot(*(first - velocity).T) + np.hypot(*(speed - second).T)
    there = np.flatnonzero(np.isfinite(cost))
    there = there[np.argsort(cost[there], kind="stable")]
    arcs = fly(position[there].T, first[there].T, (t2 - t1)[there])
    low, high_point = lowest(arcs).radius, highest(arcs).radius
    keeps = (low >= question.floor - 1e-6) & (high_point <= question.ceiling + 1e-6)
    begun = np.arctan2(position[:, 1], position[:, 0])
    gained = np.floor((angle - begun) / TURN).astype(int) - n
    found: list[Guess] = []
    for wanted in (True, False) if not keeps.all() else (True,):
        taken: set[tuple[int, bool, int]] = set()
        for i in there[keeps == wanted]:
            key = (int(n[i]), bool(high[i]), int(gained[i]))
            if key not in taken and len(taken) < keep:
                taken.add(key)
                kick = (first[i] - velocity[i])[None]
                found.append(Guess("Lambert arc", np.array([t1[i], t2[i]]), kick, float(cost[i]), wanted))
    return found


BRANCHES = ((0, False), (1, False), (1, True))
"""Whole turns of a Lambert arc, and which of the two that make a turn, in :func:`via_points`."""


def _branches(first: Array, last: Array, time: Array) -> tuple[Array, Array]:
    """Lambert arcs of every branch, last but one in the axes; not a number where the time is too short."""
    turns, steep = np.array([n for n, _ in BRANCHES]), np.array([high for _, high in BRANCHES])
    safe = np.where(time > 0.05, time, np.nan)[..., None]
    return lambert(first[..., None, :], last[..., None, :], safe, 1.0, revolutions=turns, high=steep)


def via_points(question: Question, keep: int = 8) -> list[Guess]:
    """Three burns from a start off the ring: two Lambert arcs over a grid of points and times between them.

    Both arcs make no or one whole turn; the cheapest guess for each choice of turns and each region of the point
    between is kept, those that keep the limits first.
    """
    if question.on_ring:
        return []
    begin, allowed = float(np.hypot(*question.position)), question.allowed
    leave = min(question.latest_first, 0.6 * allowed) * np.array([0.0, 0.35, 0.8])
    meet, arrive = allowed * np.linspace(0.12, 0.88, 7), allowed * np.array([1.0, 0.85])
    low = max(question.floor, 0.55 * min(begin, 1.0))
    high = min(question.ceiling, 1.6 * max(begin, 1.0))
    radius, angle = np.linspace(low, high, 8), TURN * np.arange(14) / 14.0
    m, r, u = (axis.ravel() for axis in np.meshgrid(meet, radius, angle, indexing="ij"))
    point = r[:, None] * np.stack([np.cos(u), np.sin(u)], axis=-1)
    start, speed = propagate(question.position, question.velocity, leave)
    slot_angle = question.slot_angle + arrive
    slot = np.stack([np.cos(slot_angle), np.sin(slot_angle)], axis=-1)
    slot_speed = np.stack([-np.sin(slot_angle), np.cos(slot_angle)], axis=-1)
    # (points, departures or arrivals, branches, 2)
    out, there = _branches(start[None], point[:, None], m[:, None] - leave[None])
    away, home = _branches(point[:, None], slot[None], arrive[None] - m[:, None])
    first = np.linalg.norm(out - speed[:, None], axis=-1).reshape(len(m), -1)
    last = np.linalg.norm(slot_speed[:, None] - home, axis=-1).reshape(len(m), -1)
    there, away = there.reshape(len(m), -1, 2), away.reshape(len(m), -1, 2)
    middle = np.linalg.norm(away[:, None] - there[:, :, None], axis=-1)
    cost = first[:, :, None] + middle + last[:, None, :]
    cost = np.where(np.isfinite(cost), cost, np.inf)
    best = np.argsort(cost, axis=None)[:600]
    best = best[np.isfinite(cost.ravel()[best])]
    p, i, j = np.unravel_index(best, cost.shape)
    d, a = i // len(BRANCHES), j // len(BRANCHES)
    outward = fly(start[d].T, out.reshape(len(m), -1, 2)[p, i].T, m[p] - leave[d])
    homeward = fly(point[p].T, away[p, j].T, arrive[a] - m[p])
    keeps = np.ones(len(p), dtype=np.bool_)
    for arc in (outward, homeward):
        keeps &= (lowest(arc).radius >= question.floor - 1e-9) & (highest(arc).radius <= question.ceiling + 1e-9)
    found: list[Guess] = []
    taken: set[tuple[int, ...]] = set()
    for wanted in (True, False):
        for k in np.flatnonzero(keeps == wanted):
            key = (
                int(i[k] % 3),
                int(j[k] % 3),
                int(3.0 * (r[p[k]] - low) / (high - low + 1e-9)),
                int(2.0 * u[p[k]] / TURN),
            )
            if key in taken or len(found) >= keep:
                continue
            taken.add(key)
            times = np.array([leave[d[k]], m[p[k]], arrive[a[k]]])
            kicks = np.stack([outward.start_speed[:, k] - speed[d[k]], away[p[k], j[k]] - there[p[k], i[k]]])
            found.append(Guess("by way of a point", times, kicks, float(cost[p[k], i[k], j[k]]), wanted))
    return found
