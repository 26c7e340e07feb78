"""Local optima of the time-limited rendezvous, many cases at once.

A primal-dual interior-point Newton method (Nocedal and Wright 2006, *Numerical Optimization*, 2nd ed., chapter 19),
each case with its own barrier: burn times are held by a logarithmic barrier, radius limits are elastic with an exact
penalty, so that a start that breaks them still converges, and the arrival is kept by steps in the null space of its
derivatives with a chord correction after each. Curvature is exact for the burns' sizes and from differences of exact
gradients for the rest; directions of negative curvature are followed downhill (absolute eigenvalues). Corners are
rounded while far from the optimum: the size of a burn at zero, and the apsides at a circle.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.deadline import poll
from .barrier import Batch, Flown, Limits, Schedule, flown, inside, limits_of, merit_of
from .burn_chain import Cases, Mask, fly_chain
from .line_search import norm, search
from .newton_step import Duals, Step, central, duals_of, give, homing_of, newton_step, slopes_of

NOISE = 1e-6  # of the optimality conditions, from those differences
TO_BOUNDARY = 0.995  # share of the way to a bound that one step may take
SOUND = 3e-3  # miss and breach, in ring radii, below which the cost of a guess means something
LOOK_BACK = 5  # steps over which a guess's gain is measured, and how many more it is trusted to go on so
LOOK_AHEAD = 30
SAME = 1e-4  # share of the cost within which two flights are taken to come to one optimum, and none is a gain
PATIENCE = 5  # steps before a guess may be given up for a better rival
FIRST_REACH = 0.5  # trust region at first and at most: radians of a burn's time, shares of the cost of a burn's size
MOST_REACH = 3.0


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
        One local optimum for each case; ``error`` is its residual, small where it is one.
    """
    schedule = schedule or Schedule()
    limits, cases = limits_of(cases, burns, schedule)
    batch = _begun(cases, unknowns, limits, schedule)
    result = _nothing_known(batch, limits)
    history: list[Array] = []
    if known is None:
        known = np.full(1 if rivals is None else int(rivals.max()) + 1, np.inf)
    settled = np.zeros(len(cases), dtype=np.bool_)
    for iteration in range(schedule.iterations + 1):
        poll()
        final = iteration == schedule.iterations
        result.iterations[batch.index] = iteration
        batch, done = _advanced(batch, limits, schedule, result, final=final)
        if final or done.all():
            break
        history.append(result.cost.copy())
        if rivals is not None and iteration >= PATIENCE:
            settled[batch.index] = done
            done |= _behind(result, history[-1 - LOOK_BACK], settled, rivals, known, iteration)[batch.index]
            if done.all():
                break
        if done.any():
            batch = batch.take(~done)
    return result


def _begun(cases: Cases, unknowns: Array, limits: Limits, schedule: Schedule) -> Batch:
    """First guesses with their burns in order, before the first step."""
    burns, full = limits.burns, np.ones(len(cases))
    unknowns = unknowns.copy()
    unknowns[:burns] = inside(unknowns[:burns], cases, schedule.margin)
    chain = fly_chain(cases, unknowns, burns)
    scale = np.maximum(chain.cost, 1e-9)
    return Batch(
        cases=cases,
        index=np.arange(len(cases)),
        unknowns=unknowns,
        multipliers=np.full((len(limits.elastic), len(cases)), np.nan),
        barrier=schedule.barrier * full,
        burn=schedule.burn * scale,
        circle=schedule.circle * full,
        weight=10.0 * full,
        scale=scale,
        reach=FIRST_REACH * full,
        chain=chain,
    )


def _nothing_known(batch: Batch, limits: Limits) -> Polished:
    count = len(batch.index)
    return Polished(
        unknowns=batch.unknowns.copy(),
        cost=np.full(count, np.inf),
        miss=np.full(count, np.inf),
        shortfall=np.full(count, np.inf),
        error=np.full(count, np.inf),
        on_arrival=np.zeros((batch.cases.size, count)),
        on_bounds=np.zeros((len(limits.elastic) - len(limits.linear), count)),
        iterations=np.zeros(count, dtype=np.int64),
    )


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


