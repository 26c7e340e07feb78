"""Local optima of the time-limited rendezvous, many cases at once.

A primal-dual interior-point Newton method (Nocedal and Wright 2006, *Numerical Optimization*, 2nd ed., chapter 19),
each case with its own barrier: burn times are held by a logarithmic barrier, radius limits are elastic with an exact
penalty, so that a start that breaks them still converges, and the arrival is kept by steps in the null space of its
derivatives with a chord correction after each. Curvature is exact for the burns' sizes and from differences of exact
gradients for the rest; directions of negative curvature are followed downhill (absolute eigenvalues). Corners are
rounded while far from the optimum: the size of a burn at zero, and the apsides at a circle.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.deadline import poll
from .burn_chain import Bound, Cases, Chain, Mask, all_gradients, bounds_on, fly_chain, weighted_gradient

DIFFERENCE = 1e-7  # step of the differences, between rounding (1e-16) and the final rounding of circles
NOISE = 1e-6  # of the optimality conditions, from those differences
TO_BOUNDARY = 0.995  # share of the way to a bound that one step may take
MULTIPLIER_SPREAD = 1e3  # how far a multiplier may lie from the barrier's own
HALVINGS = 5
SMALL = 40  # cases, up to which all lengths of a step are tried at once: so few cost little more than one
CHORDS = 3  # corrections of the arrival after each trial step
SHORTER = 0.3
SOUND = 3e-3  # miss and breach, in ring radii, below which the cost of a guess means something
LOOK_BACK = 5  # steps over which a guess's gain is measured, and how many more it is trusted to go on so
LOOK_AHEAD = 30
SAME = 1e-4  # share of the cost within which two flights are taken to come to one optimum, and none is a gain
PATIENCE = 5  # steps before a guess may be given up for a better rival
FIRST_REACH = 0.5  # trust region at first and at most: radians of a burn's time, shares of the cost of a burn's size
MOST_REACH = 3.0
LOOSE = 0.1  # radians from its limits within which a burn's time is moved the less to mend a miss
SHIFTS = 25  # bisections for the trust region's multiplier


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """How the barrier goes from rounded to sharp; all relative to the cost that a case starts with.

    Args:
        barrier, barrier_end: weight of the logarithms, first and last; the last bounds the relative error of cost.
        burn, burn_end: burn size below which its corner is rounded.
        circle, circle_end: eccentricity below which the apsides' corner is rounded, on the safe side.
        penalty: cost per ring radius by which a limit may be broken, above any true multiplier.
        margin: share of the allowed time by which burns are first held apart.
        iterations: most steps of a case.
    """

    barrier: float = 1e-2
    barrier_end: float = 1e-8
    burn: float = 3e-2
    burn_end: float = 1e-5
    circle: float = 1e-2
    circle_end: float = 3e-6
    penalty: float = 100.0
    margin: float = 2e-3
    iterations: int = 60


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


@dataclass
class _Batch:
    """The cases still being worked on; every array has them last."""

    index: NDArray[np.int64]
    unknowns: Array
    multipliers: Array
    barrier: Array
    burn: Array
    circle: Array
    weight: Array
    scale: Array
    reach: Array
    chain: Chain | None

    def take(self, keep: Mask | NDArray[np.int64]) -> _Batch:
        arrays = {field.name: getattr(self, field.name)[..., keep] for field in fields(self) if field.name != "chain"}
        return _Batch(**arrays, chain=None)


class _Limits(NamedTuple):
    """Which limits the whole batch has: rows of linear ones, which of all rows are elastic, the penalty."""

    linear: Array
    floor: bool
    ceiling: bool
    latest: bool
    elastic: Mask
    penalty: float


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
    limits, cases = _limits(cases, burns, schedule)
    unknowns = unknowns.copy()
    unknowns[:burns] = _inside(unknowns[:burns], cases, schedule.margin)
    count = len(cases)
    chain = fly_chain(cases, unknowns, burns)
    scale = np.maximum(chain.cost, 1e-9)
    full = np.ones(count)
    rows = len(limits.elastic)
    batch = _Batch(
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


def _limits(cases: Cases, burns: int, schedule: Schedule) -> tuple[_Limits, Cases]:
    floor = bool((cases.floor > 0.0).any())
    ceiling = bool(np.isfinite(cases.ceiling).any())
    latest = bool(np.isfinite(cases.latest_first).any())
    # a limit that only some cases have is far away for the others
    cases = replace(
        cases,
        ceiling=np.where(np.isfinite(cases.ceiling), cases.ceiling, 1e3),
        latest_first=np.where(np.isfinite(cases.latest_first), cases.latest_first, 2.0 * cases.allowed),
    )
    unknowns = burns + (burns - 1) * cases.size
    linear = np.zeros((burns + 1 + latest, unknowns))
    linear[np.arange(burns), np.arange(burns)] = 1.0
    linear[np.arange(1, burns), np.arange(burns - 1)] = -1.0
    linear[burns, burns - 1] = -1.0
    if latest:
        linear[burns + 1, 0] = -1.0
    radial = 2 * (burns - 1) * (floor + ceiling)
    elastic = np.arange(len(linear) + radial) >= len(linear)
    return _Limits(linear, floor, ceiling, latest, elastic, schedule.penalty), cases


def _inside(times: Array, cases: Cases, margin: float) -> Array:
    """Burn times pushed strictly inside 0 < first < ... < last < allowed and first < latest_first."""
    times = times.copy()
    gap = margin * cases.allowed
    times[0] = np.minimum(np.maximum(times[0], 0.5 * gap), (1.0 - margin) * cases.latest_first)
    for index in range(1, len(times)):
        times[index] = np.maximum(times[index], times[index - 1] + gap)
    times[-1] = np.minimum(times[-1], cases.allowed - 0.5 * gap)
    for index in range(len(times) - 2, -1, -1):
        times[index] = np.minimum(times[index], times[index + 1] - gap)
    times[0] = np.maximum(times[0], 1e-9 * cases.allowed)
    return times


def _values(cases: Cases, chain: Chain, bounds: list[Bound], limits: _Limits) -> Array:
    """All limits as quantities to be kept above zero, (rows, B)."""
    times = chain.times
    linear = [times[:1], np.diff(times, axis=0), (cases.allowed - times[-1])[None]]
    if limits.latest:
        linear.append((cases.latest_first - times[0])[None])
    return np.concatenate([*linear, *(bound.value[None] for bound in bounds)])


def _bounds(cases: Cases, chain: Chain, circle: Array, limits: _Limits) -> list[Bound]:
    return bounds_on(cases, chain, circle, floor=limits.floor, ceiling=limits.ceiling)


def _slacks(values: Array, barrier: Array, limits: _Limits) -> tuple[Array, Array]:
    """Room under each limit and its elastic part, at the best of the barrier problem for the given values."""
    scaled = limits.penalty * values
    root = np.hypot(scaled, 2.0 * barrier)
    # far below a limit the sum of both would lose all digits
    lifted = np.where(scaled < 0.0, 4.0 * barrier**2 / np.maximum(root + np.abs(scaled), 1e-300), root + np.abs(scaled))
    room = (lifted + 2.0 * barrier) / (2.0 * limits.penalty)
    room = np.where(limits.elastic[:, None], room, values)
    # from the stationarity of the elastic part, which the difference room - value would lose to rounding
    stretch = barrier * room / np.maximum(limits.penalty * room - barrier, 1e-300)
    return room, np.where(limits.elastic[:, None], stretch, 0.0)


def _sizes(chain: Chain, burn: Array) -> Array:
    return np.asarray(np.sqrt((chain.burns**2).sum(axis=1) + burn**2))


def _merit(chain: Chain, values: Array, batch: _Batch, limits: _Limits) -> Array:
    """Exact-penalty function of the barrier problem; infinite outside the burn times' order."""
    room, stretch = _slacks(values, batch.barrier, limits)
    with np.errstate(invalid="ignore", divide="ignore"):
        walls = -batch.barrier * np.log(room)
        walls += np.where(limits.elastic[:, None], limits.penalty * stretch - batch.barrier * np.log(stretch), 0.0)
    total = (
        _sizes(chain, batch.burn).sum(axis=0) / batch.scale
        + walls.sum(axis=0)
        + batch.weight * np.abs(chain.miss).sum(axis=0)
    )
    return np.where((room > 0.0).all(axis=0) & np.isfinite(total), total, np.inf)


