"""Many flights of one craft with errors, with a linear model of its numerical flight.

For ways that have no closed form: free-form flights, launches whose first burns an upper stage pays, and craft that a
carrier drops, from the carrier's insertion on. How
every error changes the end of the flight (slot, period, shape, plane) and its lowest point is read off from flights a
little off the planned one. Before each burn the planner looks where the rest of the plan leads: where it misses the
slot by half its tolerance, or the plane, the burns that are left are changed by the least that leads there, or the slot
error is left to be phased out at the end, whichever costs less; the ring's period is read and trimmed at the end, as in
``closed_form.py``. Changes of burns meet their own errors; what is of second order in the errors is left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.dispersions import burn_error_vectors, let_go_off
from ...models.flight.flown import TURN_MARGIN, Itinerary
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import Flight, Impulse, fly, measure, readout
from ...models.frames import wrap
from ...models.planes import turn_delta_v
from ...models.ring import Ring
from ...models.scenario import INJECTION_ERRORS, Scenario
from ..craft_plan import CarrierPlan, CraftPlan
from ..limits.tilt_tolerance import PLANE_SLACK_RAD
from .closed_form import HALF, Draws, Flights
from .craft_leg import CraftStory, errors_of, trim_turns
from .sensitivity import PERIOD_SHARE, SPEED_SHARE, steps_over

STEPS = {"periapsis_m": 100.0, "apoapsis_m": 100.0, "inclination_rad": 1e-5, "node_rad": 1e-5, "insertion_time_s": 1.0}
"""Steps of the differences in what the launcher is off by; those of burns are `sensitivity`'s."""