def _advanced(batch: Batch, limits: Limits, schedule: Schedule, result: Polished, *, final: bool) -> tuple[Batch, Mask]:
    """The batch after one step, and which cases need no further one; where it was is written into ``result``."""
    chain = batch.chain or fly_chain(batch.cases, batch.unknowns, limits.burns)
    here = flown(batch, limits, chain)
    slopes = slopes_of(batch, here, limits)
    batch = central(batch, here, limits)
    duals = duals_of(batch, here, limits, slopes)
    _record(result, batch, here, limits, duals)
    done: Mask = (duals.error < max(10.0 * schedule.barrier_end, NOISE)) & (
        batch.barrier <= 1.001 * schedule.barrier_end
    )
    if final or done.all():
        return batch, done
    lower = duals.error < np.maximum(10.0 * batch.barrier, NOISE)
    if lower.any():
        batch = _sharpened(batch, lower, schedule)
        here = flown(batch, limits, chain)
    homing = homing_of(here, limits, slopes)
    step = newton_step(batch, here, limits, slopes, duals, homing)
    weight = np.maximum(batch.weight, 2.0 * np.minimum(np.abs(duals.costate).max(axis=1), 1e3))
    full, share = _room_for(batch, here, limits, step)
    multipliers = batch.multipliers + share * step.change
    batch = replace(batch, multipliers=multipliers, weight=weight)
    before = merit_of(here, batch, limits)
    taken = search(batch, limits, before, step.move * slopes.unit, full, homing * slopes.unit[:, :, None])
    size = norm(step.move)
    wider = np.where(size > 0.8 * batch.reach, np.minimum(MOST_REACH, 2.0 * batch.reach), batch.reach)
    reach = np.where(taken.length < 0.999 * full, np.maximum(taken.length * size, 1e-4), wider)
    return replace(batch, unknowns=taken.unknowns, chain=taken.chain, reach=reach), done


def _record(result: Polished, batch: Batch, here: Flown, limits: Limits, duals: Duals) -> None:
    where, straight, chain = batch.index, len(limits.linear), here.chain
    result.unknowns[:, where] = batch.unknowns
    result.cost[where] = chain.cost
    result.miss[where] = np.sqrt((chain.miss**2).sum(axis=0))
    result.shortfall[where] = np.maximum(-here.values[straight:], 0.0).max(axis=0, initial=0.0)
    result.error[where] = duals.error
    result.on_arrival[:, where] = (duals.costate * batch.scale[:, None]).T
    result.on_bounds[:, where] = batch.multipliers[straight:] * batch.scale


def _sharpened(batch: Batch, lower: Mask, schedule: Schedule) -> Batch:
    """The batch with a lower barrier and sharper corners where ``lower``."""
    sharper = np.maximum(schedule.barrier_end, np.minimum(0.2 * batch.barrier, batch.barrier**1.5))
    barrier = np.where(lower, sharper, batch.barrier)
    burn = np.clip(0.3 * np.sqrt(barrier), schedule.burn_end, schedule.burn) * batch.scale
    circle = np.clip(barrier, schedule.circle_end, schedule.circle)
    return replace(
        batch,
        barrier=barrier,
        burn=np.where(lower, burn, batch.burn),
        circle=np.where(lower, circle, batch.circle),
    )


def _room_for(batch: Batch, here: Flown, limits: Limits, step: Step) -> tuple[Array, Array]:
    """The shares of a step, (B,), by which unknowns and multipliers stay inside their limits."""
    multipliers, moved, change = batch.multipliers, step.moved, step.change
    with np.errstate(divide="ignore"):
        hit = np.where((moved < 0.0) & ~limits.elastic, -TO_BOUNDARY * here.room / moved, np.inf)
        low = np.where(change < 0.0, -TO_BOUNDARY * multipliers / change, np.inf)
        high = np.where((change > 0.0) & limits.elastic, TO_BOUNDARY * give(batch, limits) / change, np.inf)
    return np.minimum(1.0, hit.min(axis=0)), np.minimum(1.0, np.minimum(low, high).min(axis=0))
