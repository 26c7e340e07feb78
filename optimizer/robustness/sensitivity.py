"""How much of the slot each small error of a burn costs: differences through the numerical flight.

Each burn of a craft is flown a little off in one way, all later burns as planned, and the mean slot error over the
first ring turn after the last burn is set against that of the plan itself. All flights go in one batch. Burns that take
time are flown so: too much is a burn that is lit as planned and cut off late.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import NamedTuple

from ...models.burns import BurnModel, FiniteThrust, burn_duration, mass_after
from ...models.flight.flown import TURN_MARGIN
from ...models.flight.integrate import Gravity, Impulse, Itinerary, fly, measure, readout
from ...models.frames import wrap
from ...models.ring import Ring
from ..craft_plan import CraftPlan
from ..trajectory.differential_correction import IMPULSIVE

STEP_M_S = 0.02
STEP_S = 2.0
STEP_RAD = math.radians(0.05)
"""Steps of the differences: small against everything planned, large against the rounding of the flight."""

SPEED_SHARE, PERIOD_SHARE = 1e-4, 1e-3
"""Of the ring's speed and of its period, the most that a step takes: worlds of a few meters turn slowly."""


class Steps(NamedTuple):
    """Steps of the differences over a ring: m/s too much in a burn, s too late."""

    m_s: float
    s: float


def steps_over(ring: Ring) -> Steps:
    """Steps that are small against a ring's speed and its period, too."""
    return Steps(min(STEP_M_S, SPEED_SHARE * ring.speed_m_s), min(STEP_S, PERIOD_SHARE * ring.period_s))


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """How errors of one burn move the craft against its slot, rad, signed: positive is ahead.

    Args:
        per_m_s: each m/s too much along the burn.
        per_s: each second late.
        per_pitch: each radian that it points too far out.
        per_yaw: each radian that it points too far left of track.
        period_per_m_s: seconds of period after the burn for each m/s too much along the burn.
    """

    per_m_s: float
    per_s: float
    per_pitch: float
    per_yaw: float
    period_per_m_s: float

    @property
    def per_period_s(self) -> float:
        """Slot error, rad, for each second too much of the period at cut-off; nan where the burn leaves it alone."""
        return self.per_m_s / self.period_per_m_s if self.period_per_m_s else math.nan

    def allowed_period_s(self, tolerance_rad: float) -> float:
        """Error of the period at cut-off, s, that uses up a slot error, rad; inf where it costs nothing."""
        return tolerance_rad / abs(self.per_period_s) if self.per_period_s else math.inf


def sensitivities(part: CraftPlan, ring: Ring, gravity: Gravity) -> tuple[Sensitivity, ...]:
    """One for each burn of a craft, in order.

    Args:
        part: its plan; burns as they were flown.
        ring: with its slots.
        gravity: what the plan was flown with.

    Raises:
        FlightError: a burn a little off does not come round.
    """
    if not part.burns:
        return ()
    engine: BurnModel = part.engine or IMPULSIVE
    base = part.itinerary if part.engine is not None else None
    if base is None:
        engine, base = IMPULSIVE, itinerary_of(part, ring)
    asked, step = [base], steps_over(ring)
    for index in range(len(part.burns)):
        asked += [_moved(base, index, ring, engine, change) for change in range(4)]
    flights = fly(asked, gravity, engine)
    seen = [measure(flight, ring, part.plane, part.slot) for flight in flights]
    found = []
    for index in range(len(part.burns)):
        changed = seen[1 + 4 * index : 5 + 4 * index]
        error = [float(wrap(one.slot_error_rad - seen[0].slot_error_rad)) for one in changed]
        planned_s, off_s = (readout(flights[k].after[index], ring.gm).period_s for k in (0, 1 + 4 * index))
        found.append(
            Sensitivity(
                per_m_s=error[0] / step.m_s,
                per_s=error[1] / step.s,
                per_pitch=error[2] / STEP_RAD,
                per_yaw=error[3] / STEP_RAD,
                period_per_m_s=(off_s - planned_s) / step.m_s,
            )
        )
    return tuple(found)


def itinerary_of(part: CraftPlan, ring: Ring) -> Itinerary:
    """A craft's flight from just before its first burn to past a turn after its last. ValueError where it has none."""
    if not part.burns or not part.before_burns:
        raise ValueError(f"{part.craft} does not burn")
    impulses = [Impulse(b.time_s, b.radial_m_s, b.along_m_s, b.cross_m_s) for b in part.burns]
    state = part.before_burns[0]
    return Itinerary.through_turn(part.burns[0].time_s, state[:3], state[3:], impulses, ring)


def _later_center(item: Itinerary, index: int, engine: FiniteThrust, more_m_s: float) -> float:
    """By how much the middle of a burn comes later, s, when it is lit as planned and gives so much more."""
    sizes = [burn.delta_v_m_s for burn in item.impulses]
    before = float(mass_after(engine.mass_kg, math.fsum(sizes[:index]), engine.isp_s))
    lasts = [
        float(burn_duration(before, size, engine.isp_s, engine.thrust_n))
        for size in (sizes[index], sizes[index] + more_m_s)
    ]
    return 0.5 * (lasts[1] - lasts[0])


def _moved(item: Itinerary, index: int, ring: Ring, engine: BurnModel, change: int) -> Itinerary:
    """The itinerary with one burn too strong, too late, too far out, or too far to the left."""
    burns, step = list(item.impulses), steps_over(ring)
    burn = burns[index]
    size = burn.delta_v_m_s
    unit = (burn.radial_m_s / size, burn.along_m_s / size, burn.cross_m_s / size) if size > 0.0 else (0.0, 1.0, 0.0)
    time_s, parts = burn.time_s, list(burn[1:])
    if change == 0:
        parts = [(size + step.m_s) * one for one in unit]
        time_s += _later_center(item, index, engine, step.m_s) if isinstance(engine, FiniteThrust) else 0.0
    elif change == 1:
        time_s += step.s
    else:
        # turned by a small angle in the plane of the burn and the outward, or the left, direction
        axis = 0 if change == 2 else 2
        flat = math.hypot(*(one for k, one in enumerate(unit) if k != axis))
        tilt = math.atan2(unit[axis], flat) + STEP_RAD
        level = [one / flat if k != axis and flat > 0.0 else 0.0 for k, one in enumerate(unit)]
        parts = [size * math.cos(tilt) * one for one in level]
        parts[axis] = size * math.sin(tilt)
    burns[index] = Impulse(time_s, *parts)
    # what is burned in the same pass is as late
    burns[index + 1 :] = [one._replace(time_s=max(one.time_s, time_s)) for one in burns[index + 1 :]]
    last = burns[-1].time_s
    return dataclasses.replace(item, impulses=tuple(burns), end_s=max(item.end_s, last + TURN_MARGIN * ring.period_s))
