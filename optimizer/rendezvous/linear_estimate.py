"""An estimate of the time-limited delta-v: the least of the motion linearized about the slot.

About the slot the motion is linear (Clohessy and Wiltshire 1960), and the least sum of burns is a convex problem whose
dual is: the largest product of a costate with what must be made up, over all costates whose primer vector is nowhere
longer than one (Neustadt 1964, J. SIAM Control 3:317-356). No flight of the linear model costs less than what
any such costate gives; here the best one is found by a barrier method and then scaled by the largest primer over all
times, with an allowance for what lies between the samples. For the curved motion it is an estimate and proves nothing:
flights may cost less. It is exact in the limit of small leads only.

Units: ring radius 1, GM 1. Relative states are (outward, along the arc, cross) and their rates, about the slot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.relative import relative_transition

SAMPLES_PER_RADIAN = 8
FINE_PER_RADIAN = 80
BARRIER_END = 1e-7
NEAR_PATH = 0.1  # Newton decrement, in units of the barrier, at which the barrier is lowered
NEWTON_STEPS = 60


def relative_state(position: Array, velocity: Array, slot_angle: float) -> Array:
    """State of a craft about a slot at the same moment, (6,), with lengths along the ring counted along the arc.

    Args:
        position, velocity: (d,), d = 2 or 3, in the axes of ``burn_chain``.
        slot_angle: of the slot; the lead is taken in (-pi, pi].
    """
    radius = float(np.hypot(position[0], position[1]))
    outward, forward = position[:2] / radius, np.array([-position[1], position[0]]) / radius
    lead = (slot_angle - float(np.arctan2(position[1], position[0])) + np.pi) % (2.0 * np.pi) - np.pi
    lead = np.pi if lead == -np.pi else lead
    cross = (float(position[2]), float(velocity[2])) if len(position) == 3 else (0.0, 0.0)
    along = float(velocity[:2] @ forward) / radius - 1.0
    return np.array([radius - 1.0, -lead, cross[0], float(velocity[:2] @ outward), along, cross[1]])


def linear_estimate(state: Array, allowed: Array) -> Array:
    """Least sum of burns, within the linearized model, from a relative state to rest in the slot, for several times.

    Args:
        state: relative state at time 0, (6,).
        allowed: times by which the slot must be reached, (B,).

    Returns:
        Estimates, (B,), in units of the circular speed: what the linearized model cannot undercut, a curved flight can.

    Example:
        Per radian of lead in one period: a little less than the tangent orbit's 1 / (3 pi).

        >>> round(float(linear_estimate(np.array([0.0, -1.0, 0.0, 0.0, 0.0, 0.0]), np.array([2.0 * np.pi]))[0]), 4)
        0.106
    """
    allowed = np.asarray(allowed, dtype=np.float64)
    need = -relative_transition(1.0, allowed) @ state
    # a start in the ring plane has a costate without cross parts
    used = np.array([0, 1, 3, 4] if abs(state[2]) + abs(state[5]) == 0.0 else range(6))
    size = np.abs(need).max(axis=1)
    need = need[:, used] / np.maximum(size, 1e-300)[:, None]
    rows = _primers(allowed, used, max(64, int(SAMPLES_PER_RADIAN * allowed.max())))
    # axes in which the primers' mean square is one: in others the costates differ by orders of magnitude
    spread = np.linalg.cholesky((np.swapaxes(rows, 1, 2) @ rows) / rows.shape[1])
    scaled = np.swapaxes(np.linalg.solve(spread, np.swapaxes(rows, 1, 2)), 1, 2)
    aim = np.linalg.solve(spread, need[:, :, None])[:, :, 0]
    best = _best_costates(scaled, aim)[:, :, None]
    costate: Array = np.linalg.solve(np.swapaxes(spread, 1, 2), best)[:, :, 0].astype(np.float64)
    value: Array = size * (need * costate).sum(axis=1) / np.maximum(_longest(allowed, used, costate), 1e-300)
    return value


@dataclass(frozen=True, kw_only=True)
class LinearEstimates:
    """What the linearized model says of one start and slot for several times; worked out when it is first read.

    Args:
        offset: relative state at the start, (6,), in ring radii and circular speeds.
        allowed: times, (B,), in radians of ring motion.
        speed_m_s: circular speed.
    """

    offset: Array
    allowed: Array
    speed_m_s: float

    @cached_property
    def each_m_s(self) -> Array:
        """Estimates, (B,)."""
        return linear_estimate(self.offset, self.allowed) * self.speed_m_s


def _primers(allowed: Array, used: NDArray[np.int64], count: int) -> Array:
    """Rows that turn a costate at the last moment into the primer's parts at evenly spaced times, (B, 3 count, u)."""
    left = allowed[:, None] * np.linspace(1.0, 0.0, count)
    rows = np.swapaxes(relative_transition(1.0, left)[..., used, 3:], -1, -2)
    return np.ascontiguousarray(rows.reshape(len(allowed), 3 * count, len(used)))