TARGETS = 6
"""Rows of a law that are to be met: slot error, rate error a turn, two of eccentricity, two of tilt; all rad or ratios.
One more row follows, the lowest radius, m."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LinearStory(CraftStory):
    """One craft's way into its slot as a linear model.

    Args:
        launched: whether a launcher lets it go.
        burns: as planned, outward, along, cross, m/s, (n, 3).
        own: share of each burn that the craft pays, (n,).
        aboard: how many of them its carrier makes, which the craft cannot change; others on board share their errors.
        company: counts the carriers, from 0; None for a craft that goes alone.
        insertion: what each of `INJECTION_ERRORS` does to the end, (7, 5).
        law: what each m/s of each burn does to it, (7, n, 3).
        late: what each second does by which a burn is late, (7, n).
        period_per_m_s: what each m/s along does to the period after that burn, s, (n,).
        tilt_rad: against the plane as planned, its two parts.
        lowest_m: lowest radius as planned.
    """

    launched: bool
    burns: Array
    own: Array
    aboard: int = 0
    company: int | None = None
    insertion: Array
    law: Array
    late: Array
    period_per_m_s: Array
    tilt_rad: tuple[float, float]
    lowest_m: float

    @property
    def normals(self) -> int:
        """How many standard normal numbers one flight of this craft takes."""
        count = len(self.burns)
        return (5 if self.launched else 0) + 5 * count + 3 * (count - 1) + 1 + 3

    @property
    def shared(self) -> int:
        """How many of them come first and are those of all craft on its carrier: its insertion and burns."""
        if self.company is None:
            return 0
        return (5 if self.launched else 0) + 5 * self.aboard + 3 * max(self.aboard - 1, 0)

    def fly(self, normal: Array) -> Flights:
        """Fly the craft many times; ``normal`` independent standard normal numbers, shape (`normals`, flights)."""
        return _Fly(self, normal).flights()


def fly_linear(story: LinearStory, normal: Array, begun: Array, used_m_s: Array, too_low: NDArray[np.bool_]) -> Flights:
    """Fly a craft many times whose flight has already begun.

    Args:
        normal: as many numbers as a story without a beginning takes.
        begun: what its start does to the end, (7, flights), which is known.
        used_m_s, too_low: what has been burned before, and whether it has been below the floor.
    """
    flying = _Fly(story, normal)
    flying.used += used_m_s
    flights = flying.flights(begun)
    return flights._replace(too_low=flights.too_low | too_low)


def linear_story_of(
    scenario: Scenario, ring: Ring, part: CraftPlan, match_s: float, carriers: Sequence[CarrierPlan] = ()
) -> LinearStory:
    """The law of one craft's flight, by differences; all flights go in one batch.

    Args:
        scenario: with errors and limits.
        ring: with its slots.
        part: what the craft does by the plan; its burns are taken as impulses.
        match_s: how well its period must match the ring's.
        carriers: of the plan, where it is dropped by one of them.

    Raises:
        FlightError: a flight a little off does not come round.
    """
    item = part.itinerary
    if item is None or not item.impulses:
        raise ValueError(f"{part.craft} does not burn")
    company = next((number for number, one in enumerate(carriers) if one.carrier == part.carrier), None)
    before: tuple[Impulse, ...] = ()
    if company is not None:
        item, before = _with_carrier(item, carriers[company].itinerary)
    count, burns, launched = len(item.impulses), item.impulses, part.pad is not None
    flights, step = _a_little_off(scenario, ring, item, launched=launched), steps_over(ring)
    ends = np.stack([_end(flight, ring, part) for flight in flights])
    off = ends[1:] - ends[0]
    off[:, 0] = wrap(off[:, 0])
    of_burns = off[: 4 * count].reshape(count, 4, -1)
    after = [readout(flights[0].after[k], ring.gm).period_s for k in range(count)]
    along = [readout(flights[2 + 4 * k].after[k], ring.gm).period_s for k in range(count)]
    steps = np.array([*launch_steps(ring).values()])
    turns = trim_turns(scenario, ring.period_s, part, part.in_slot_s - part.ring_arrival_s)
    sizes = np.array([burn.delta_v_m_s for burn in part.burns])
    own = np.array([burn.own_m_s for burn in part.burns]) / np.maximum(sizes, 1e-12)
    return LinearStory(
        craft=part.craft,
        errors=errors_of(scenario, part),
        ring=ring,
        launched=launched,
        burns=np.array([burn[1:] for burn in burns]),
        own=np.concatenate([np.zeros(len(before)), own]),
        aboard=len(before),
        company=company,
        insertion=(off[4 * count :] / steps[:, np.newaxis]).T if launched else np.zeros((TARGETS + 1, 5)),
        law=np.moveaxis(of_burns[:, :3] / step.m_s, 2, 0),
        late=(of_burns[:, 3] / step.s).T,
        period_per_m_s=(np.array(along) - np.array(after)) / step.m_s,
        tilt_rad=(float(ends[0, 4]), float(ends[0, 5])),
        lowest_m=float(ends[0, TARGETS]),
        floor_m=scenario.floor_m,
        trim_turns=max(turns, 1),
        too_late=turns < 1,
        tolerance_rad=scenario.ring.tolerance_rad,
        tilt_tolerance_rad=scenario.ring.tilt_tolerance_rad + PLANE_SLACK_RAD,
        match_s=match_s,
        planned_m_s=part.delta_v_m_s,
    )


def _a_little_off(scenario: Scenario, ring: Ring, item: Itinerary, *, launched: bool) -> tuple[Flight, ...]:
    """The flight as planned; with each burn a little more on each axis, and later; with the launcher off its mark."""
    burns = item.impulses
    asked, step = [item], steps_over(ring)
    for index, burn in enumerate(burns):
        moved = [Impulse(burn.time_s, *(np.array(burn[1:]) + step.m_s * axis)) for axis in np.eye(3)]
        moved.append(burn._replace(time_s=burn.time_s + step.s))
        for one in moved:
            # what is burned in the same pass is as late
            later = (other._replace(time_s=max(other.time_s, one.time_s)) for other in burns[index + 1 :])
            asked.append(replace(item, impulses=(*burns[:index], one, *later)))
    asked += off_the_mark(item, ring) if launched else []
    end = max(item.end_s, burns[-1].time_s + step.s + TURN_MARGIN * ring.period_s)
    return fly([replace(one, end_s=end) for one in asked], gravity_around(scenario.body))


def launch_steps(ring: Ring) -> dict[str, float]:
    """:data:`STEPS` over a ring, small against its radius and its period, in the order of `INJECTION_ERRORS`."""
    most = {
        "periapsis_m": SPEED_SHARE * ring.radius_m,
        "apoapsis_m": SPEED_SHARE * ring.radius_m,
        "insertion_time_s": PERIOD_SHARE * ring.period_s,
    }
    return {name: min(STEPS[name], most.get(name, math.inf)) for name in INJECTION_ERRORS}


def off_the_mark(item: Itinerary, ring: Ring) -> list[Itinerary]:
    """The flight with the launcher a step off by each of `INJECTION_ERRORS`."""
    found, steps = [], launch_steps(ring)
    for name in INJECTION_ERRORS[:4]:
        position, velocity = let_go_off(item.position, item.velocity, ring.gm, **{name: steps[name]})
        found.append(replace(item, position=position, velocity=velocity))
    start_s = item.start_s + steps["insertion_time_s"]
    # no burn comes before the craft is let go
    burns = tuple(burn._replace(time_s=max(burn.time_s, start_s)) for burn in item.impulses)
    return [*found, replace(item, start_s=start_s, impulses=burns)]


def _with_carrier(item: Itinerary, carrier: Itinerary) -> tuple[Itinerary, tuple[Impulse, ...]]:
    """A craft's flight from its carrier's insertion on, and the carrier's burns until the drop."""
    before = tuple(burn for burn in carrier.impulses if burn.time_s < item.start_s + AT_DROP_S)
    whole = replace(
        item,
        start_s=carrier.start_s,
        position=carrier.position,
        velocity=carrier.velocity,
        impulses=(*before, *item.impulses),
    )
    return whole, before


