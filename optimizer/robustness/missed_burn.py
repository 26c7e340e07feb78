"""What a missed burn means: the next chance, what it costs, or that there is none.

A craft that misses its burn at a touch of the ring comes back there one revolution of its orbit later, its slot having
moved on: that turn is flown. From there every phasing orbit within the limits is examined again, by ratios of periods,
as the catalogue is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ...models import frames
from ...models.arrays import Array
from ...models.flight.flown import Itinerary, readout
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import fly
from ...models.flight.slot_error import angle_and_rate
from ...models.oblateness import ring_state
from ...models.ring import Ring
from ...models.scenario import Scenario
from ..craft_plan import CraftPlan
from ..problem.phasing import Touch, best_phasing

Kind = Literal["again", "re-entry", "other plane", "replan"]

TWO_BODY_SHARE = 0.03
"""Share of the burns by which two bodies and an oblate one may differ in low orbits: less is no difference."""

TURNED_M_S = 1.0
"""A plane that is off by what this turns, and that share of the burns, beyond the tilt that may stay, is not the slot's
yet."""


@dataclass(frozen=True, kw_only=True)
class Missed:
    """What becomes of one missed burn.

    Args:
        kind: ``again``: there is a next chance; ``re-entry``: the orbit falls below the floor first; ``other plane``:
            the craft's plane is still to be turned, or to drift, into that of its slot; ``replan``: no phasing orbit
            begins there (free-form flights, parking orbits, a limit in the way).
        next_s: when the next chance comes, flown over the body with its bulge.
        lead_rad: how far the slot is ahead then, in (-pi, pi], means over a revolution, from the same flight.
        in_slot_s: when the craft is in its slot by the cheapest way from there, by ratios of periods.
        more_m_s: what that costs more than the burns that were still to come; 0 where two bodies cannot say.
    """

    kind: Kind
    next_s: float = math.nan
    lead_rad: float = math.nan
    in_slot_s: float = math.nan
    more_m_s: float = math.nan


RETURN_SHARE = 0.1
"""By how much of the osculating period a craft may come back to its angle sooner or later."""

LOOKS = 256
"""At a revolution, evenly: the mean of a smooth periodic function converges faster than any power of their number."""


def missed(scenario: Scenario, ring: Ring, part: CraftPlan, index: int) -> Missed:
    """What becomes of a craft that misses burn ``index`` of its plan."""
    state = np.array(part.before_burns[index])
    radius = float(np.linalg.norm(state[:3]))
    shown = readout(state, ring.gm)
    if index == 0 and part.must_burn:
        return Missed(kind="re-entry")
    if shown.periapsis_m < scenario.floor_m * (1.0 - 1e-6) and not _on_ring(shown.periapsis_m, ring):
        return Missed(kind="re-entry")
    rest = math.fsum(burn.own_m_s for burn in part.burns[index:])
    if _off_plane_m_s(scenario, ring, part, index) > max(TURNED_M_S, TWO_BODY_SHARE * rest):
        return Missed(kind="other plane")
    # the touch: an apsis of the present orbit on the ring, as near as oblateness leaves it
    if part.free_form is not None or not _on_ring(radius, ring) or not math.isfinite(shown.period_s):
        return Missed(kind="replan")
    time_s, lead = _a_turn_later(scenario, ring, part, index)
    limits = scenario.limits
    touch = Touch(
        ring=ring,
        arrival_speed_m_s=float(np.linalg.norm(state[3:])),
        floor_m=scenario.floor_m,
        ceiling_m=limits.apoapsis_max_m,
        revolutions_max=limits.revolutions_max,
        wait_within_s=limits.wait_within_s - max(time_s - part.ring_arrival_s, 0.0),
    )
    chosen = best_phasing(touch, np.array([lead]))
    within = time_s + chosen.wait_s <= limits.finish_within_s
    if not within.any():
        return Missed(kind="replan", next_s=time_s, lead_rad=lead)
    cost = np.where(within, chosen.cost_m_s, np.inf)
    best = int(np.lexsort((chosen.wait_s, np.round(cost, 3)))[0])
    more = float(cost[best]) - rest
    return Missed(
        kind="again",
        next_s=time_s,
        lead_rad=lead,
        in_slot_s=time_s + float(chosen.wait_s[best]),
        more_m_s=more if abs(more) > TWO_BODY_SHARE * rest else 0.0,
    )


def _a_turn_later(scenario: Scenario, ring: Ring, part: CraftPlan, index: int) -> tuple[float, float]:
    """When a craft that coasts past a burn is back where it was in its plane, and how far its slot is ahead then.

    Flown over the body with its bulge. The slot is ahead of the craft's mean angle, which its mean over a revolution
    gives: from apsis to apsis what an eccentric orbit swings to one side of it and to the other is alike.
    """
    from scipy.optimize import brentq

    state, from_s = np.array(part.before_burns[index]), part.burns[index].time_s
    period_s = readout(state, ring.gm).period_s
    coast = Itinerary(
        start_s=from_s, position=state[:3], velocity=state[3:], end_s=from_s + (1.0 + RETURN_SHARE) * period_s
    )
    [flight] = fly([coast], gravity_around(scenario.body))

    def angle(times_s: Array) -> Array:
        node = ring.node(0.0, part.plane) + ring.node_rate_rad_s * times_s
        return angle_and_rate(flight.states(times_s), frames.plane_axes(ring.inclination_rad, node))[0]

    start = float(angle(np.array([from_s]))[0])
    back_s = brentq(
        lambda at_s: float(frames.wrap(float(angle(np.array([at_s]))[0]) - start)),
        from_s + (1.0 - RETURN_SHARE) * period_s,
        from_s + (1.0 + RETURN_SHARE) * period_s,
    )
    times_s = np.linspace(from_s, back_s, LOOKS, endpoint=False)
    gained = np.unwrap(angle(times_s)) - 2.0 * math.pi * np.arange(LOOKS) / LOOKS
    return back_s, float(frames.wrap(float(ring.phase(back_s, part.slot, part.plane)) - float(gained.mean())))


def _off_plane_m_s(scenario: Scenario, ring: Ring, part: CraftPlan, index: int) -> float:
    """What turning the craft's plane into that of its slot takes on a circle, beyond the tilt that may stay, m/s."""
    state, time_s = np.array(part.before_burns[index]), part.burns[index].time_s
    node, lean = ring.node(time_s, part.plane), ring.inclination_rad
    # planes wobble about their means as they go round, and those of slots do so alike
    there = frames.latitude_argument(state[:3], lean, node)
    of_slot = np.cross(*ring_state(scenario.body, float(np.linalg.norm(state[:3])), there, lean, node))
    pole = np.cross(state[:3], state[3:])
    tilt = math.atan2(float(np.linalg.norm(np.cross(pole, of_slot))), float(pole @ of_slot))
    return max(0.0, tilt - scenario.ring.tilt_tolerance_rad) * ring.speed_m_s


NEAR_SHARE = 5e-3
"""Over an oblate body a touch is off the ring's mean radius by a few times J2 (Re/R)^2 of it."""


def _on_ring(radius_m: float, ring: Ring) -> bool:
    return abs(radius_m - ring.radius_m) <= NEAR_SHARE * ring.radius_m
