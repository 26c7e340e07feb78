"""One craft's part of a plan: its route, burns and flight, and what its carrier does. Frozen values, SI and radians."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from ..models.burns import FiniteThrust
from ..models.flight.flown import Flight, Itinerary, Leg
from ..models.flight.slot_error import Measured
from ..models.kepler import apsides
from ..models.launch import TiltAt

Side = Literal["below", "above", "level"]


@dataclass(frozen=True, kw_only=True)
class Burn:
    """One burn as an equivalent impulse, its axes those of the state just before it; the orbit is that at cut-off.

    ``radial_m_s`` outward, ``along_m_s`` at right angles to it towards the motion, ``cross_m_s`` completing the
    right-handed set. Apsides are radii from the center. Masses are None where the scenario gives none. ``by_stage_m_s``
    is the part of it that the launcher's upper stage pays.
    """

    time_s: float
    delta_v_m_s: float
    radial_m_s: float
    along_m_s: float
    cross_m_s: float
    duration_s: float | None
    period_after_s: float
    periapsis_after_m: float
    apoapsis_after_m: float
    propellant_after_kg: float | None
    by_stage_m_s: float = 0.0

    @property
    def own_m_s(self) -> float:
        """The craft's own part of it."""
        return self.delta_v_m_s - self.by_stage_m_s


@dataclass(frozen=True, kw_only=True)
class Flown:
    """What the numerical flight found: means over the first whole ring turn after the last burn.

    ``slot_error_rad`` craft minus slot in the ring plane, signed; ``period_error_s`` nodal period minus the ring's;
    ``closest_m`` the least distance to a craft already in place, and to which; None where there was none.
    ``eccentricity`` of that turn: the craft's place swings by twice as much (rad) about its mean within a turn.
    ``lowest_m`` and ``highest_m`` are the least and largest radius of the whole flight.
    """

    slot_error_rad: float
    period_error_s: float
    plane_error_rad: float
    lowest_m: float
    highest_m: float
    closest_m: float | None
    closest_to: str | None
    eccentricity: float = 0.0

    @classmethod
    def of(cls, seen: Measured, legs: Sequence[Leg], nearest: tuple[float | None, str | None]) -> Flown:
        """From what was measured, the legs flown, and who came nearest."""
        return cls(
            slot_error_rad=seen.slot_error_rad,
            period_error_s=seen.period_error_s,
            plane_error_rad=seen.plane_error_rad,
            lowest_m=min(leg.lowest_m for leg in legs),
            highest_m=max(leg.highest_m for leg in legs),
            closest_m=nearest[0],
            closest_to=nearest[1],
            eccentricity=math.hypot(*seen.eccentricity),
        )


@dataclass(frozen=True, kw_only=True)
class FreeForm:
    """The evidence for a free-form flight, before any correction: see ``rendezvous/optimum.py``."""

    primer_excess: float
    linear_estimate_m_s: float
    family: str


@dataclass(frozen=True, kw_only=True)
class LaunchHeading:
    """How a craft is launched from a site that passes through the ring plane; angles rad, azimuths from north.

    ``flight_azimuth_rad`` is over the turning ground, for a level insertion. ``ascending``: whether the ring's motion
    beside the site leads north. ``tilt_rad`` is the angle between launch plane and ring plane for a liftoff not moved;
    ``tilt_at`` what becomes of it. ``moved_s`` is how much later than over a round body the craft lifts off, so
    that planes which drift apart meanwhile agree at the end. ``plane`` is the one launched into.
    """

    flight_azimuth_rad: float
    ascending: bool
    tilt_rad: float
    tilt_at: TiltAt
    moved_s: float = 0.0
    plane: int = 0


@dataclass(frozen=True, kw_only=True)
class CraftPlan:
    """One craft's part of a plan. Masses are None where the scenario gives none.

    ``lowest_periapsis_m`` is the radius of the lowest periapsis flown through after insertion, None where the craft
    passes none (see `lowest_periapsis`). ``insertion`` names the insertion chosen, with the speed the launcher must
    give there.
    ``phasing_period_s`` is the mean period, from return to return; None where nothing is phased.
    ``first_guess_error_rad`` is the slot error of the plan by ratios of periods before it was corrected by its own
    flight, None where nothing was corrected. ``free_form`` is the evidence for a free-form flight, None for all else.
    ``phasing_burn`` is the burn with which phasing begins, counted from 0; None where there is none.
    ``before_burns`` are the states just before each burn, as flown: position, m, and velocity, m/s, six numbers each.
    ``heading`` is None for a craft in space, and where the site never leaves the ring plane. ``last_at_ring`` counts
    the last burn at the ring from the end: -2 where one follows that turns the plane. ``itinerary`` is what was flown.
    ``turned_s`` is when a craft on the ring turns into another plane, None where it does not.
    ``screened_from_s`` is when its distance to those in place begins to count; ``apart_s`` names those that it started
    together with, each with the moment from which it counts: when it comes nearer again after they were outside the
    separation, infinite for never.
    ``azimuth_rad`` is the inertial one of the launch, from north over east; ``insertion_state`` position, m, and
    velocity, m/s, at insertion, six numbers: both None for a craft in space.
    ``engine`` is what it was flown with, None where its burns were taken to be impulses.
    """

    craft: str
    plane: int
    slot: int
    route: str
    side: Side
    revolutions: int
    ring_revolutions: int
    passes: int
    lead_rad: float
    pad: str | None = None
    carrier: str | None = None
    insertion: str | None = None
    insertion_speed_m_s: float | None = None
    launch_s: float | None = None
    insertion_s: float | None
    parking_wait_s: float
    ring_arrival_s: float
    in_slot_s: float
    phasing_period_s: float | None
    lowest_periapsis_m: float | None
    must_burn: bool
    delta_v_m_s: float
    propellant_kg: float | None
    propellant_left_kg: float | None
    burns: tuple[Burn, ...]
    flown: Flown
    first_guess_error_rad: float | None = None
    free_form: FreeForm | None = None
    phasing_burn: int | None = None
    before_burns: tuple[tuple[float, ...], ...] = ()
    heading: LaunchHeading | None = None
    last_at_ring: int = -1
    turned_s: float | None = None
    screened_from_s: float = -math.inf
    apart_s: tuple[tuple[str, float], ...] = ()
    azimuth_rad: float | None = None
    insertion_state: tuple[float, ...] | None = None
    engine: FiniteThrust | None = field(default=None, repr=False, compare=False)
    itinerary: Itinerary | None = field(default=None, repr=False, compare=False)

    @property
    def cut_off_period_s(self) -> float | None:
        """Period at cut-off, s: the osculating one after the burn that begins the phasing, or after the first burn.

        An instrument reads this value; over an oblate body it differs from the mean period. None where nothing burns,
        and for free-form flights, which no period leads to the slot.
        """
        if not self.burns or self.route == "timed":
            return None
        return self.burns[self.phasing_burn or 0].period_after_s


