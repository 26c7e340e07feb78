"""Many flights of one craft at once, each with its own errors and the corrections that a planner would make.

What is flown: the launcher lets go off its mark; the phasing burn aims at the period that fits the arrival as it was;
its period is read, and trimmed where the slot would be missed by half its tolerance, or, where the period was overshot
on the way to the ring's, the craft goes on to the next period that fits and takes one revolution more; the last burn
aims at the ring's period, which is read and trimmed once; a slot error beyond the tolerance is phased out; a tilt
beyond its tolerance is taken off at the node.

Formulas: vis-viva and Kepler's third law, exact for burns at the touch. To first order: a moment of burning off the
touch moves the craft and gives it radial speed; readings turn into speed by dv/dT. The touch stays where injection put
it: periods are matched, not circles. The burns that phase out a slot error and take off a tilt are taken as exact.
Valid for point-mass gravity, tangent burns, and errors that are small beside the burns they follow.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.dispersions import BurnErrors, burn_errors
from ...models.scenario import Errors
from .craft_leg import Story

HALF = 0.5
"""Share of the slot's tolerance from which a period is trimmed: the other half is left for the burns to come."""


class Flights(NamedTuple):
    """What many flights came to, each an array over the flights.

    ``slot_error_rad`` craft minus slot before any phasing out, ``period_error_s`` after the last trim, ``went_on`` to
    the next period, ``phased_out`` a slot error at the end, ``tilt_rad`` before it was taken off, ``too_low`` where the
    phasing orbit dips below the floor before its period is trimmed.
    """

    delta_v_m_s: Array
    slot_error_rad: Array
    period_error_s: Array
    tilt_rad: Array
    went_on: NDArray[np.bool_]
    phased_out: NDArray[np.bool_]
    too_low: NDArray[np.bool_]


def normals_of(story: Story) -> int:
    """How many standard normal numbers one flight of this craft takes."""
    count = 3 + 1 + 1 + 3  # the last burn, its moment, its reading, its trim
    if story.revolutions > 0:
        count += 3 + 1 + 1 + 3
    if story.insertion is not None:
        count += 5 + (4 if story.parking else 0)
    return count


def fly(story: Story, normal: Array) -> Flights:
    """Fly one craft many times.

    Args:
        story: the craft.
        normal: independent standard normal numbers, shape (`normals_of(story)`, flights).
    """
    return _Fly(story, normal).flights()


class Draws:
    """One pass over a block of flights of a craft, its random numbers drawn one after another; ``used`` in m/s."""

    def __init__(self, errors: Errors, normal: Array) -> None:
        self.errors = errors
        self._normal, self._taken = normal, 0
        self.used = np.zeros(normal.shape[1])

    def _take(self, rows: int) -> Array:
        first = self._taken
        self._taken += rows
        return self._normal[first : first + rows]


