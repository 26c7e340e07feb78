"""Steps kept within a trust region, and shortened until the merit falls."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...models.arrays import Array
from .barrier import Batch, Limits, flown, merit_of
from .burn_chain import Chain, fly_chain

HALVINGS = 5
SMALL = 40  # cases, up to which all lengths of a step are tried at once: so few cost little more than one
CHORDS = 3  # corrections of the arrival after each trial step
SHORTER = 0.3
SHIFTS = 25  # bisections for the trust region's multiplier


def norm(rows: Array) -> Array:
    """Length of each row."""
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", rows, rows)))


def within_reach(pull: Array, steepness: Array, reach: Array) -> Array:
    """Newton's step in the eigenvectors' axes, each case shifted so that it stays within its trust region."""
    full = pull / steepness
    tight = norm(full) > reach
    if not tight.any():
        return np.asarray(full)
    high = norm(pull) / reach
    low = np.zeros_like(high)
    for _ in range(SHIFTS):
        middle = 0.5 * (low + high)
        outside = norm(pull / (steepness + middle[:, None])) > reach
        low, high = np.where(outside, middle, low), np.where(outside, high, middle)
    return np.asarray(np.where(tight[:, None], pull / (steepness + high[:, None]), full))


class Taken(NamedTuple):
    """Flights after a step: the unknowns, the flights as flown (None if not in one piece), the share of it taken."""

    unknowns: Array
    chain: Chain | None
    length: Array


def search(batch: Batch, limits: Limits, before: Array, step: Array, full: Array, homing: Array) -> Taken:
    """Shorten each step until the merit falls; all lengths of a small batch are tried together.

    Args:
        batch: where the steps begin.
        limits: of the batch.
        before: merit there, (B,).
        step: change of the unknowns, (B, n).
        full: largest share of it to be taken, (B,).
        homing: change of the unknowns that cancels a unit of miss, (B, n, d).
    """
    pending = np.arange(len(batch.index))
    unknowns, length = batch.unknowns.copy(), full.copy()
    together = HALVINGS if len(pending) <= SMALL else 1
    for first in range(0, HALVINGS, together):
        copies = np.tile(pending, together)
        shares = np.repeat(SHORTER ** np.arange(first, first + together), len(pending))
        part = batch if len(copies) == len(batch.index) else batch.take(copies)
        trial = part.unknowns + ((full[copies] * shares)[:, None] * step[copies]).T
        trial, chain = _arriving(part, limits, trial, homing[copies])
        merit = merit_of(flown(part, limits, chain), part, limits)
        good = (merit <= before[copies] + 1e-10).reshape(together, len(pending))
        if first + together == HALVINGS:
            # a step that helps at no length is taken at the least one: the next model is another
            good[-1] |= np.isfinite(merit[-len(pending) :])
        found, which = good.any(axis=0), np.argmax(good, axis=0)
        column = which * len(pending) + np.arange(len(pending))
        unknowns[:, pending[found]] = trial[:, column[found]]
        length[pending] = full[pending] * SHORTER ** np.where(found, first + which, first + together)
        if found.all():
            whole = len(pending) == len(batch.index)
            return Taken(unknowns, chain.take(column) if whole else None, length)
        pending = pending[~found]
    return Taken(unknowns, None, length)


def _arriving(part: Batch, limits: Limits, trial: Array, homing: Array) -> tuple[Array, Chain]:
    """Trial flights with what they miss mended by a few chords."""
    chain = fly_chain(part.cases, trial, limits.burns)
    for _ in range(CHORDS):
        if np.abs(chain.miss).max() < 1e-9:
            break
        fix = -(homing @ chain.miss.T[:, :, None])[:, :, 0]
        fix *= np.minimum(1.0, 0.3 / np.maximum(np.abs(fix).max(axis=1), 1e-300))[:, None]
        trial = trial + fix.T
        chain = fly_chain(part.cases, trial, limits.burns)
    return trial, chain