@dataclass(frozen=True, kw_only=True)
class Drop:
    """One craft leaves its carrier: on which pass through the ring (0: the first touch) and when."""

    craft: str
    number: int
    time_s: float


@dataclass(frozen=True, kw_only=True)
class NextOrbit:
    """The orbit that a carrier changes into on a pass (0: the first touch), its apsides as radii."""

    number: int
    pass_every_s: float
    period_s: float
    periapsis_m: float
    apoapsis_m: float


@dataclass(frozen=True, kw_only=True)
class CarrierPlan:
    """What one carrier flies: its own burns, as flown, and whom it drops when.

    ``period_s`` and the apsides (radii) are those of the orbit it drops from first; ``pass_every_s`` from pass to
    pass, 0 where it drops all craft at once. ``then`` is the one it changes into, if it does. ``lowest_m`` is the
    lowest radius that it flies through after insertion while it has craft on board. ``periapsis_safe``: whether the
    orbit it is left in clears the floor. ``meets_s`` is its first later pass that finds a filled slot, None where none
    of the next ones does: what becomes of its operator decides that, before that moment.
    """

    carrier: str
    pad: str
    insertion: str
    launch_s: float
    insertion_s: float
    parking_wait_s: float
    first_pass_s: float
    pass_every_s: float
    period_s: float
    periapsis_m: float
    apoapsis_m: float
    lowest_m: float
    delta_v_m_s: float
    allowed_m_s: float
    burns: tuple[Burn, ...]
    drops: tuple[Drop, ...]
    periapsis_safe: bool
    meets_s: float | None
    meets: str | None
    then: NextOrbit | None = None
    itinerary: Itinerary = field(repr=False, compare=False)


NEAR_M = 1.0
"""So near a periapsis a flight begins or ends there."""


def lowest_periapsis(legs: Sequence[Leg], of: Flight | None = None) -> float | None:
    """Radius of the lowest periapsis that a craft flies through before its last burn, None where there is none, m.

    On the way to the first burn it counts where the craft turns from falling to climbing, and where an orbit that it
    had before begins or ends there at its periapsis; a craft that a launcher lets go at its periapsis does not fly
    through it. From then on the lowest point of each leg counts, its ends among them, so that a burn on an apsis, where
    the turn may lie a moment before or behind it, does not decide. Small changes of a flight then change the radius a
    little, and not which arc it is of.

    Args:
        of: the flight of a craft that begins on an orbit that it had before, None where it was launched into it.
    """
    before = legs[:-1]
    passed = [leg.periapsis_m for leg in before[:1] if leg.periapsis_m is not None]
    if of is not None:
        periapsis, _ = apsides(of.itinerary.position, of.itinerary.velocity, of.gravity.gm)
        passed += [leg.lowest_m for leg in before[:1] if abs(leg.lowest_m - float(periapsis)) < NEAR_M]
    return min([*passed, *(leg.lowest_m for leg in before[1:])], default=None)


def later(part: CraftPlan, by_s: float) -> CraftPlan:
    """A part of a plan whose times count from now, with times that count from the first epoch."""

    def moved(time_s: float | None) -> float | None:
        return None if time_s is None else time_s + by_s

    return replace(
        part,
        launch_s=moved(part.launch_s),
        insertion_s=moved(part.insertion_s),
        ring_arrival_s=part.ring_arrival_s + by_s,
        in_slot_s=part.in_slot_s + by_s,
        turned_s=moved(part.turned_s),
        screened_from_s=part.screened_from_s + by_s,
        apart_s=tuple((name, time_s + by_s) for name, time_s in part.apart_s),
        burns=tuple(burn_later(burn, by_s) for burn in part.burns),
        itinerary=None if part.itinerary is None else flown_later(part.itinerary, by_s),
    )


def burn_later(burn: Burn, by_s: float) -> Burn:
    """A burn so much later."""
    return replace(burn, time_s=burn.time_s + by_s)


def flown_later(item: Itinerary, by_s: float) -> Itinerary:
    """What is flown, so much later, from the same state."""
    return replace(
        item,
        start_s=item.start_s + by_s,
        impulses=tuple(burn._replace(time_s=burn.time_s + by_s) for burn in item.impulses),
        end_s=item.end_s + by_s,
    )
