"""Local optima of the time-limited rendezvous, many cases at once.

A primal-dual interior-point Newton method (Nocedal and Wright 2006, *Numerical Optimization*, 2nd ed., chapter 19),
each case with its own barrier: burn times are held by a logarithmic barrier, radius limits are elastic with an exact
penalty, so that a start that breaks them still converges, and the arrival is kept by steps in the null space of its
derivatives with a chord correction after each. Curvature is exact for the burns' sizes and from differences of exact
gradients for the rest; directions of negative curvature are followed downhill (absolute eigenvalues). Corners are
rounded while far from the optimum: the size of a burn at zero, and the apsides at a circle.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.deadline import poll
from .barrier import (
    Batch,
    Limits,
    Schedule,
    bounds_of,
    burn_sizes,
    cost_gradient,
    inside,
    limits_of,
    merit_of,
    slacks,
    values_of,
)
from .burn_chain import Bound, Cases, Chain, Mask, all_gradients, fly_chain, weighted_gradient
from .line_search import norm, search, within_reach

DIFFERENCE = 1e-7  # step of the differences, between rounding (1e-16) and the final rounding of circles
NOISE = 1e-6  # of the optimality conditions, from those differences
TO_BOUNDARY = 0.995  # share of the way to a bound that one step may take
MULTIPLIER_SPREAD = 1e3  # how far a multiplier may lie from the barrier's own
SOUND = 3e-3  # miss and breach, in ring radii, below which the cost of a guess means something
LOOK_BACK = 5  # steps over which a guess's gain is measured, and how many more it is trusted to go on so
LOOK_AHEAD = 30
SAME = 1e-4  # share of the cost within which two flights are taken to come to one optimum, and none is a gain
PATIENCE = 5  # steps before a guess may be given up for a better rival
FIRST_REACH = 0.5  # trust region at first and at most: radians of a burn's time, shares of the cost of a burn's size
MOST_REACH = 3.0
LOOSE = 0.1  # radians from its limits within which a burn's time is moved the less to mend a miss


class Polished(NamedTuple):
    """Local optima, or how far a case came: arrays over B cases, multipliers of the scaled cost.

    ``error`` is the residual of the optimality conditions, ``shortfall`` the worst breach of a radius limit,
    ``miss`` the distance from the slot; ``on_arrival`` (d, B) and ``on_bounds`` (rows, B) are the multipliers, in
    units of speed, of the miss and of the radius limits.
    """

    unknowns: Array
    cost: Array
    miss: Array
    shortfall: Array
    error: Array
    on_arrival: Array
    on_bounds: Array
    iterations: NDArray[np.int64]


def polish(
    cases: Cases,
    unknowns: Array,
    burns: int,
    schedule: Schedule | None = None,
    rivals: NDArray[np.int64] | None = None,
    known: Array | None = None,
) -> Polished:
    """Improve flights to local optima.

    Args:
        cases: B questions.
        unknowns: first guesses, (n, B), which need not arrive nor keep the limits.
        burns: N.
        schedule: how the barrier is lowered.
        rivals: which cases, by equal numbers, are guesses at the same question: those that fall behind the best of
            them are given up.
        known: cost that is reached already for each question, by its number in ``rivals``; guesses that fall behind it
            are given up, too.

    Returns:
        One local optimum for each case; ``error`` tells whether it is one.
    """
    schedule = schedule or Schedule()
    limits, cases = limits_of(cases, burns, schedule)
    unknowns = unknowns.copy()
    unknowns[:burns] = inside(unknowns[:burns], cases, schedule.margin)
    count = len(cases)
    chain = fly_chain(cases, unknowns, burns)
    scale = np.maximum(chain.cost, 1e-9)
    full = np.ones(count)
    rows = len(limits.elastic)
    batch = Batch(
        index=np.arange(count),
        unknowns=unknowns,
        multipliers=np.full((rows, count), np.nan),
        barrier=schedule.barrier * full,
        burn=schedule.burn * scale,
        circle=schedule.circle * full,
        weight=10.0 * full,
        scale=scale,
        reach=FIRST_REACH * full,
        chain=chain,
    )
    result = Polished(
        unknowns,
        np.full(count, np.inf),
        np.full(count, np.inf),
        np.full(count, np.inf),
        np.full(count, np.inf),
        np.zeros((cases.size, count)),
        np.zeros((rows - len(limits.linear), count)),
        np.zeros(count, dtype=np.int64),
    )
    history: list[Array] = []
    if known is None:
        known = np.full(1 if rivals is None else int(rivals.max()) + 1, np.inf)
    settled = np.zeros(count, dtype=np.bool_)
    for iteration in range(schedule.iterations + 1):
        poll()
        final = iteration == schedule.iterations
        done = _iterate(cases, batch, burns, limits, schedule, result, final=final)
        result.iterations[batch.index] = iteration
        if final or done.all():
            break
        history.append(result.cost.copy())
        if rivals is not None and iteration >= PATIENCE:
            settled[batch.index] = done
            done |= _behind(result, history[-1 - LOOK_BACK], settled, rivals, known, iteration)[batch.index]
            if done.all():
                break
        if done.any():
            batch, cases = batch.take(~done), cases.take(~done)
    return result


def _behind(
    result: Polished, earlier: Array, settled: Mask, rivals: NDArray[np.int64], known: Array, iteration: int
) -> Mask:
    """Guesses that cannot be expected to beat the best rival or what is known.

    Those that nearly keep arrival and limits are given up where they cost more by a margin that narrows with the
    steps made, where the last few steps gained too little for the gap that is left, or where they come to a cost that
    a settled rival has; those that do not are, when they have had their time and are no cheaper.
    """
    sound = (result.shortfall < SOUND) & (result.miss < SOUND)
    best = known.copy()
    reached = best.copy()
    np.minimum.at(best, rivals[sound], result.cost[sound])
    np.minimum.at(reached, rivals[settled], result.cost[settled])
    gap = result.cost - best[rivals]
    behind = gap > best[rivals] * max(0.03, 1.5 * 0.88**iteration)
    if iteration >= 2 * LOOK_BACK:
        # what is known already must be beaten by something
        need = gap + np.where((best == known) & np.isfinite(known), SAME * best, 0.0)[rivals]
        behind |= (gap > 1e-5 * best[rivals]) & (earlier - result.cost < need * LOOK_BACK / LOOK_AHEAD)
        behind |= np.abs(result.cost - reached[rivals]) < SAME * result.cost
    behind &= sound
    if iteration >= 3 * LOOK_BACK:
        behind |= ~sound & (1.15 * result.cost > best[rivals])
    return np.asarray(behind)


def _iterate(
    cases: Cases, batch: Batch, burns: int, limits: Limits, schedule: Schedule, result: Polished, *, final: bool
) -> Mask:
    """Record where the batch is and move it by one step, in place; tells which cases need no further one."""
    size, straight = cases.size, len(limits.linear)
    chain = batch.chain or fly_chain(cases, batch.unknowns, burns)
    bounds = bounds_of(cases, chain, batch.circle, limits)
    values = values_of(cases, chain, bounds, limits)
    of_miss, of_last, of_bounds = all_gradients(chain, bounds)
    room, stretch = slacks(values, batch.barrier, limits)
    central = batch.barrier / room
    multipliers = np.where(np.isnan(batch.multipliers), central, batch.multipliers)
    multipliers = np.clip(multipliers, central / MULTIPLIER_SPREAD, central * MULTIPLIER_SPREAD)
    highest = limits.penalty - np.minimum(0.5 * limits.penalty, (limits.penalty - central) / MULTIPLIER_SPREAD)
    multipliers = np.where(limits.elastic[:, None], np.minimum(multipliers, highest), multipliers)
    slopes = np.concatenate(
        [np.broadcast_to(limits.linear[:, :, None], (*limits.linear.shape, len(batch.index))), of_bounds]
    )
    # from here on unknowns are counted in units of the trust region: radians, and shares of the cost
    unit = np.ones((len(batch.index), len(batch.unknowns)))
    unit[:, burns:] = batch.scale[:, None]
    slopes = np.moveaxis(slopes, -1, 0) * unit[:, None]
    arrival = np.moveaxis(of_miss, -1, 0) * unit[:, None]
    closing = np.moveaxis(of_last, -1, 0) * unit[:, None]

    gradient = cost_gradient(chain, of_last, batch) * unit
    basis, corner = np.linalg.qr(np.swapaxes(arrival, 1, 2), mode="complete")
    corner, range_, null = corner[:, :size], basis[:, :, :size], basis[:, :, size:]
    residual = gradient - (slopes * multipliers.T[:, :, None]).sum(axis=1)
    corner = corner + 1e-14 * np.abs(corner).max(axis=(1, 2))[:, None, None] * np.eye(size)
    costate = np.linalg.solve(corner, (np.swapaxes(range_, 1, 2) @ residual[:, :, None]))[:, :, 0]
    dual = residual - (arrival * costate[:, :, None]).sum(axis=1)
    give = np.where(limits.elastic[:, None], limits.penalty - multipliers, 1.0)
    apart = np.where(limits.elastic[:, None], stretch - batch.barrier / give, 0.0)
    error = np.max(
        [
            np.abs(dual).max(axis=1),
            np.abs(chain.miss).max(axis=0),
            np.abs(room * multipliers - batch.barrier).max(axis=0),
            np.abs(apart).max(axis=0),
        ],
        axis=0,
    )
    where = batch.index
    result.unknowns[:, where] = batch.unknowns
    result.cost[where] = chain.cost
    result.miss[where] = np.sqrt((chain.miss**2).sum(axis=0))
    result.shortfall[where] = np.maximum(-values[straight:], 0.0).max(axis=0, initial=0.0)
    result.error[where] = error
    result.on_arrival[:, where] = (costate * batch.scale[:, None]).T
    result.on_bounds[:, where] = multipliers[straight:] * batch.scale
    done: Mask = (error < max(10.0 * schedule.barrier_end, NOISE)) & (batch.barrier <= 1.001 * schedule.barrier_end)
    batch.multipliers = multipliers
    if final or done.all():
        return done

    if (lower := error < np.maximum(10.0 * batch.barrier, NOISE)).any():
        sharper = np.maximum(schedule.barrier_end, np.minimum(0.2 * batch.barrier, batch.barrier**1.5))
        batch.barrier = np.where(lower, sharper, batch.barrier)
        burn = np.clip(0.3 * np.sqrt(batch.barrier), schedule.burn_end, schedule.burn) * batch.scale
        batch.burn = np.where(lower, burn, batch.burn)
        circle = np.clip(batch.barrier, schedule.circle_end, schedule.circle)
        batch.circle = np.where(lower, circle, batch.circle)
        if bounds:
            bounds = bounds_of(cases, chain, batch.circle, limits)
            values = values_of(cases, chain, bounds, limits)
        room, stretch = slacks(values, batch.barrier, limits)
        gradient = cost_gradient(chain, of_last, batch) * unit

    # towards the slot: the shortest step that cancels the miss, burn times near their limits counting as stiff
    loose = np.ones_like(unit)
    tight = np.minimum(1.0, room[:straight].T / LOOSE)
    for row, column in zip(*np.nonzero(limits.linear), strict=True):
        loose[:, column] = np.minimum(loose[:, column], tight[:, row])
    weighted = np.swapaxes(arrival * (loose**2)[:, None], 1, 2)
    gram = arrival @ weighted
    # a hair of the diagonal keeps flights whose burns have run together from stopping all others
    gram = gram + 1e-14 * np.trace(gram, axis1=1, axis2=2)[:, None, None] * np.eye(size)
    homing = weighted @ np.linalg.inv(gram)
    towards = -(homing @ chain.miss.T[:, :, None])[:, :, 0]
    directions = np.concatenate([null, towards[:, :, None]], axis=2)
    curved = _curvature(cases, batch, burns, limits, chain, bounds, costate, closing, directions, unit)
    stiffness = 1.0 / (room / multipliers + np.where(limits.elastic[:, None], stretch / give, 0.0))
    lack = values - batch.barrier / multipliers + np.where(limits.elastic[:, None], batch.barrier / give, 0.0)
    pushed = slopes @ directions
    curved += np.swapaxes(slopes, 1, 2) @ (stiffness.T[:, :, None] * pushed)
    hessian = np.swapaxes(null, 1, 2) @ curved[:, :, :-1]
    aimed = multipliers - stiffness * lack
    right = gradient - (slopes * aimed.T[:, :, None]).sum(axis=1) + curved[:, :, -1]
    reduced = np.swapaxes(null, 1, 2) @ right[:, :, None]
    eigenvalues, vectors = np.linalg.eigh(0.5 * (hessian + np.swapaxes(hessian, 1, 2)))
    steepness = np.abs(eigenvalues)
    least = np.minimum(1e-6 * np.maximum(steepness.max(axis=1), 1e-3), 1e-2)
    steepness = np.maximum(steepness, least[:, None])
    pull = (np.swapaxes(vectors, 1, 2) @ reduced)[:, :, 0]
    towards *= np.minimum(1.0, batch.reach / np.maximum(norm(towards), 1e-300))[:, None]
    along = -(vectors @ within_reach(pull, steepness, batch.reach)[:, :, None])
    step = towards + (null @ along)[:, :, 0]

    moved = (slopes @ step[:, :, None])[:, :, 0].T
    change = -stiffness * (moved + lack)
    length = np.ones(len(batch.index))
    with np.errstate(divide="ignore"):
        hit = np.where((moved < 0.0) & ~limits.elastic[:, None], -TO_BOUNDARY * room / moved, np.inf)
        low = np.where(change < 0.0, -TO_BOUNDARY * multipliers / change, np.inf)
        high = np.where((change > 0.0) & limits.elastic[:, None], TO_BOUNDARY * give / change, np.inf)
    length = np.minimum(length, hit.min(axis=0))
    first_length = length.copy()
    share = np.minimum(1.0, np.minimum(low, high).min(axis=0))
    batch.multipliers = multipliers + share * change
    batch.weight = np.maximum(batch.weight, 2.0 * np.minimum(np.abs(costate).max(axis=1), 1e3))
    before = merit_of(chain, values, batch, limits)
    search(cases, batch, burns, limits, before, step * unit, length, homing * unit[:, :, None])
    shortened = length < 0.999 * first_length
    wider = np.minimum(MOST_REACH, 2.0 * batch.reach)
    batch.reach = np.where(
        shortened, np.maximum(length * norm(step), 1e-4), np.where(norm(step) > 0.8 * batch.reach, wider, batch.reach)
    )
    return done


def _curvature(
    cases: Cases,
    batch: Batch,
    burns: int,
    limits: Limits,
    chain: Chain,
    bounds: list[Bound],
    costate: Array,
    closing: Array,
    directions: Array,
    unit_step: Array,
) -> Array:
    """The Lagrangian's second derivative times the directions, (B, n, columns), both in units of ``unit_step``."""
    size, straight = cases.size, len(limits.linear)
    sizes = burn_sizes(chain, batch.burn)
    unit = chain.burns / sizes[:, None]
    on_last = unit[-1] / batch.scale
    weights = -batch.multipliers[straight:]
    base = weighted_gradient(chain, -costate.T, on_last, bounds, weights)
    columns = directions.shape[2]
    real = directions * unit_step[:, :, None]
    lengths = np.maximum(np.sqrt((real**2).sum(axis=1)), 1e-12)
    # cases run fastest: (n, columns * B)
    shifts = (DIFFERENCE * real / lengths[:, None]).transpose(1, 2, 0)
    shifted = (batch.unknowns[:, None] + shifts).reshape(len(batch.unknowns), -1)
    copies = np.tile(np.arange(len(batch.index)), columns)
    there = cases.take(copies)
    other = fly_chain(there, shifted, burns)
    gradient = weighted_gradient(
        other,
        np.tile(-costate.T, columns),
        np.tile(on_last, columns),
        bounds_of(there, other, batch.circle[copies], limits),
        np.tile(weights, columns),
    )
    difference = (gradient.reshape(len(base), columns, -1) - base[:, None]) / DIFFERENCE
    curved: Array = difference.transpose(2, 0, 1) * lengths[:, None] * unit_step[:, :, None]
    # the sizes of the burns, exactly
    for index in range(burns):
        first = burns + index * size
        kick = closing @ directions if index == burns - 1 else real[:, first : first + size]
        heading = unit[index].T[:, :, None]
        across = kick - heading * (heading * kick).sum(axis=1, keepdims=True)
        across = across / (sizes[index] * batch.scale)[:, None, None]
        if index == burns - 1:
            curved += np.swapaxes(closing, 1, 2) @ across
        else:
            curved[:, first : first + size] += across * unit_step[:, first : first + size, None]
    return curved