class _Fly(Draws):
    """The same by closed forms."""

    def __init__(self, story: Story, normal: Array) -> None:
        super().__init__(story.errors, normal)
        self.story, self.ring = story, story.ring
        self.gm, self.radius, self.circular = story.ring.gm, story.ring.radius_m, story.ring.speed_m_s
        self.period = story.ring.period_s
        self._unit = 2.0 * math.pi / math.sqrt(self.gm)
        count = normal.shape[1]
        self.tilts = (np.zeros(count), np.zeros(count))
        self.ahead = np.zeros(count)
        self.too_low = np.zeros(count, dtype=np.bool_)

    def _speed_of(self, touch: Array | float, period_s: Array) -> Array:
        """Speed at the touch of the orbit with that period."""
        inverse = np.square(np.cbrt(self._unit / period_s))
        return np.asarray(np.sqrt(self.gm * (2.0 / touch - inverse)))

    def _period_of(self, touch: Array | float, speed_squared: Array) -> tuple[Array, Array]:
        """Period, and 1 / a, of the orbit with that speed at the touch."""
        inverse = 2.0 / touch - speed_squared / self.gm
        return self._unit / (inverse * np.sqrt(inverse)), inverse

    def _burn(self, size: Array) -> BurnErrors:
        """Burn along the track: errors, propellant and tilt."""
        off = burn_errors(self.errors, size, self._take(3))
        along = np.abs(size) + off.along_m_s
        self.used += np.sqrt(np.square(along) + np.square(off.across_m_s) + np.square(off.sideways_m_s))
        self.tilts[0][:] += off.sideways_m_s / self.circular
        return BurnErrors(np.copysign(1.0, size) * off.along_m_s, off.across_m_s, off.sideways_m_s)

    def flights(self) -> Flights:
        story, rate, tolerance = self.story, self.ring.rate_rad_s, self.story.tolerance_rad
        touch, speed, late = self._arrive()
        went_on = np.zeros(self.used.size, dtype=np.bool_)
        radial: Array = np.zeros(self.used.size)
        if story.revolutions > 0:
            speed, radial, went_on = self._phase(touch, speed, late)
        else:
            self.ahead -= rate * late
        moment = self.errors.burn_time_s * self._take(1)[0]
        radial = radial + self._off_touch(speed, self.circular, moment)
        period_error = self._settle(touch, speed, radial)
        phased_out = np.abs(self.ahead) > tolerance
        some = np.flatnonzero(phased_out)
        if some.size:
            there = touch if isinstance(touch, float) else touch[some]
            periods = self.period * (1.0 + self.ahead[some] / (2.0 * math.pi * story.trim_turns))
            settled = np.sqrt(self.gm * (2.0 / there - 1.0 / self.radius))
            self.used[some] += 2.0 * np.abs(self._speed_of(there, periods) - settled)
        tilt = np.hypot(*self.tilts)
        turned = np.where(tilt > story.tilt_tolerance_rad, tilt, 0.0)
        self.used += 2.0 * self.circular * np.sin(0.5 * turned)
        return Flights(self.used, self.ahead, period_error, tilt, went_on, phased_out, self.too_low)

    def _off_touch(self, before: Array, after_m_s: float, moment_s: Array) -> Array:
        """A burn so much after the touch: how far that moves the craft is noted; its radial speed is given, m/s.

        To first order in the time, with the mean speed before the burn.
        """
        speed = float(np.mean(before))
        self.ahead += (speed - after_m_s) / self.radius * moment_s
        return np.asarray((speed**2 / self.radius - self.gm / self.radius**2) * moment_s)

    def _arrive(self) -> tuple[Array | float, Array, Array]:
        """Where and how fast the ring is touched, and how late."""
        story, errors = self.story, self.errors
        count = self.used.size
        if story.insertion is None:
            return self.radius, np.full(count, story.arrival_speed_m_s), np.zeros(count)
        low, high, incline, node, moment = self._take(5)
        turn, across = math.cos(story.touch_rad), math.sin(story.touch_rad)
        inclined = errors.inclination_rad * incline
        noded = errors.node_rad * math.sin(self.ring.inclination_rad) * node
        # about the line through the touch, and about the one a quarter turn on
        self.tilts[0][:] += turn * inclined + across * noded
        self.tilts[1][:] += across * inclined - turn * noded
        if story.parking:
            return self._leave(low, high)
        periapsis = story.insertion.periapsis_m + errors.periapsis_m * low
        touch = self.radius + errors.apoapsis_m * high
        semi = 0.5 * (periapsis + touch)
        planned = self._unit * (0.5 * (story.insertion.periapsis_m + self.radius)) ** 1.5
        period = self._unit * semi * np.sqrt(semi)
        late = errors.insertion_time_s * moment + story.coast_share * (period - planned)
        return touch, np.sqrt(self.gm * (2.0 / touch - 1.0 / semi)), late

    def _leave(self, low: Array, high: Array) -> tuple[Array, Array, Array]:
        """Leave a parking orbit, whose own errors only shift the moment of leaving, for the ring."""
        story, errors = self.story, self.errors
        if story.insertion is None:
            raise ValueError("a parking orbit without an insertion")
        here = story.insertion.radius_m + errors.periapsis_m * low
        there = story.insertion.radius_m + errors.apoapsis_m * high
        before = np.sqrt(self.gm * (2.0 / here - 2.0 / (here + there)))
        size = np.sqrt(self.gm * (2.0 / here - 2.0 / (here + self.radius))) - before
        off = self._burn(size)
        moment = errors.burn_time_s * self._take(1)[0]
        period, inverse = self._period_of(here, np.square(before + size + off.along_m_s))
        touch = 2.0 / inverse - here
        planned = self._unit * (0.5 * (here + self.radius)) ** 1.5
        # leaving late, a craft that turns faster than the ring is ahead: it comes too early by the difference
        rate = self.gm**0.5 / story.insertion.radius_m**1.5 / self.ring.rate_rad_s
        late = 0.5 * (period - planned) + (1.0 - rate) * moment
        return touch, np.sqrt(self.gm * (2.0 / touch - inverse)), late

    def _phase(self, touch: Array | float, speed: Array, late: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Phasing burn, reading, trim or going on, and the revolutions: speed and radial speed at the last touch."""
        story, errors, rate = self.story, self.errors, self.ring.rate_rad_s
        wait = story.wait_s - late
        wanted = wait / story.revolutions
        size = self._speed_of(touch, wanted) - speed
        off = self._burn(size)
        moment = errors.burn_time_s * self._take(1)[0]
        rising = self._off_touch(speed, float(np.mean(speed + size)), moment)
        along, radial = speed + size + off.along_m_s, off.across_m_s + rising
        square = np.square(along) + np.square(radial)
        period, inverse = self._period_of(touch, square)
        self.too_low = 2.0 / inverse - touch < story.floor_m * (1.0 - 1e-9)
        misread = errors.period_reading_s * self._take(1)[0]
        read = period + misread
        turns = np.full(read.size, float(story.revolutions))
        went_on = np.zeros(read.size, dtype=np.bool_)
        worth = HALF * story.tolerance_rad / rate
        towards = math.copysign(1.0, self.circular - story.arrival_speed_m_s)
        if story.may_go_on and abs(self.circular - story.arrival_speed_m_s) > 0.0:
            later = (wait + self.period) / (story.revolutions + 1)
            past = towards * (read - wanted)
            went_on = (past * story.revolutions > worth) & (towards * (later - read) >= 0.0) & (towards * size >= 0.0)
            wanted = np.where(went_on, later, wanted)
            turns += went_on
        trimmed = np.abs(read - wanted) * turns > worth
        # dv/dT = gm / (3 a v T), by vis-viva and Kepler's third law
        slope = self.gm * inverse / (3.0 * along * period)
        trim = np.where(trimmed, self._speed_of(touch, wanted) - np.sqrt(square) - slope * misread, 0.0)
        again = self._burn(trim)
        along = along + trim + again.along_m_s
        radial = radial + again.across_m_s
        period, _ = self._period_of(touch, np.square(along) + np.square(radial))
        self.ahead -= rate * turns * (period - wanted)
        return along, radial, went_on

    def _settle(self, touch: Array | float, speed: Array, radial: Array) -> Array:
        """Last burn, reading, trim: the period's error that is left."""
        wanted = np.sqrt(self.gm * (2.0 / touch - 1.0 / self.radius))
        size = wanted - speed
        off = self._burn(size)
        along, radial = wanted + off.along_m_s, radial + off.across_m_s
        period, _ = self._period_of(touch, np.square(along) + np.square(radial))
        read = period - self.period + self.errors.period_reading_s * self._take(1)[0]
        slope = self.gm / (3.0 * self.radius * self.circular * self.period)
        trim = np.where(np.abs(read) > self.story.match_s, -slope * read, 0.0)
        again = self._burn(trim)
        along, radial = along + trim + again.along_m_s, radial + again.across_m_s
        period, _ = self._period_of(touch, np.square(along) + np.square(radial))
        # with a radial speed here the craft is off its apsis by e sin(anomaly): twice that is swing, not place
        self.ahead -= 2.0 / self.circular * radial
        return period - self.period
