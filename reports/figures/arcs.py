"""The way of one craft as drawable arcs, worked back from its slot.

A plan gives burns by their axes and times, not positions. But it says where the craft ends: in its slot, on the circle.
From there the burns are taken back one after another and the conic before each is flown backwards, in the plane of the
ring. Any number of burns in any direction comes out right that way, on every route.

For the picture gravity is a point mass with the rate of the ring, so that craft and slots keep step under an oblate
body too; that is what the eye can see, not what was flown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ...models import kepler
from ...models.arrays import Array
from ...models.ring import Ring
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome

Stage = Literal["ascent", "before", "phasing", "slot"]


@dataclass(frozen=True, kw_only=True)
class Arc:
    """A stretch without burns: times, s, and positions (n, 2), m, in the ring's plane, x to the node of the ring.

    ``stage``: ``ascent`` from insertion to the first burn, ``before`` the orbit of a craft that is in space already,
    ``phasing`` between the first burn and the last, ``slot`` afterwards.
    """

    stage: Stage
    time_s: Array
    position_m: Array
    periapsis_m: float
    apoapsis_m: float

    @property
    def radius_m(self) -> Array:
        """Distance from the center, (n,)."""
        return np.asarray(np.hypot(self.position_m[:, 0], self.position_m[:, 1]))

    @property
    def angle_rad(self) -> Array:
        """Argument of latitude, not wrapped, (n,)."""
        return np.asarray(np.unwrap(np.arctan2(self.position_m[:, 1], self.position_m[:, 0])))


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A conic without burns, from one moment to a later one, with position (2,), m, and velocity (2,), m/s, at one of
    its ends, ``at_s``; stages as for :class:`Arc`."""

    stage: Stage
    position_m: Array
    velocity_m_s: Array
    at_s: float
    from_s: float
    to_s: float


def gm_drawn(ring: Ring) -> float:
    """The point mass whose circle at the ring's radius turns at the ring's rate, m^3/s^2."""
    return ring.rate_rad_s**2 * ring.radius_m**3


def craft_stretches(outcome: Outcome, part: CraftPlan, *, until_s: float | None = None) -> list[Stretch]:
    """The conics of a craft between its burns, first to last; those of no length are left out.

    Args:
        part: the craft's plan; without burns it sits in its slot throughout.
        until_s: end of the last one; by default the moment when the craft is in its slot (then it has no length).
    """
    ring = outcome.ring
    gm = gm_drawn(ring)
    begin_s = _begin(outcome, part)
    end_s = part.in_slot_s if until_s is None else max(until_s, part.in_slot_s)
    last_s = part.burns[-1].time_s if part.burns else begin_s
    position, velocity = _in_slot(ring, part, last_s)
    found = [Stretch(stage="slot", position_m=position, velocity_m_s=velocity, at_s=last_s, from_s=last_s, to_s=end_s)]
    for index in reversed(range(len(part.burns))):
        burn = part.burns[index]
        velocity = _before_burn(position, velocity, burn.radial_m_s, burn.along_m_s, burn.cross_m_s)
        since_s = part.burns[index - 1].time_s if index else min(begin_s, burn.time_s)
        stage: Stage = "phasing" if index else "ascent" if part.launch_s is not None else "before"
        found.append(
            Stretch(
                stage=stage,
                position_m=position,
                velocity_m_s=velocity,
                at_s=burn.time_s,
                from_s=since_s,
                to_s=burn.time_s,
            )
        )
        position, velocity = kepler.propagate(position, velocity, since_s - burn.time_s, gm)
    return [one for one in reversed(found) if one.to_s - one.from_s >= 1e-6]


def craft_arcs(outcome: Outcome, part: CraftPlan, *, until_s: float | None = None, a_turn: int = 240) -> list[Arc]:
    """Work out the arcs of a craft, first to last: its stretches (see :func:`craft_stretches`) as points."""
    gm = gm_drawn(outcome.ring)
    return [_arc(one, gm, a_turn) for one in craft_stretches(outcome, part, until_s=until_s)]


def _begin(outcome: Outcome, part: CraftPlan) -> float:
    """Where the drawing of a craft starts: its insertion, or the moment from which it may burn."""
    if part.insertion_s is not None:
        return part.insertion_s
    if part.launch_s is not None:
        return part.launch_s
    ready = next((craft.ready_s for craft in outcome.scenario.craft if craft.name == part.craft), 0.0)
    return min(ready, part.ring_arrival_s)


def _in_slot(ring: Ring, part: CraftPlan, time_s: float) -> tuple[Array, Array]:
    angle = float(ring.phase(time_s, part.slot, part.plane))
    outward = np.array([math.cos(angle), math.sin(angle)])
    forward = np.array([-outward[1], outward[0]])
    return ring.radius_m * outward, ring.rate_rad_s * ring.radius_m * forward


def _before_burn(position: Array, velocity: Array, radial: float, along: float, cross: float) -> Array:
    outward = position / np.hypot(*position)
    forward = np.array([-outward[1], outward[0]])
    # the burn's axes are those before it; a part across the plane turns the plane and leaves less along it
    swept = math.sqrt(max(0.0, float(velocity @ forward) ** 2 - cross**2)) - along
    return np.asarray((float(velocity @ outward) - radial) * outward + swept * forward)


def _arc(one: Stretch, gm: float, a_turn: int) -> Arc:
    low, high = (float(value) for value in kepler.apsides(one.position_m, one.velocity_m_s, gm))
    lasts_s = one.to_s - one.from_s
    period_s = 2.0 * math.pi * math.sqrt((0.5 * (low + high)) ** 3 / gm) if math.isfinite(high) else lasts_s
    # an eccentric orbit hurries through its low part: more points for it
    eccentricity = (high - low) / (high + low) if math.isfinite(high) else 1.0
    count = max(24, math.ceil(lasts_s / period_s * a_turn * (1.0 + 2.0 * eccentricity)))
    times = np.linspace(one.from_s, one.to_s, count)
    positions, _ = kepler.propagate(one.position_m, one.velocity_m_s, times - one.at_s, gm)
    return Arc(stage=one.stage, time_s=times, position_m=np.asarray(positions), periapsis_m=low, apoapsis_m=high)
