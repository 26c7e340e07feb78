"""Steps kept within a trust region, and shortened until the merit falls."""

from __future__ import annotations

import numpy as np

from ...models.arrays import Array
from .barrier import (
    Batch,
    Limits,
    bounds_of,
    merit_of,
    values_of,
)
from .burn_chain import Cases, fly_chain

HALVINGS = 5


SMALL = 40  # cases, up to which all lengths of a step are tried at once: so few cost little more than one


CHORDS = 3  # corrections of the arrival after each trial step


SHORTER = 0.3


SHIFTS = 25  # bisections for the trust region's multiplier


def norm(rows: Array) -> Array:
    return np.asarray(np.sqrt((rows**2).sum(axis=1)))


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


def search(
    cases: Cases,
    batch: Batch,
    burns: int,
    limits: Limits,
    before: Array,
    step: Array,
    length: Array,
    homing: Array,
) -> None:
    """Shorten each step until the merit falls, and take it; all lengths of a small batch are tried together."""
    pending = np.arange(len(batch.index))
    unknowns = batch.unknowns.copy()
    batch.chain = None
    full = length.copy()
    together = HALVINGS if len(pending) <= SMALL else 1
    for first in range(0, HALVINGS, together):
        copies = np.tile(pending, together)
        shares = np.repeat(SHORTER ** np.arange(first, first + together), len(pending))
        part = batch if len(copies) == len(batch.index) else batch.take(copies)
        there = cases if part is batch else cases.take(copies)
        trial = part.unknowns + ((full[copies] * shares)[:, None] * step[copies]).T
        chain = fly_chain(there, trial, burns)
        for _ in range(CHORDS):
            if np.abs(chain.miss).max() < 1e-9:
                break
            fix = -(homing[copies] @ chain.miss.T[:, :, None])[:, :, 0]
            fix *= np.minimum(1.0, 0.3 / np.maximum(np.abs(fix).max(axis=1), 1e-300))[:, None]
            trial = trial + fix.T
            chain = fly_chain(there, trial, burns)
        values = values_of(there, chain, bounds_of(there, chain, part.circle, limits), limits)
        merit = merit_of(chain, values, part, limits)
        good = (merit <= before[copies] + 1e-10).reshape(together, len(pending))
        if first + together == HALVINGS:
            # a step that helps at no length is taken at the least one: the next model is another
            good[-1] |= np.isfinite(merit[-len(pending) :])
        found, which = good.any(axis=0), np.argmax(good, axis=0)
        column = which * len(pending) + np.arange(len(pending))
        unknowns[:, pending[found]] = trial[:, column[found]]
        length[pending] = full[pending] * SHORTER ** np.where(found, first + which, first + together)
        if found.all():
            batch.chain = chain.take(column) if len(pending) == len(batch.index) else None
            break
        pending = pending[~found]
    batch.unknowns = unknowns