def _iterate(
    cases: Cases, batch: _Batch, burns: int, limits: _Limits, schedule: Schedule, result: Polished, *, final: bool
) -> Mask:
    """Record where the batch is and move it by one step, in place; tells which cases need no further one."""
    size, straight = cases.size, len(limits.linear)
    chain = batch.chain or fly_chain(cases, batch.unknowns, burns)
    bounds = _bounds(cases, chain, batch.circle, limits)
    values = _values(cases, chain, bounds, limits)
    of_miss, of_last, of_bounds = all_gradients(chain, bounds)
    room, stretch = _slacks(values, batch.barrier, limits)
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

    gradient = _cost_gradient(chain, of_last, batch) * unit
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
            bounds = _bounds(cases, chain, batch.circle, limits)
            values = _values(cases, chain, bounds, limits)
        room, stretch = _slacks(values, batch.barrier, limits)
        gradient = _cost_gradient(chain, of_last, batch) * unit

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
    towards *= np.minimum(1.0, batch.reach / np.maximum(_norm(towards), 1e-300))[:, None]
    along = -(vectors @ _within(pull, steepness, batch.reach)[:, :, None])
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
    before = _merit(chain, values, batch, limits)
    _search(cases, batch, burns, limits, before, step * unit, length, homing * unit[:, :, None])
    shortened = length < 0.999 * first_length
    wider = np.minimum(MOST_REACH, 2.0 * batch.reach)
    batch.reach = np.where(
        shortened, np.maximum(length * _norm(step), 1e-4), np.where(_norm(step) > 0.8 * batch.reach, wider, batch.reach)
    )
    return done


