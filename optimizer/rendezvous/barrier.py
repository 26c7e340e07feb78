"""The barrier problem of flights with limits: how sharp it is, which limits there are, what a flight is worth."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from .burn_chain import Bound, Cases, Chain, Mask, bounds_on


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


@dataclass(frozen=True, kw_only=True)
class Batch:
    """The cases still being worked on, and how far each is; every array has them last.

    Args:
        cases: the questions; ``index`` their places among all.
        unknowns, multipliers: the flights, (n, B), and what their limits weigh, (rows, B), NaN at first.
        barrier, burn, circle: weight of the logarithms, and below which burn size and eccentricity corners are rounded.
        weight: of the miss in the merit.
        scale: cost that each case started with.
        reach: of the trust region.
        chain: the flights as flown, None where that is still to be done.
    """

    cases: Cases
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

    def take(self, keep: Mask | NDArray[np.int64]) -> Batch:
        """Some of the cases, in the order of ``keep``, which may repeat them."""
        rest = [field.name for field in fields(self) if field.name not in ("cases", "chain")]
        arrays = {name: getattr(self, name)[..., keep] for name in rest}
        return Batch(cases=self.cases.take(keep), **arrays, chain=None)


class Limits(NamedTuple):
    """Which limits the whole batch has: rows of linear ones, which of all rows are elastic (rows, 1), the penalty."""

    burns: int
    linear: Array
    floor: bool
    ceiling: bool
    latest: bool
    elastic: Mask
    penalty: float


class Flown(NamedTuple):
    """A batch as flown against its limits.

    ``values`` are all limits as quantities to be kept above zero, (rows, B); ``room`` under each and ``stretch``, its
    elastic part, are the best of the barrier problem for these values.
    """

    chain: Chain
    bounds: list[Bound]
    values: Array
    room: Array
    stretch: Array


def limits_of(cases: Cases, burns: int, schedule: Schedule) -> tuple[Limits, Cases]:
    """The limits that cases have, and the cases with a far limit where only others have one."""
    floor = bool((cases.floor > 0.0).any())
    ceiling = bool(np.isfinite(cases.ceiling).any())
    latest = bool(np.isfinite(cases.latest_first).any())
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
    elastic = np.arange(len(linear) + radial)[:, None] >= len(linear)
    return Limits(burns, linear, floor, ceiling, latest, elastic, schedule.penalty), cases


def inside(times: Array, cases: Cases, margin: float) -> Array:
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


def flown(batch: Batch, limits: Limits, chain: Chain) -> Flown:
    """A batch's flights against its limits, at its barrier."""
    cases, times, barrier = batch.cases, chain.times, batch.barrier
    bounds = bounds_on(cases, chain, batch.circle, floor=limits.floor, ceiling=limits.ceiling)
    linear = [times[:1], np.diff(times, axis=0), (cases.allowed - times[-1])[None]]
    if limits.latest:
        linear.append((cases.latest_first - times[0])[None])
    values = np.concatenate([*linear, *(bound.value[None] for bound in bounds)])
    scaled = limits.penalty * values
    root = np.hypot(scaled, 2.0 * barrier)
    # far below a limit the sum of both would lose all digits
    lifted = np.where(scaled < 0.0, 4.0 * barrier**2 / np.maximum(root + np.abs(scaled), 1e-300), root + np.abs(scaled))
    room = np.where(limits.elastic, (lifted + 2.0 * barrier) / (2.0 * limits.penalty), values)
    # from the stationarity of the elastic part, which the difference room - value would lose to rounding
    stretch = barrier * room / np.maximum(limits.penalty * room - barrier, 1e-300)
    return Flown(chain, bounds, values, room, np.where(limits.elastic, stretch, 0.0))


def burn_sizes(chain: Chain, burn: Array) -> Array:
    """Sizes of all burns, (N, B), rounded below ``burn``."""
    return np.asarray(np.sqrt((chain.burns**2).sum(axis=1) + burn**2))


def merit_of(here: Flown, batch: Batch, limits: Limits) -> Array:
    """Exact-penalty function of the barrier problem; infinite outside the burn times' order."""
    chain, room, stretch = here.chain, here.room, here.stretch
    with np.errstate(invalid="ignore", divide="ignore"):
        walls = -batch.barrier * np.log(room)
        walls += np.where(limits.elastic, limits.penalty * stretch - batch.barrier * np.log(stretch), 0.0)
    total = (
        burn_sizes(chain, batch.burn).sum(axis=0) / batch.scale
        + walls.sum(axis=0)
        + batch.weight * np.abs(chain.miss).sum(axis=0)
    )
    return np.where((room > 0.0).all(axis=0) & np.isfinite(total), total, np.inf)


def cost_gradient(chain: Chain, of_last: Array, batch: Batch) -> Array:
    """Gradient of the rounded and scaled cost, (B, n)."""
    unit = chain.burns / (burn_sizes(chain, batch.burn) * batch.scale)[:, None]
    gradient = (of_last * unit[-1][:, None]).sum(axis=0)
    gradient[len(chain.times) :] += unit[:-1].reshape(-1, len(batch.index))
    return np.ascontiguousarray(gradient.T)
