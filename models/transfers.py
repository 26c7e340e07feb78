"""Transfers between circles, and between orbits on one line of apsides: what they cost, how long they take.

Two-body, impulsive burns; every function takes scalars or arrays and broadcasts. Lengths are radii from the center in
meters. A plane change is shared among the burns at its true least cost (see ``planes.split``). Sources: Vallado,
*Fundamentals of Astrodynamics and Applications*, chapter 6; Curtis, *Orbital Mechanics for Engineering
Students*, chapter 6.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import frames, orbits, planes

Array = NDArray[np.float64]

# a lead that misses the one required by less is there already (0.04 mm on a geostationary ring)
ON_TIME_RAD = 1e-12


@dataclass(frozen=True, kw_only=True)
class Transfer:
    """A sequence of k burns with coasts between them.

    Args:
        burns_m_s: size of each burn, shape (..., k).
        turns_rad: part of the plane change that each burn makes, shape (..., k).
        coasts_s: time between the burns, shape (..., k - 1).
    """

    burns_m_s: Array
    turns_rad: Array
    coasts_s: Array

    @property
    def delta_v_m_s(self) -> Array:
        """Sum of the burns, shape (...)."""
        return np.asarray(np.sum(self.burns_m_s, axis=-1))

    @property
    def time_s(self) -> Array:
        """From the first burn to the last, shape (...)."""
        return np.asarray(np.sum(self.coasts_s, axis=-1))


def between_apsides(
    gm: float,
    from_m: ArrayLike,
    from_other_m: ArrayLike,
    to_m: ArrayLike,
    to_other_m: ArrayLike,
    angle_rad: ArrayLike = 0.0,
) -> Transfer:
    """Two-burn transfer from one apsis to the opposite apsis of another orbit on the same line, tangent to both.

    Args:
        from_m: radius of the apsis left, with ``from_other_m`` the radius of that orbit's other apsis.
        to_m: radius of the apsis reached half a turn later, with ``to_other_m`` that of the final orbit's other apsis.
        angle_rad: plane change about the line of apsides, in [0, pi].
    """
    start, start_other, end, end_other = _floats(from_m, from_other_m, to_m, to_other_m)
    semi = 0.5 * (start + end)
    before = [_apsis_speed(gm, start, start_other), orbits.speed(gm, end, semi)]
    after = [orbits.speed(gm, start, semi), _apsis_speed(gm, end, end_other)]
    return _shared(before, after, [0.5 * orbits.period(gm, semi)], angle_rad)


def hohmann(gm: float, from_m: ArrayLike, to_m: ArrayLike, angle_rad: ArrayLike = 0.0) -> Transfer:
    """Two-burn transfer between circles (Hohmann 1925; Vallado, Ex. 6-1), with a plane change at its best split.

    >>> there = hohmann(398600.4415e9, 6569.4774e3, 42159.4855e3)
    >>> there.burns_m_s.round(1).tolist(), round(float(there.time_s) / 60, 2)
    ([2457.0, 1478.2], 315.4)
    """
    return between_apsides(gm, from_m, from_m, to_m, to_m, angle_rad)


def bi_elliptic(
    gm: float, from_m: ArrayLike, to_m: ArrayLike, far_m: ArrayLike, angle_rad: ArrayLike = 0.0
) -> Transfer:
    """Three-burn transfer between circles by way of a far apsis (Vallado, Ex. 6-2).

    Costs less than Hohmann's when the ratio of radii exceeds 15.58 with any far apsis beyond the target, never below
    11.94 in one plane; with a large plane change far sooner, most of which belongs at the far apsis.

    Args:
        far_m: radius of the far apsis, at least that of both circles for the usual transfer (not enforced).
        angle_rad: plane change about the line of apsides, in [0, pi], shared among all three burns.
    """
    start, end, far = _floats(from_m, to_m, far_m)
    out, back = 0.5 * (start + far), 0.5 * (far + end)
    before = [_apsis_speed(gm, start, start), orbits.speed(gm, far, out), orbits.speed(gm, end, back)]
    after = [orbits.speed(gm, start, out), orbits.speed(gm, far, back), _apsis_speed(gm, end, end)]
    return _shared(before, after, [0.5 * orbits.period(gm, out), 0.5 * orbits.period(gm, back)], angle_rad)


def one_tangent(gm: float, from_m: ArrayLike, to_m: ArrayLike, swept_rad: ArrayLike) -> Transfer:
    """Two-burn transfer between circles, tangent to the first only: quicker than Hohmann's, and dearer.

    Args:
        swept_rad: angle from the tangent point to the arrival, in (0, 2 pi); pi makes it Hohmann's.

    Returns:
        The transfer (Vallado, Ex. 6-3); NaN where the angle is too short for an ellipse, so that the craft would
        escape, or where both circles are one.
    """
    start, end, swept = _floats(from_m, to_m, swept_rad)
    with np.errstate(divide="ignore", invalid="ignore"):
        # signed: negative where the tangent point is the apoapsis, which keeps one formula for both directions
        eccentricity = (end - start) / (start - end * np.cos(swept))
        elliptic = (np.abs(eccentricity) < 1.0) & (start - end * np.cos(swept) > 0.0) & (start != end)
    eccentricity = np.where(elliptic, eccentricity, np.nan)
    semi = start / (1.0 - eccentricity)
    leaving, arriving = orbits.speed(gm, start, semi), orbits.speed(gm, end, semi)
    flight_path = np.arctan2(eccentricity * np.sin(swept), 1.0 + eccentricity * np.cos(swept))
    first = np.abs(leaving - _apsis_speed(gm, start, start))
    # a burn in the plane obeys the same law of cosines as one across it
    second = planes.combined_delta_v(arriving, _apsis_speed(gm, end, end), flight_path)
    half = 0.5 * swept
    eccentric = 2.0 * np.arctan2(np.sqrt(1.0 - eccentricity) * np.sin(half), np.sqrt(1.0 + eccentricity) * np.cos(half))
    time = (eccentric - eccentricity * np.sin(eccentric)) / orbits.rate(gm, semi)
    burns = np.stack(np.broadcast_arrays(first, second), axis=-1)
    return Transfer(burns_m_s=burns, turns_rad=np.zeros(burns.shape), coasts_s=np.asarray(time)[..., None])


def spiral_delta_v(gm: float, from_m: ArrayLike, to_m: ArrayLike, angle_rad: ArrayLike = 0.0) -> Array:
    """Delta-v of a many-turn spiral of continuous small thrust between circles, m/s (Edelbaum 1961; Vallado, Ex. 6-12).

    In one plane it is the difference of the circular speeds. With a plane change of up to 2 rad the yaw is that of the
    least time; beyond that angle the formula no longer holds, and the result is NaN.
    """
    start, end, angle = _floats(from_m, to_m, angle_rad)
    cost = planes.combined_delta_v(_apsis_speed(gm, start, start), _apsis_speed(gm, end, end), 0.5 * np.pi * angle)
    return np.where(angle <= 2.0, cost, np.nan)


@dataclass(frozen=True, kw_only=True)
class Departure:
    """When a Hohmann transfer meets its target; arrays of the broadcast shape.

    Args:
        lead_rad: how far the target must be ahead at departure, in (-pi, pi].
        wait_s: until it first is, at least 0; infinite where both circles are one and the lead is not 0.
        every_s: synodic period, after which the chance comes again; infinite where both circles are one.
        transfer_s: time of flight.
    """

    lead_rad: Array
    wait_s: Array
    every_s: Array
    transfer_s: Array


def departure(gm: float, from_m: ArrayLike, to_m: ArrayLike, lead_rad: ArrayLike) -> Departure:
    """Park and wait: when to leave one circle so that a Hohmann transfer meets a craft on another in the same plane.

    The target turns through n t while the chaser turns through half a turn, so it must lead by pi - n t (Vallado,
    Ex. 6-9). From below, the lead shrinks while the chaser waits; from above, it grows.

    Args:
        from_m, to_m: radii of the chaser's and the target's circle.
        lead_rad: how far the target is ahead of the chaser now; negative where it is behind.
    """
    start, end, lead = _floats(from_m, to_m, lead_rad)
    transfer = 0.5 * orbits.period(gm, 0.5 * (start + end))
    required = np.pi - orbits.rate(gm, end) * transfer
    closing = orbits.rate(gm, start) - orbits.rate(gm, end)
    same = closing == 0.0
    toward = np.where(closing < 0.0, required - lead, lead - required)
    still = np.remainder(toward + ON_TIME_RAD, 2.0 * np.pi) - ON_TIME_RAD
    still = np.maximum(still, 0.0)
    rate = np.where(same, 1.0, np.abs(closing))
    return Departure(
        lead_rad=frames.wrap(required),
        wait_s=np.where(same, np.where(still <= ON_TIME_RAD, 0.0, np.inf), still / rate),
        every_s=np.where(same, np.inf, 2.0 * np.pi / rate),
        transfer_s=np.asarray(transfer),
    )


@dataclass(frozen=True, kw_only=True)
class Rephasing:
    """A tangent phasing orbit from an apsis back to it; arrays of the broadcast shape, NaN where none exists.

    Args:
        period_s: of the phasing orbit.
        other_m: radius of its other apsis.
        burn_m_s: size of each of its two burns.
    """

    period_s: Array
    other_m: Array
    burn_m_s: Array

    @property
    def delta_v_m_s(self) -> Array:
        """Both burns."""
        return 2.0 * self.burn_m_s


def rephase(gm: float, apsis_m: ArrayLike, other_m: ArrayLike, gain_s: ArrayLike, turns: ArrayLike = 1) -> Rephasing:
    """Return to an apsis of one's own orbit earlier (or later) than by waiting, to meet a craft on the same orbit.

    Curtis, Ex. 6.4; for a circle both radii are the same.

    Args:
        apsis_m: radius of the apsis at which both burns are made; ``other_m`` that of the orbit's other apsis.
        gain_s: how much earlier the return is than after the same number of turns of the orbit itself; negative: later.
        turns: turns of the phasing orbit, whole.
    """
    apsis, other, gain, count = _floats(apsis_m, other_m, gain_s, turns)
    period = orbits.period(gm, 0.5 * (apsis + other)) - gain / count
    semi = orbits.semi_major(gm, np.where(period > 0.0, period, np.nan))
    far = 2.0 * semi - apsis
    semi = np.where(far > 0.0, semi, np.nan)
    burn = np.abs(orbits.speed(gm, apsis, semi) - _apsis_speed(gm, apsis, other))
    return Rephasing(
        period_s=np.where(far > 0.0, period, np.nan), other_m=np.where(far > 0.0, far, np.nan), burn_m_s=burn
    )


@dataclass(frozen=True, kw_only=True)
class NodePhasing:
    """Phasing into a tilted circle from the relative node; arrays of the broadcast shape, NaN where none exists.

    Args:
        node_wait_s: coast to the node where the phasing begins.
        phasing_s: time in the phasing orbit, all its turns.
        transfer_s: coast from there to the target, half a turn.
        phasing_semi_major_m: of the phasing orbit, one apsis of which is at the chaser's circle.
        phasing_other_m: radius of its other apsis: the caller screens it against floor and ceiling.
        target_travel_rad: angle through which the target turns from the beginning of the phasing to the meeting.
        burns_m_s: into the phasing orbit, into the transfer, into the target's circle; shape (..., 3).
        turns_rad: plane change made by each, shape (..., 3).
    """

    node_wait_s: Array
    phasing_s: Array
    transfer_s: Array
    phasing_semi_major_m: Array
    phasing_other_m: Array
    target_travel_rad: Array
    burns_m_s: Array
    turns_rad: Array

    @property
    def delta_v_m_s(self) -> Array:
        """Sum of the burns."""
        return np.asarray(np.sum(self.burns_m_s, axis=-1))


def phase_from_node(
    gm: float,
    from_m: ArrayLike,
    to_m: ArrayLike,
    tilt_rad: ArrayLike,
    to_node_rad: ArrayLike,
    target_rad: ArrayLike,
    target_turns: ArrayLike = 0,
    turns: ArrayLike = 1,
    *,
    share_turn: bool = False,
) -> NodePhasing:
    """Meet a craft on a larger or smaller circle in a tilted plane: wait for the node, phase, transfer, turn the plane.

    Vallado, Ex. 6-10 (non-coplanar phasing): the chaser burns at the relative node into a phasing orbit in its own
    plane, returns there after whole turns, and leaves on a Hohmann transfer whose arrival is at the opposite node.

    Args:
        from_m, to_m: radii of the chaser's and the target's circle.
        tilt_rad: angle between the planes.
        to_node_rad: angle that the chaser still flies to the node, at least 0.
        target_rad: angle of the target now, in its own plane, from the direction of that node along its motion.
        target_turns: whole turns that the target makes besides.
        turns: whole turns of the phasing orbit, at least 1.
        share_turn: share the plane change among the three burns at its best split; otherwise, as in the source, the
            last burn makes it all.
    """
    start, end, angle, to_node, target, more, count = _floats(
        from_m, to_m, tilt_rad, to_node_rad, target_rad, target_turns, turns
    )
    wait = to_node / orbits.rate(gm, start)
    semi = 0.5 * (start + end)
    transfer = 0.5 * orbits.period(gm, semi)
    rate = orbits.rate(gm, end)
    travel = np.remainder(np.pi - target - rate * wait, 2.0 * np.pi) + 2.0 * np.pi * more
    phasing = travel / rate - transfer
    phasing_semi = orbits.semi_major(gm, np.where(phasing > 0.0, phasing, np.nan) / count)
    far = 2.0 * phasing_semi - start
    exists = far > 0.0
    phasing_semi = np.where(exists, phasing_semi, np.nan)
    on_phasing = orbits.speed(gm, start, phasing_semi)
    before = np.stack([_apsis_speed(gm, start, start), on_phasing, orbits.speed(gm, end, semi)], axis=-1)
    after = np.stack([on_phasing, orbits.speed(gm, start, semi), _apsis_speed(gm, end, end)], axis=-1)
    shares = np.zeros(before.shape)
    if share_turn:
        shares = planes.split(before, after, angle)
    else:
        shares[..., 2] = angle
    return NodePhasing(
        node_wait_s=np.asarray(wait),
        phasing_s=np.where(exists, phasing, np.nan),
        transfer_s=np.asarray(transfer),
        phasing_semi_major_m=phasing_semi,
        phasing_other_m=np.where(exists, far, np.nan),
        target_travel_rad=np.asarray(travel),
        burns_m_s=planes.combined_delta_v(before, after, shares),
        turns_rad=shares,
    )


def _shared(before: list[Array], after: list[Array], coasts: list[Array], angle_rad: ArrayLike) -> Transfer:
    """Burns with the plane change shared at its best split."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    shape = np.broadcast_shapes(angle.shape, *(speed.shape for speed in before))
    slow = np.stack([np.broadcast_to(speed, shape) for speed in before], axis=-1)
    fast = np.stack([np.broadcast_to(speed, shape) for speed in after], axis=-1)
    turns = np.zeros(slow.shape) if not np.any(angle) else planes.split(slow, fast, angle)
    return Transfer(
        burns_m_s=planes.combined_delta_v(slow, fast, turns),
        turns_rad=turns,
        coasts_s=np.stack([np.broadcast_to(coast, shape) for coast in coasts], axis=-1),
    )


def _apsis_speed(gm: float, apsis_m: Array, other_m: Array) -> Array:
    """Speed at an apsis, m/s."""
    return orbits.speed(gm, apsis_m, 0.5 * (apsis_m + other_m))


def _floats(*values: ArrayLike) -> tuple[Array, ...]:
    return tuple(np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values)))
