"""Newton's step on the barrier problem: derivatives, multipliers, curvature, and the step within the trust region.

Here the cases come first, and unknowns are counted in units of the trust region: radians of a burn's time, shares of
the cost of a burn's size.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...models.arrays import Array
from .barrier import Batch, Flown, Limits, burn_sizes, cost_gradient, flown
from .burn_chain import all_gradients, fly_chain, weighted_gradient
from .line_search import norm, within_reach

DIFFERENCE = 1e-7  # step of the differences, between rounding (1e-16) and the final rounding of circles
MULTIPLIER_SPREAD = 1e3  # how far a multiplier may lie from the barrier's own
LOOSE = 0.1  # radians from its limits within which a burn's time is moved the less to mend a miss


class Slopes(NamedTuple):
    """Derivatives with respect to the unknowns.

    ``unit`` (B, n) is what one of each unknown is in the chain's units; ``limits`` (B, rows, n), ``arrival`` (B, d, n)
    and ``closing`` (B, d, n), those of the limits, the miss and the last burn; ``of_last`` the last in the chain's
    units and order.
    """

    unit: Array
    limits: Array
    arrival: Array
    closing: Array
    of_last: Array


class Duals(NamedTuple):
    """The multipliers of the arrival, (B, d), the null space of its derivatives, (B, n, n - d), and the residual of
    the optimality conditions, (B,)."""

    costate: Array
    null: Array
    error: Array


class Step(NamedTuple):
    """A change of the unknowns, (B, n), and what it does to the limits and to their multipliers, (rows, B)."""

    move: Array
    moved: Array
    change: Array


def slopes_of(batch: Batch, here: Flown, limits: Limits) -> Slopes:
    """Derivatives where a batch is."""
    count = len(batch.index)
    of_miss, of_last, of_bounds = all_gradients(here.chain, here.bounds)
    rows = np.concatenate([np.broadcast_to(limits.linear[:, :, None], (*limits.linear.shape, count)), of_bounds])
    unit = np.ones((count, len(batch.unknowns)))
    unit[:, limits.burns :] = batch.scale[:, None]
    first, arrival, closing = (part.transpose(2, 0, 1) * unit[:, None] for part in (rows, of_miss, of_last))
    return Slopes(unit, first, arrival, closing, of_last)


def central(batch: Batch, here: Flown, limits: Limits) -> Batch:
    """The batch with its multipliers near the barrier's own, and those of elastic limits below the penalty."""
    own = batch.barrier / here.room
    multipliers = np.where(np.isnan(batch.multipliers), own, batch.multipliers)
    multipliers = np.clip(multipliers, own / MULTIPLIER_SPREAD, own * MULTIPLIER_SPREAD)
    highest = limits.penalty - np.minimum(0.5 * limits.penalty, (limits.penalty - own) / MULTIPLIER_SPREAD)
    return replace(batch, multipliers=np.where(limits.elastic, np.minimum(multipliers, highest), multipliers))


def duals_of(batch: Batch, here: Flown, limits: Limits, slopes: Slopes) -> Duals:
    """The costate that fits best, and by how much the optimality conditions are missed."""
    size, multipliers = batch.cases.size, batch.multipliers
    gradient = cost_gradient(here.chain, slopes.of_last, batch) * slopes.unit
    basis, corner = np.linalg.qr(np.swapaxes(slopes.arrival, 1, 2), mode="complete")
    corner, range_, null = corner[:, :size], basis[:, :, :size], basis[:, :, size:]
    residual = gradient - (slopes.limits * multipliers.T[:, :, None]).sum(axis=1)
    corner = corner + 1e-14 * np.abs(corner).max(axis=(1, 2))[:, None, None] * np.eye(size)
    costate = np.linalg.solve(corner, (np.swapaxes(range_, 1, 2) @ residual[:, :, None]))[:, :, 0]
    dual = residual - (slopes.arrival * costate[:, :, None]).sum(axis=1)
    apart = np.where(limits.elastic, here.stretch - batch.barrier / give(batch, limits), 0.0)
    off = [
        np.abs(dual).max(axis=1),
        np.abs(here.chain.miss).max(axis=0),
        np.abs(here.room * multipliers - batch.barrier).max(axis=0),
        np.abs(apart).max(axis=0),
    ]
    return Duals(costate, null, np.max(off, axis=0))


def give(batch: Batch, limits: Limits) -> Array:
    """How far the multipliers of elastic limits are below the penalty, (rows, B); 1 for the others."""
    return np.where(limits.elastic, limits.penalty - batch.multipliers, 1.0)


def homing_of(here: Flown, limits: Limits, slopes: Slopes) -> Array:
    """The shortest step that cancels a unit of miss, (B, n, d); burn times near their limits count as stiff."""
    loose = np.ones_like(slopes.unit)
    tight = np.minimum(1.0, here.room[: len(limits.linear)].T / LOOSE)
    for row, column in zip(*np.nonzero(limits.linear), strict=True):
        loose[:, column] = np.minimum(loose[:, column], tight[:, row])
    weighted = np.swapaxes(slopes.arrival * (loose**2)[:, None], 1, 2)
    gram = slopes.arrival @ weighted
    # a hair of the diagonal keeps flights whose burns have run together from stopping all others
    gram = gram + 1e-14 * np.trace(gram, axis1=1, axis2=2)[:, None, None] * np.eye(gram.shape[-1])
    return np.asarray(weighted @ np.linalg.inv(gram))


