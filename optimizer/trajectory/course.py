"""One option worked out: what is flown, and what the plan says about it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ...models.burns import BurnModel
from ...models.flight.integrate import Flight, Itinerary
from ...models.launch import Ascent
from ..craft_plan import FreeForm
from ..problem.problem import Problem
from .differential_correction import IMPULSIVE, IN_PLANE, Case, Target, Unknown

NO_BURN_M_S = 1e-9
"""A burn smaller than this is none."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CarrierKey:
    """What distinguishes the flight of one carrier from another's: way, liftoff, wait and its drop orbits.

    ``speed_m_s`` at the ring in the first of these, ``then_m_s`` in the last, which it enters on pass ``changes_on``.
    """

    way: int
    liftoff_s: float
    parking_wait_s: float
    speed_m_s: float
    then_m_s: float
    changes_on: int


@dataclass(frozen=True, kw_only=True)
class Carried:
    """One carrier's flight.

    Args:
        name: its key.
        flight: with all its burns, as far as the last pass that may matter.
        moved_s: how much later than planned it lifts off (see :func:`.start_state.later`).
        first_pass_s: when it first touches the ring, as flown.
        pass_every_s: from pass to pass; 0 where it does not come round.
        must_burn: whether its orbit dips below the floor, so that craft must burn at once.
        then_every_s: from pass to pass once it has changed its orbit, if it does.
        parks: whether it lets all craft go at its insertion, and comes to no touch of the ring.
    """

    name: CarrierKey
    flight: Flight
    moved_s: float
    first_pass_s: float
    pass_every_s: float
    must_burn: bool
    then_every_s: float = 0.0
    parks: bool = False

    def pass_s(self, number: int) -> float:
        """Moment of a pass, the first touch being number 0."""
        before = min(number, self.name.changes_on) if self.name.changes_on else number
        return self.first_pass_s + before * self.pass_every_s + (number - before) * self.then_every_s


@dataclass(frozen=True, kw_only=True)
class Course:
    """One option worked out: what is flown, and what the plan says about it.

    ``screened_from_s`` is when distances to craft in place begin to count: the start, the insertion or the drop.
    ``periapsis_m`` is the lowest one flown through, if any.
    ``unknowns`` are what a correction by the flight may change: none where the craft stays as it is. ``phasing_burn``
    is the index of the burn with which the phasing begins, None where there is none. ``last_at_ring`` is the index of
    the last burn at the ring, counted from the end: -2 where one at the relative node follows. ``plane`` of the ring.
    ``earlier`` is what was flown before the itinerary, where months without a burn lie between that were flown but not
    kept; ``full`` is then the itinerary of all of it.
    ``phases``: whether a period leads to the slot, where there are revolutions. ``waits_between`` are the burns between
    which it waits in another orbit, None in the place of the first for the insertion. ``turns_first``: whether the
    first burn turns into another plane. ``evidence`` is that of a free-form flight, ``carried`` the flight of the
    carrier, where there is one. ``first_guess_rad`` is the slot error before what was corrected already.
    """

    itinerary: Itinerary
    insertion_s: float | None
    screened_from_s: float
    periapsis_m: float | None
    must_burn: bool
    unknowns: tuple[Unknown, ...] = ()
    phasing_burn: int | None = None
    targets: tuple[Target, ...] = IN_PLANE
    last_at_ring: int = -1
    plane: int = 0
    earlier: Flight | None = None
    full: Itinerary | None = None
    phases: bool = True
    waits_between: tuple[int | None, int] | None = None
    turning_burn: int | None = None
    evidence: FreeForm | None = None
    carried: Carried | None = None
    first_guess_rad: float | None = None

    def case(self, problem: Problem, slot: int, burns: BurnModel = IMPULSIVE) -> Case:
        """What its correction is asked, into a slot counted through the planes."""
        ring = problem.ring
        return Case(
            itinerary=self.itinerary,
            ring=ring,
            plane=self.plane,
            slot=slot % ring.slots,
            unknowns=self.unknowns,
            targets=self.targets,
            burns=burns,
            spin_rad_s=problem.scenario.body.spin_rad_s,
        )

    def corrected(self, itinerary: Itinerary) -> Course:
        """The same option as its correction has it: where that moved the start, what counts from there moves along.

        Liftoff and insertion as flown are read off here and nowhere else; the moment of the option is the guess that
        the correction began with.
        """
        by_s = itinerary.start_s - self.itinerary.start_s
        return replace(
            self,
            itinerary=itinerary,
            insertion_s=None if self.insertion_s is None else self.insertion_s + by_s,
            screened_from_s=self.screened_from_s + by_s,
        )

    def moved_s(self, way: Ascent | None, liftoff_s: float) -> float:
        """How much later than the liftoff of the option it lifts off, s: 0 where the site never leaves the plane."""
        if way is None or way.place is None or self.insertion_s is None:
            return 0.0
        return self.insertion_s - way.insertion_after_s - liftoff_s
