"""Many flights with errors of a craft that waits for its node to drift: both ends by linear models, the wait by rates.

What the burns into the waiting orbit are off by is read off from short flights a little off the planned one; over the
months of waiting it grows by secular rates; what it does to the way up and its burns is read off from short flights
again (`linear.py`), with whose corrections the craft arrives. On the way the planner follows the craft: right after it
has settled, and again each time that half of the wait is left, the period of the waiting orbit is trimmed where the
craft would be more than half its tolerance off when it is to go up; and a lean of the plane is turned back at once
where that is cheaper than to turn at the end what it has grown to. The moment of going up stays as planned. A craft
in space that waits in its own orbit, which is taken as given, has only its way up before it; a launched one begins with
what its launcher is off by, in the parking orbit too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from ...models import frames
from ...models.arrays import Array
from ...models.dispersions import burn_error_vectors
from ...models.flight.flown import Flight, Itinerary
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import Impulse, fly, measure
from ...models.flight.nodal_returns import coast_by_returns
from ...models.oblate_circles import RELATIVE, as_ring
from ...models.oblateness import secular_rates
from ...models.planes import turn_delta_v
from ...models.ring import Ring
from ...models.scenario import INJECTION_ERRORS, Body, Scenario
from ..craft_plan import CarrierPlan, CraftPlan
from .closed_form import HALF, Draws, Flights
from .craft_leg import errors_of
from .linear import TARGETS, LinearStory, fly_linear, launch_steps, linear_story_of, off_the_mark
from .sensitivity import steps_over

BEFORE_TURNS = 0.6
"""The way up is looked at from so many turns before its first burn."""

LEAST_TURNS = 15.0
"""No trim comes later than so many turns, about a day, before that; shorter waits belong to one linear model."""

STEP_RAD = 1e-5
"""Step of the differences in where the craft is, and how its plane lies, before the way up."""


@dataclass(frozen=True, kw_only=True)
class Wait:
    """The waiting orbit of a drift, and how what is off at its start grows until the way up.

    Six rows stand for what is off, in the waiting orbit's own plane: place, rate a turn, two of eccentricity, and the
    two leans of the pole (`slot_error.Measured.misses`).

    Args:
        lasts_s: from the last burn into it until shortly before the first out of it.
        period_s, speed_m_s, radius_m, inclination_rad: of it.
        lowest_m: lowest radius in it as planned.
        node_rate_rad_s, periapsis_rate_rad_s: secular.
        burns: into it, outward, along, cross, m/s, (n, 3).
        law: what each m/s of each burn does to the rows, (6, n, 3).
        late: what each second does by which a burn is late, (6, n).
        insertion: what each of `INJECTION_ERRORS` does to them, (6, 5); (6, 0) for a craft that no launcher lets go.
    """

    lasts_s: float
    period_s: float
    speed_m_s: float
    radius_m: float
    inclination_rad: float
    lowest_m: float
    node_rate_rad_s: float
    periapsis_rate_rad_s: float
    burns: Array
    law: Array
    late: Array
    insertion: Array

    @property
    def trims(self) -> int:
        """How often the period may be trimmed."""
        return 1 + max(int(math.log2(max(self.lasts_s / (LEAST_TURNS * self.period_s), 1.0))), 0)

    def grown(self, rows: Array, lasts_s: float) -> Array:
        """What is off after some time without a burn."""
        out = rows.copy()
        slower = rows[1] / (2.0 * math.pi)
        out[0] -= rows[1] * lasts_s / self.period_s
        angle = self.periapsis_rate_rad_s * lasts_s
        out[2] = math.cos(angle) * rows[2] - math.sin(angle) * rows[3]
        out[3] = math.sin(angle) * rows[2] + math.cos(angle) * rows[3]
        # Vallado 2013, equation 9-37: as a^(-7/2) cos i; the second lean is that of the inclination, downward
        rate = self.node_rate_rad_s * (-7.0 / 3.0 * slower + math.tan(self.inclination_rad) * rows[5])
        out[4] += math.sin(self.inclination_rad) * rate * lasts_s
        return out


@dataclass(frozen=True, kw_only=True, eq=False)
class DriftStory(LinearStory):
    """One craft's way into its slot by nodal drift: the linear model is that of its way up.

    Args:
        wait: before that.
        arriving: what each of the rows of `Wait` does to the end, (7, 6).
    """

    wait: Wait
    arriving: Array

    @property
    def normals(self) -> int:
        """How many standard normal numbers one flight of this craft takes."""
        wait = self.wait
        return super().normals + int(wait.insertion.shape[1]) + 4 * len(wait.burns) + 1 + 3 * wait.trims + 3

    @property
    def shared(self) -> int:
        """How many of them come first and are those of all craft on its carrier: what its launcher is off by."""
        return 0 if self.company is None else int(self.wait.insertion.shape[1])

    def fly(self, normal: Array) -> Flights:
        """Fly the craft many times; ``normal`` independent standard normal numbers, shape (`normals`, flights)."""
        first = self.normals - super().normals
        waiting = _Waiting(self, normal[:first])
        rows = waiting.until_up()
        return fly_linear(self, normal[first:], self.arriving @ rows, waiting.used, waiting.too_low)


class _Waiting(Draws):
    """One pass over a block of flights, until shortly before the way up."""

    def __init__(self, story: DriftStory, normal: Array) -> None:
        super().__init__(story.errors, normal)
        self.story, self.wait = story, story.wait
        self.too_low = np.zeros(normal.shape[1], dtype=np.bool_)

    def until_up(self) -> Array:
        """What is off shortly before the way up, (6, flights)."""
        wait, errors = self.wait, self.errors
        count = wait.insertion.shape[1]
        sigma = np.array([getattr(errors, name) for name in INJECTION_ERRORS[:count]])
        rows: Array = (wait.insertion * sigma) @ self._take(count)
        for index, burn in enumerate(wait.burns):
            wanted = np.repeat(burn[:, np.newaxis], self.used.size, axis=1)
            error = burn_error_vectors(errors, wanted, self._take(3))
            self.used += np.linalg.norm(wanted + error, axis=0)
            late = errors.burn_time_s * self._take(1)
            rows += wait.law[:, index] @ error + wait.late[:, index, np.newaxis] * late
        # vis-viva on a circle, and Kepler's third law
        low = wait.radius_m * (2.0 / 3.0 * rows[1] / (2.0 * math.pi) - np.hypot(rows[2], rows[3]))
        self.too_low = wait.lowest_m + low < self.story.floor_m * (1.0 - 1e-9)
        misread = 2.0 * math.pi * errors.period_reading_s / wait.period_s * self._take(1)[0]
        left = wait.lasts_s
        for number in range(wait.trims):
            rows = self._trimmed(rows, misread if number == 0 else np.zeros_like(misread), left)
            if number == 0:
                rows = self._level(rows, left)
            lasts = 0.5 * left if number < wait.trims - 1 else left
            rows, left = wait.grown(rows, lasts), left - lasts
        return rows

    def _trimmed(self, rows: Array, misread: Array, left_s: float) -> Array:
        """With the period trimmed so that the craft is in its place at the end of the wait, where it would be off."""
        wait = self.wait
        off = rows[0] - (rows[1] + misread) * left_s / wait.period_s
        slope = 6.0 * math.pi / wait.speed_m_s  # rate a turn for each m/s along, by vis-viva and Kepler's third law
        along = np.where(np.abs(off) > HALF * self.story.tolerance_rad, off * wait.period_s / left_s / slope, 0.0)
        wanted = np.stack([np.zeros_like(along), along, np.zeros_like(along)])
        error = burn_error_vectors(self.errors, wanted, self._take(3))
        self.used += np.linalg.norm(wanted + error, axis=0)
        out = rows.copy()
        out[1] += slope * (along + error[1])
        return out

    def _level(self, rows: Array, left_s: float) -> Array:
        """With the inclination turned back where that is cheaper than to turn the plane at the end."""
        wait = self.wait
        end = wait.grown(rows, left_s)
        level = rows.copy()
        level[5] = 0.0
        after = wait.grown(level, left_s)
        now = wait.speed_m_s * np.abs(rows[5])
        turns = now + self._turning(after) < self._turning(end)
        wanted = np.zeros((3, now.size))
        wanted[2] = np.where(turns, now, 0.0)
        error = burn_error_vectors(self.errors, wanted, self._take(3))
        self.used += np.linalg.norm(wanted + error, axis=0)
        out = np.where(turns, level, rows)
        out[5] += np.where(turns, error[2] / wait.speed_m_s, 0.0)
        return out

    def _turning(self, rows: Array) -> Array:
        tilt = np.hypot(rows[4], rows[5])
        return np.where(tilt > self.story.tilt_tolerance_rad, turn_delta_v(self.wait.speed_m_s, tilt), 0.0)


def drift_story_of(
    scenario: Scenario, ring: Ring, part: CraftPlan, match_s: float, carriers: Sequence[CarrierPlan] = ()
) -> LinearStory:
    """The story of a craft that waits for its node to drift.

    Args:
        scenario: with errors and limits.
        ring: with its slots.
        part: what the craft does by the plan; its burns are taken as impulses.
        match_s: how well its period must match the ring's.
        carriers: of the plan, where one of them lets it go: craft of one share its launcher's errors.

    Raises:
        FlightError: a flight a little off does not come round.
    """
    item = part.itinerary
    if item is None or not item.impulses:
        raise ValueError(f"{part.craft} does not burn")
    body = scenario.body
    times = [item.start_s, *(burn.time_s for burn in item.impulses)]
    before = int(np.argmax(np.diff(times)))
    if times[before + 1] - times[before] < LEAST_TURNS * ring.period_s:
        # a wait so short is a part of the flight like any other
        return linear_story_of(scenario, ring, part, match_s, carriers)
    down, up = item.impulses[:before], item.impulses[before:]
    since_s, state = item.start_s, np.concatenate([item.position, item.velocity])
    if down:
        first = replace(item, impulses=down, end_s=down[-1].time_s + 1.0)
        (flight,) = fly([first], gravity_around(body), relative=RELATIVE)
        since_s, state = flight.settled_s, np.asarray(flight.after[-1])
    circle = _circle(body, state, since_s)
    begun_s = max(up[0].time_s - BEFORE_TURNS * circle.period_s, since_s + 1.0)
    near = coast_by_returns(body, state[:, np.newaxis], np.array([begun_s - since_s]), RELATIVE)[:, 0]
    last = Itinerary.through_turn(begun_s, near[:3], near[3:], up, ring)
    launched = part.pad is not None
    # whatever let it go did so before the wait
    risen = replace(part, itinerary=last, burns=part.burns[before:], pad=None)
    rising = linear_story_of(scenario, ring, risen, match_s)
    if not down and not launched:
        return rising
    given = {one.name: getattr(rising, one.name) for one in fields(LinearStory)}
    wait = _wait_of(body, item, down, circle, begun_s - since_s, launched=launched)
    given["errors"] = errors_of(scenario, part)
    given["company"] = next((number for number, one in enumerate(carriers) if one.carrier == part.carrier), None)
    return DriftStory(**given, wait=wait, arriving=_arriving(body, ring, part, last))


def _circle(body: Body, state: Array, time_s: float) -> Ring:
    """The orbit of a craft as a ring with one slot, in which it is about then."""
    pole = np.cross(state[:3], state[3:])
    inclination = math.acos(pole[2] / float(np.linalg.norm(pole)))
    node = math.atan2(pole[0], -pole[1])
    semi = 1.0 / (2.0 / float(np.linalg.norm(state[:3])) - float(state[3:] @ state[3:]) / body.gm)
    turn = 2.0 * math.pi * math.sqrt(semi**3 / body.gm)
    item = Itinerary(start_s=0.0, position=state[:3], velocity=state[3:], end_s=1.05 * turn)
    (flight,) = fly([item], gravity_around(body), relative=RELATIVE)
    radius = float(np.linalg.norm(flight.states(np.linspace(0.0, turn, 65)[:-1])[:, :3], axis=1).mean())
    angle = float(frames.latitude_argument(state[:3], inclination, node))
    return as_ring(body, radius, inclination, node, angle, time_s)


def _misses(flight: Flight, circle: Ring, from_s: float) -> Array:
    return measure(flight, circle, 0, 0, from_s).misses(circle)


def _off(ends: Array) -> Array:
    off = ends[1:] - ends[0]
    off[:, 0] = frames.wrap(off[:, 0])
    return np.asarray(off)


def _wait_of(
    body: Body, item: Itinerary, down: tuple[Impulse, ...], circle: Ring, lasts_s: float, *, launched: bool
) -> Wait:
    """The waiting orbit, and the law of the launcher and of the burns into it."""
    asked, step = [replace(item, impulses=down)], steps_over(circle)
    for index, burn in enumerate(down):
        moved = [Impulse(burn.time_s, *(np.array(burn[1:]) + step.m_s * axis)) for axis in np.eye(3)]
        moved.append(burn._replace(time_s=burn.time_s + step.s))
        asked += [replace(item, impulses=(*down[:index], one, *down[index + 1 :])) for one in moved]
    if launched:
        asked += off_the_mark(asked[0], circle)
    settled_s = max([item.start_s, *(burn.time_s for burn in down)]) + 2.0 * step.s
    end_s = settled_s + 1.4 * circle.period_s
    flights = fly([replace(one, end_s=end_s) for one in asked], gravity_around(body), relative=RELATIVE)
    every = _off(np.stack([_misses(flight, circle, settled_s) for flight in flights]))
    off, of_launch = every[: 4 * len(down)].reshape(len(down), 4, TARGETS), every[4 * len(down) :]
    steps = np.array([*launch_steps(circle).values()][: len(of_launch)])
    rates = secular_rates(body, circle.radius_m, 0.0, circle.inclination_rad)
    lowest = min(leg.lowest_m for leg in flights[0].legs())
    return Wait(
        lasts_s=lasts_s,
        period_s=circle.period_s,
        speed_m_s=circle.speed_m_s,
        radius_m=circle.radius_m,
        inclination_rad=circle.inclination_rad,
        lowest_m=lowest,
        node_rate_rad_s=circle.node_rate_rad_s,
        periapsis_rate_rad_s=float(rates.periapsis_rad_s),
        burns=np.array([burn[1:] for burn in down]),
        law=np.moveaxis(off[:, :3] / step.m_s, 2, 0),
        late=(off[:, 3] / step.s).T,
        insertion=of_launch.T / steps,
    )


def _arriving(body: Body, ring: Ring, part: CraftPlan, up: Itinerary) -> Array:
    """What the rows of `Wait` do to the end, (7, 6), from six ways to be a little off before the way up."""
    state = np.concatenate([up.position, up.velocity])
    circle = _circle(body, state, up.start_s)
    asked = [up, *(_moved(up, state, circle, number) for number in range(TARGETS))]
    ends = fly(asked, gravity_around(body), relative=RELATIVE)
    at_end = np.stack(
        [
            np.append(measure(one, ring, part.plane, part.slot).misses(ring), min(leg.lowest_m for leg in one.legs()))
            for one in ends
        ]
    )
    coasts = [replace(one, impulses=(), end_s=up.start_s + 1.4 * circle.period_s) for one in asked]
    flights = fly(coasts, gravity_around(body), relative=RELATIVE)
    before = np.stack([_misses(flight, circle, up.start_s) for flight in flights])
    return np.asarray(np.linalg.solve(_off(before), _off(at_end)).T)


def _moved(up: Itinerary, state: Array, circle: Ring, number: int) -> Itinerary:
    """A way up that begins a little off: ahead, its node, its lean, or its speed outward, along, across."""
    if number == 0:
        return replace(up, start_s=up.start_s - STEP_RAD / circle.rate_rad_s)
    node = circle.node(up.start_s)
    pole = np.array([0.0, 0.0, 1.0]) if number == 1 else np.array([math.cos(node), math.sin(node), 0.0])
    if number <= 2:
        # about so small an angle, to second order in it
        turned = [part + STEP_RAD * np.cross(pole, part) for part in (state[:3], state[3:])]
        return replace(up, position=turned[0], velocity=turned[1])
    out = state[:3] / np.linalg.norm(state[:3])
    across = np.cross(state[:3], state[3:])
    across /= np.linalg.norm(across)
    axis = (out, np.cross(across, out), across)[number - 3]
    return replace(up, velocity=state[3:] + steps_over(circle).m_s * axis)