def _end(flight: Flight, ring: Ring, part: CraftPlan) -> Array:
    lowest = min(leg.lowest_m for leg in flight.legs())
    return np.append(measure(flight, ring, part.plane, part.slot).misses(ring), lowest)


AT_DROP_S = 1e-3
"""A burn of the carrier this near to the drop is made before it: it enters the orbit and drops at once."""

AIMS = ([0, 1], [0, 1, 2, 3], [0, 1, 4, 5], [0, 1, 2, 3, 4, 5])
"""Rows that a change of burns may meet: slot and period, these and the shape, these and the plane, or all."""


class _Fly(Draws):
    """One pass over a block of flights, by the law."""

    def __init__(self, story: LinearStory, normal: Array) -> None:
        super().__init__(story.errors, normal)
        self.story, count = story, normal.shape[1]
        # where the rest of the plan leads, really and by what was read; and the burns as they are changed
        self.end = np.zeros((TARGETS + 1, count))
        self.known = self.end
        self.burns = np.repeat(story.burns[:, :, np.newaxis], count, axis=2)

    def flights(self, begun: Array | None = None) -> Flights:
        story, errors, ring = self.story, self.errors, self.story.ring
        if story.launched:
            sigma = [getattr(errors, name) for name in INJECTION_ERRORS]
            begun = (story.insertion * sigma) @ self._take(5)
        if begun is not None:
            self.end = begun
            self.known = self.end.copy()
            self._change(0)
        for index in range(len(story.burns)):
            if index > 0:
                self._change(index)
            self._burn(index)
        slot, period_error = self.end[0], self.end[1] * ring.period_s / (2.0 * math.pi)
        read = period_error + errors.period_reading_s * self._take(1)[0]
        # dv / dT = v / (3 T) on the ring, by vis-viva and Kepler's third law
        slope = ring.speed_m_s / (3.0 * ring.period_s)
        trim = np.where(np.abs(read) > story.match_s, slope * read, 0.0)
        wanted = np.stack([np.zeros_like(trim), -trim, np.zeros_like(trim)])
        error = burn_error_vectors(self.errors, wanted, self._take(3))
        self.used += _length(wanted + error)
        period_error = period_error + (wanted[1] + error[1]) / slope
        phased_out = np.abs(slot) > story.tolerance_rad
        self.used[phased_out] += self._phasing_out(slot[phased_out])
        tilt = self._tilt(self.end)
        self.used += self._turning(tilt)
        return Flights(
            delta_v_m_s=self.used,
            slot_error_rad=slot,
            period_error_s=period_error,
            tilt_rad=tilt,
            went_on=np.zeros(slot.size, dtype=np.bool_),
            phased_out=phased_out,
            too_low=story.lowest_m + self.end[TARGETS] < story.floor_m * (1.0 - 1e-9),
        )

    def _burn(self, index: int) -> None:
        story, errors, wanted = self.story, self.errors, self.burns[index]
        error = burn_error_vectors(errors, wanted, self._take(3))
        self.used += story.own[index] * _length(wanted + error)
        late = errors.burn_time_s * self._take(1)
        self.end = self.end + story.law[:, index] @ error + story.late[:, index, np.newaxis] * late
        misread = errors.period_reading_s / story.period_per_m_s[index] * self._take(1)
        self.known = self.end + story.law[:, index, 1, np.newaxis] * misread

    def _change(self, first: int) -> None:
        """Change the burns that are left where the rest of the plan would miss, in the cheapest of a few ways.

        With a small burn right after the last one or without, with the shape met or left within the tolerance, the
        plane met or turned at the end; or not at all, where phasing out the slot error at the end is cheaper.
        """
        story, again = self.story, self._take(3) if first > 0 else None
        if first < story.aboard:
            return  # the carrier flies its plan
        tilted = self._tilt(self.known) > story.tilt_tolerance_rad
        off_slot = np.abs(self.known[0]) > HALF * story.tolerance_rad
        # the same place once more, for a burn right after the last one
        law = np.insert(story.law, first, 0.0 if first == 0 else story.law[:, first - 1], axis=1)
        for some, aims in ((np.flatnonzero(off_slot & ~tilted), AIMS[:2]), (np.flatnonzero(tilted), AIMS)):
            change = self._cheapest(first, law, some, aims)
            self.burns[first:, :, some] += change[first + 1 :]
            moved = np.tensordot(law, change, 2)
            if again is not None:
                error = burn_error_vectors(self.errors, change[first], again[:, some])
                self.used[some] += _length(change[first] + error)
                moved += story.law[:, first - 1] @ error
            self.end[:, some] += moved
            self.known[:, some] += moved

    def _cheapest(self, first: int, law: Array, some: NDArray[np.intp], aims: Sequence[list[int]]) -> Array:
        """The cheapest change of burns of some flights, that of a burn right after the last one put in its place."""
        story, known = self.story, self.known[:, some]
        own = np.insert(story.own, first, 1.0)
        before = np.insert(self.burns[:, :, some], first, 0.0, axis=0)
        size = _length(before)
        best = np.zeros_like(before)
        least = self._phasing_out(known[0]) + self._turning(self._tilt(known))
        for begin in (first, first + 1) if first > 0 else (1,):
            flat = law[:, begin:].reshape(TARGETS + 1, -1)
            for rows in aims:
                if np.linalg.matrix_rank(flat[rows]) < len(rows):
                    continue
                change = np.zeros_like(best)
                change[begin:] = -(np.linalg.pinv(flat[rows]) @ known[rows]).reshape(len(best) - begin, 3, -1)
                end = known + np.tensordot(law, change, 2)
                cost = own @ (_length(before + change) - size) + self._turning(self._tilt(end))
                swing = 2.0 * np.hypot(end[2], end[3])
                better = (cost < least) & (swing < HALF * story.tolerance_rad)
                best[..., better], least = change[..., better], np.where(better, cost, least)
        return best

    def _tilt(self, end: Array) -> Array:
        first, second = self.story.tilt_rad
        return np.asarray(np.hypot(end[4] + first, end[5] + second))

    def _phasing_out(self, slot: Array) -> Array:
        """What it costs to take out a slot error after the last burn, over the turns that the limits leave."""
        ring = self.story.ring
        period = ring.period_s * np.maximum(1.0 + slot / (2.0 * math.pi * self.story.trim_turns), 0.1)
        # vis-viva with 1 / a by Kepler's third law, on a circle of 1 / a = 1 / r
        inverse = np.cbrt(np.square(ring.period_s / period))
        return np.asarray(2.0 * ring.speed_m_s * np.abs(np.sqrt(np.maximum(2.0 - inverse, 0.0)) - 1.0))

    def _turning(self, tilt: Array) -> Array:
        """What it costs to take off a tilt at the node."""
        cost = np.zeros_like(tilt)
        some = tilt > self.story.tilt_tolerance_rad
        cost[some] = turn_delta_v(self.story.ring.speed_m_s, tilt[some])
        return cost


def _length(vectors: Array) -> Array:
    """Lengths of vectors (..., 3, n)."""
    return np.asarray(np.sqrt(np.einsum("...ij,...ij->...j", vectors, vectors)))