def newton_step(batch: Batch, here: Flown, limits: Limits, slopes: Slopes, duals: Duals, homing: Array) -> Step:
    """Towards the slot, and downhill along the null space of the arrival: each case within its trust region."""
    null, multipliers, reach = duals.null, batch.multipliers, batch.reach
    given = give(batch, limits)
    towards = -(homing @ here.chain.miss.T[:, :, None])[:, :, 0]
    directions = np.concatenate([null, towards[:, :, None]], axis=2)
    curved = _curvature(batch, here, limits, slopes, duals.costate, directions)
    stiffness = 1.0 / (here.room / multipliers + np.where(limits.elastic, here.stretch / given, 0.0))
    lack = here.values - batch.barrier / multipliers + np.where(limits.elastic, batch.barrier / given, 0.0)
    pushed = slopes.limits @ directions
    curved += np.swapaxes(slopes.limits, 1, 2) @ (stiffness.T[:, :, None] * pushed)
    hessian = np.swapaxes(null, 1, 2) @ curved[:, :, :-1]
    aimed = multipliers - stiffness * lack
    gradient = cost_gradient(here.chain, slopes.of_last, batch) * slopes.unit
    right = gradient - (slopes.limits * aimed.T[:, :, None]).sum(axis=1) + curved[:, :, -1]
    reduced = np.swapaxes(null, 1, 2) @ right[:, :, None]
    eigenvalues, vectors = np.linalg.eigh(0.5 * (hessian + np.swapaxes(hessian, 1, 2)))
    steepness = np.abs(eigenvalues)
    least = np.minimum(1e-6 * np.maximum(steepness.max(axis=1), 1e-3), 1e-2)
    steepness = np.maximum(steepness, least[:, None])
    pull = (np.swapaxes(vectors, 1, 2) @ reduced)[:, :, 0]
    towards *= np.minimum(1.0, reach / np.maximum(norm(towards), 1e-300))[:, None]
    along = -(vectors @ within_reach(pull, steepness, reach)[:, :, None])
    move = towards + (null @ along)[:, :, 0]
    moved = (slopes.limits @ move[:, :, None])[:, :, 0].T
    return Step(move, moved, -stiffness * (moved + lack))


def _curvature(batch: Batch, here: Flown, limits: Limits, slopes: Slopes, costate: Array, directions: Array) -> Array:
    """The Lagrangian's second derivative times the directions, (B, n, columns): exact for the sizes of the burns."""
    size, burns = batch.cases.size, limits.burns
    sizes = burn_sizes(here.chain, batch.burn)
    heading = here.chain.burns / sizes[:, None]
    real = directions * slopes.unit[:, :, None]
    curved = _differences(batch, here, limits, costate, heading[-1] / batch.scale, real) * slopes.unit[:, :, None]
    for index in range(burns):
        first = burns + index * size
        last = index == burns - 1
        kick = slopes.closing @ directions if last else real[:, first : first + size]
        ahead = heading[index].T[:, :, None]
        across = kick - ahead * (ahead * kick).sum(axis=1, keepdims=True)
        across = across / (sizes[index] * batch.scale)[:, None, None]
        if last:
            curved += np.swapaxes(slopes.closing, 1, 2) @ across
        else:
            curved[:, first : first + size] += across * slopes.unit[:, first : first + size, None]
    return curved


def _differences(batch: Batch, here: Flown, limits: Limits, costate: Array, on_last: Array, real: Array) -> Array:
    """Differences of the Lagrangian's gradient, but for the burns' own sizes, along directions in the chain's units."""
    weights = -batch.multipliers[len(limits.linear) :]
    base = weighted_gradient(here.chain, -costate.T, on_last, here.bounds, weights)
    columns = real.shape[2]
    lengths = np.maximum(np.sqrt((real**2).sum(axis=1)), 1e-12)
    # cases run fastest: (n, columns * B)
    shifts = (DIFFERENCE * real / lengths[:, None]).transpose(1, 2, 0)
    shifted = (batch.unknowns[:, None] + shifts).reshape(len(batch.unknowns), -1)
    part = batch.take(np.tile(np.arange(len(batch.index)), columns))
    other = fly_chain(part.cases, shifted, limits.burns)
    gradient = weighted_gradient(
        other,
        np.tile(-costate.T, columns),
        np.tile(on_last, columns),
        flown(part, limits, other).bounds,
        np.tile(weights, columns),
    )
    difference = (gradient.reshape(len(base), columns, -1) - base[:, None]) / DIFFERENCE
    return np.asarray(difference.transpose(2, 0, 1) * lengths[:, None])
