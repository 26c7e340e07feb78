"""Guesses by orbits that return to the point of the ring where they begin."""

from __future__ import annotations

import numpy as np

from ...models.kepler import propagate
from ...models.units import TWO_PI as TURN
from .question import Guess, Question, from_local


def tangents(question: Question, keep: int = 4) -> list[Guess]:
    """Two burns at one point of the ring: phasing orbits that return to it when the slot is there.

    From the ring the first burn comes at once; else where the craft's own orbit crosses or touches the ring within
    the allowed time. At a touch both burns are along the ring; at a crossing the direction of the phasing orbit is
    the best of a fan between the arriving and the ring's.
    """
    found = []
    for time in _ring_touches(question):
        position, velocity = (part.ravel() for part in propagate(question.position, question.velocity, time))
        position = position / np.hypot(*position)
        angle = float(np.arctan2(position[1], position[0]))
        circular = np.array([-position[1], position[0]])
        first_wait = (angle - question.slot_angle - time) % TURN
        waits = first_wait + TURN * np.arange(int(max(0.0, question.allowed - time - first_wait) / TURN) + 1)
        waits = waits[(waits > 0.1) & (waits <= question.allowed - time)]
        most = (waits / TURN * 2.5).astype(np.int64) + 1
        wait = np.repeat(waits, most)
        turns = np.arange(most.sum()) - np.repeat(np.cumsum(most) - most, most) + 1
        inverse = (TURN * turns / wait) ** (2.0 / 3.0)
        other = 2.0 / inverse - 1.0
        near = (other >= max(question.floor - 0.05, 0.05)) & (other <= question.ceiling + 0.05)
        wait, inverse, other = wait[near], inverse[near], other[near]
        fan = np.linspace(0.0, 1.0, 9)[:, None]
        heading = (1.0 - fan) * velocity / np.hypot(*velocity) + fan * circular
        heading = heading / np.hypot(*heading.T)[:, None]
        # (orbits, directions, 2)
        flown = np.sqrt(2.0 - inverse)[:, None, None] * heading
        costs = np.linalg.norm(flown - velocity, axis=-1) + np.linalg.norm(circular - flown, axis=-1)
        best = np.argmin(costs, axis=1)
        keeps = (question.floor <= other) & (other <= question.ceiling)
        for i in np.argsort(costs[np.arange(len(wait)), best], kind="stable")[:keep]:
            times, kick = np.array([time, time + wait[i]]), (flown[i, best[i]] - velocity)[None]
            found.append(Guess("tangent orbit", times, kick, float(costs[i, best[i]]), bool(keeps[i])))
    return sorted(found, key=lambda guess: guess.cost)[:keep]


def split_tangents(question: Question, keep: int = 3) -> list[Guess]:
    """Four burns from the ring: both burns of a tangent orbit in halves, the time to spare between the halves."""
    found = []
    for guess in tangents(question, 2 * keep):
        spare = question.allowed - float(guess.times[1])
        if 0.02 * TURN < spare < 0.9 * TURN and 2.0 * spare < question.allowed:
            half = 0.5 * float(guess.kicks[0, 1])
            times = np.array([0.0, spare, question.allowed - spare, question.allowed])
            local = np.array([[0.0, half], [0.0, half], [0.0, -half]])
            found.append(Guess("split tangent orbit", times, from_local(question, times, local)))
    return found[:keep]


def _ring_touches(question: Question, samples: int = 600, most: int = 6) -> list[float]:
    """Times at which the craft's own orbit crosses the ring, or touches it to a thousandth, before it must burn."""
    if question.on_ring:
        return [0.0]
    last = min(question.latest_first, question.allowed)
    times = np.linspace(0.0, last, samples)
    position, _ = propagate(question.position, question.velocity, times)
    height = np.hypot(*position.T) - 1.0
    size = np.abs(height)
    near = np.flatnonzero((size[1:-1] <= size[:-2]) & (size[1:-1] <= size[2:]) & (size[1:-1] < 0.05)) + 1
    found = []
    for i in near:
        low, high = times[i - 1], times[i + 1]
        for _ in range(4):
            fine = np.linspace(low, high, 41)
            there, _ = propagate(question.position, question.velocity, fine)
            at = int(np.argmin(np.abs(np.hypot(*there.T) - 1.0)))
            low, high = fine[max(at - 1, 0)], fine[min(at + 1, 40)]
        there, _ = propagate(question.position, question.velocity, fine[at])
        if abs(np.hypot(*there) - 1.0) < 1e-3:
            found.append(float(fine[at]))
    return found[:most]
