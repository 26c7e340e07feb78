"""What time is worth to one craft: least delta-v against allowed time, beside tangent orbits and a linear estimate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Unpack

import numpy as np

from ...models.arrays import Array

if TYPE_CHECKING:
    from .optimum import FreeformSolution, State, ToSlot


@dataclass(frozen=True, kw_only=True)
class TimePrice:
    """The price of time of one craft. All times count from the start's.

    Args:
        allowed_s: allowed times, ascending, (B,).
        best: the best flight found for each, None where there is none.
        tangent_m_s: the cheapest tangent phasing orbit that ends in time, infinite where none does, (B,).
        step_ends_s, step_costs_m_s: when each tangent orbit ends that costs less than all before it, and what it
            costs, ascending in time, (S,).
        linear_estimate_m_s: least delta-v of the motion linearized about the slot, no bound, (B,).
        slot_lead_rad, ring_radius_m, ring_period_s, floor_m, ceiling_m: of the question.
    """

    allowed_s: Array
    best: tuple[FreeformSolution | None, ...]
    tangent_m_s: Array
    step_ends_s: Array
    step_costs_m_s: Array
    linear_estimate_m_s: Array
    slot_lead_rad: float
    ring_radius_m: float
    ring_period_s: float
    floor_m: float
    ceiling_m: float

    @property
    def delta_v_m_s(self) -> Array:
        """Total delta-v of the best flights, infinite where there is none, (B,)."""
        return np.array([math.inf if one is None else one.delta_v_m_s for one in self.best])


def price_of_time(start: State, *, allowed_s: Sequence[float], **to: Unpack[ToSlot]) -> TimePrice:
    """Work out the price of time of one craft; arguments and errors as for
    :func:`.optimum.least_delta_v_over_times`.

    >>> from ringwright.optimizer.rendezvous.optimum import State
    >>> here = State(position_m=(1.0, 0.0, 0.0), velocity_m_s=(0.0, 1.0, 0.0))
    >>> price = price_of_time(
    ...     here, gm=1.0, ring_radius_m=1.0, slot_lead_rad=-math.pi / 3, allowed_s=[2.5 * math.pi, 4.0 * math.pi]
    ... )
    >>> [round(float(cost), 3) for cost in price.tangent_m_s], [round(float(cost), 3) for cost in price.delta_v_m_s]
    ([0.095, 0.095], [0.095, 0.069])
    """
    # loaded only where it is asked for: a plan by phasing orbits does not need it
    from .optimum import least_delta_v_over_times, tangent_orbits

    best = least_delta_v_over_times(start, allowed_s=allowed_s, **to)
    allowed = np.array([float(time) for time in allowed_s])
    ends, costs = tangent_orbits(start, allowed_s=float(allowed[-1]), **to)
    in_time = ends[None, :] <= allowed[:, None] * (1.0 + 1e-12)
    tangent = np.where(in_time, costs[None, :], np.inf).min(axis=1, initial=np.inf)
    order = np.lexsort((costs, ends))
    cheapest = np.minimum.accumulate(costs[order]) if order.size else costs
    steps = order[np.concatenate([[True], cheapest[1:] < cheapest[:-1]])[: order.size]]
    radius = to["ring_radius_m"]
    speed = math.sqrt(to["gm"] / radius)
    return TimePrice(
        allowed_s=allowed,
        best=best,
        tangent_m_s=tangent,
        step_ends_s=ends[steps],
        step_costs_m_s=costs[steps],
        linear_estimate_m_s=np.array([math.nan if one is None else one.linear_estimate_m_s for one in best]),
        slot_lead_rad=to["slot_lead_rad"],
        ring_radius_m=radius,
        ring_period_s=2.0 * math.pi * radius / speed,
        floor_m=to.get("floor_m", 0.0),
        ceiling_m=to.get("ceiling_m", math.inf),
    )