def _norm(rows: Array) -> Array:
    return np.asarray(np.sqrt((rows**2).sum(axis=1)))


def _within(pull: Array, steepness: Array, reach: Array) -> Array:
    """Newton's step in the eigenvectors' axes, each case shifted so that it stays within its trust region."""
    full = pull / steepness
    tight = _norm(full) > reach
    if not tight.any():
        return np.asarray(full)
    high = _norm(pull) / reach
    low = np.zeros_like(high)
    for _ in range(SHIFTS):
        middle = 0.5 * (low + high)
        outside = _norm(pull / (steepness + middle[:, None])) > reach
        low, high = np.where(outside, middle, low), np.where(outside, high, middle)
    return np.asarray(np.where(tight[:, None], pull / (steepness + high[:, None]), full))


def _cost_gradient(chain: Chain, of_last: Array, batch: _Batch) -> Array:
    """Gradient of the rounded and scaled cost, (B, n)."""
    unit = chain.burns / (_sizes(chain, batch.burn) * batch.scale)[:, None]
    gradient = (of_last * unit[-1][:, None]).sum(axis=0)
    gradient[len(chain.times) :] += unit[:-1].reshape(-1, len(batch.index))
    return np.ascontiguousarray(gradient.T)


def _curvature(
    cases: Cases,
    batch: _Batch,
    burns: int,
    limits: _Limits,
    chain: Chain,
    bounds: list[Bound],
    costate: Array,
    closing: Array,
    directions: Array,
    unit_step: Array,
) -> Array:
    """The Lagrangian's second derivative times the directions, (B, n, columns), both in units of ``unit_step``."""
    size, straight = cases.size, len(limits.linear)
    sizes = _sizes(chain, batch.burn)
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
        _bounds(there, other, batch.circle[copies], limits),
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


def _search(
    cases: Cases,
    batch: _Batch,
    burns: int,
    limits: _Limits,
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
        values = _values(there, chain, _bounds(there, chain, part.circle, limits), limits)
        merit = _merit(chain, values, part, limits)
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
