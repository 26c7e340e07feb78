"""What a missed burn means: the next chance, what it costs, or that there is none.

A craft that misses its burn at a touch of the ring comes back there one revolution of its orbit later, its slot having
moved on; from there every phasing orbit within the limits is examined again. Two-body, as the catalogue is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ...models import frames
from ...models.flight.flown import readout
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
        next_s: when the next chance comes.
        lead_rad: how far the slot is ahead then, in (-pi, pi].
        in_slot_s: when the craft is in its slot by the cheapest way from there.
        more_m_s: what that costs more than the burns that were still to come; 0 where two bodies cannot say.
    """

    kind: Kind
    next_s: float = math.nan
    lead_rad: float = math.nan
    in_slot_s: float = math.nan
    more_m_s: float = math.nan


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
    time_s = part.burns[index].time_s + shown.period_s
    node = ring.node(part.burns[index].time_s, part.plane)
    angle = float(frames.latitude_argument(state[:3], ring.inclination_rad, node))
    lead = float(frames.wrap(float(ring.phase(time_s, part.slot, part.plane)) - angle))
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