def _best_costates(rows: Array, aim: Array) -> Array:
    """Maximize aim . costate with every sampled primer inside the unit ball: Newton on the logarithmic barrier."""
    cases, parts, unknowns = rows.shape
    by_time = rows.reshape(cases, parts // 3, 3, unknowns)
    costate, barrier = np.zeros((cases, unknowns)), np.ones(cases)

    def primers(at: Array) -> Array:
        return (rows @ at[:, :, None]).reshape(cases, -1, 3)

    for _ in range(NEWTON_STEPS):
        primer = primers(costate)
        room = 1.0 - (primer**2).sum(axis=2)
        push = (primer[:, :, None, :] @ by_time)[:, :, 0]
        gradient = aim - 2.0 * barrier[:, None] * (push / room[:, :, None]).sum(axis=1)
        weighted = rows / np.repeat(room, 3, axis=1)[:, :, None]
        sharp = push / room[:, :, None]
        hessian = np.swapaxes(weighted, 1, 2) @ rows + 2.0 * (np.swapaxes(sharp, 1, 2) @ sharp)
        step = np.linalg.solve(2.0 * barrier[:, None, None] * hessian, gradient[:, :, None])[:, :, 0]
        decrement = np.maximum((gradient * step).sum(axis=1), 0.0)
        near = decrement < NEAR_PATH * barrier
        if (near & (barrier <= BARRIER_END)).all():
            break
        length = np.where(near, 1.0, 1.0 / (1.0 + np.sqrt(decrement / barrier)))
        for _ in range(40):
            outside = (primers(costate + length[:, None] * step) ** 2).sum(axis=2).max(axis=1) >= 1.0
            if not outside.any():
                break
            length = np.where(outside, 0.5 * length, length)
        costate = costate + length[:, None] * step
        barrier = np.where(near, np.maximum(0.03 * barrier, BARRIER_END), barrier)
    return costate


def _longest(allowed: Array, used: NDArray[np.int64], costate: Array) -> Array:
    """A limit on the primer's length at all times, not only at samples, (B,).

    The parts of the primer are 1, t, cos t and sin t with known factors, so its rates are bounded; between samples a
    gap h apart its square rises at most by h^2 / 8 times the largest second derivative of the square.
    """
    full = np.zeros((len(allowed), 6))
    full[:, used] = costate
    swing = np.hypot(full[:, 0] - 2.0 * full[:, 4], 2.0 * full[:, 1] + full[:, 3])
    cross = np.hypot(full[:, 2], full[:, 5])
    first = np.sqrt(swing**2 + (2.0 * swing + 3.0 * np.abs(full[:, 1])) ** 2 + cross**2)
    second = np.sqrt(swing**2 + (2.0 * swing) ** 2 + cross**2)
    count = max(400, int(FINE_PER_RADIAN * allowed.max()))
    gap = allowed / (count - 1)
    square = np.empty(len(allowed))
    for index in range(len(allowed)):
        primer = (_primers(allowed[index : index + 1], used, count)[0] @ costate[index]).reshape(-1, 3)
        square[index] = (primer**2).sum(axis=1).max()
    bend = 2.0 * (first**2 + second * (np.sqrt(square) + first * gap))
    return np.asarray(np.sqrt(square + bend * gap**2 / 8.0))
