"""What planning gives back: plans, the front, what was proved, or why no plan fits.

Frozen values only. ``reports/result.py`` writes them as the machine-readable result; angles here are radians, lengths
meters, times seconds from the epoch, as everywhere inside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from ..models.burns import FiniteThrust
from ..models.flight.flown import Itinerary, Leg
from ..models.flight.slot_error import Measured
from ..models.launch import TiltAt
from ..models.ring import Ring
from ..models.scenario import Scenario
from .rendezvous.time_price import TimePrice
from .standing import UnderForces

Route = Literal["direct", "park", "shift", "carrier", "drift", "timed"]
Side = Literal["below", "above", "level"]
FrontName = Literal["delta_v", "worst_delta_v", "propellant", "first_service"]


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
    ``closest_m`` the least distance to a craft already in place, to whom, None where there was nobody.
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
    """The evidence for a free-form flight, before any correction: see :class:`.freeform.FreeformSolution`."""

    primer_excess: float
    linear_estimate_m_s: float
    family: str


@dataclass(frozen=True, kw_only=True)
class LaunchHeading:
    """How a craft is launched from a site that passes through the ring plane; angles rad, azimuths from north.

    ``flight_azimuth_rad`` is over the turning ground, for a level insertion. ``ascending``: whether the ring's motion
    beside the site leads north. ``tilt_rad`` is the angle between launch plane and ring plane for a liftoff not moved;
    ``tilt_at`` what becomes of it. ``moved_s`` is how much later than over a round body the craft lifts off, so
    that planes which drift apart meanwhile agree at the end.
    """

    flight_azimuth_rad: float
    ascending: bool
    tilt_rad: float
    tilt_at: TiltAt
    moved_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class CraftPlan:
    """One craft's part of a plan. Masses are None where the scenario gives none.

    ``lowest_periapsis_m`` is the radius of the lowest periapsis flown through after insertion, None where the craft
    passes none. ``insertion`` names the insertion chosen, with the speed the launcher must give there.
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
    route: Route
    side: Side
    revolutions: int
    ring_revolutions: int
    passes: int
    lead_rad: float
    pad: str | None
    carrier: str | None
    insertion: str | None
    insertion_speed_m_s: float | None
    launch_s: float | None
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
class CarrierPlan:
    """What one carrier flies: its own burns, as flown, and whom it drops when.

    ``period_s`` and the apsides (radii) are those of the orbit it drops from; ``pass_every_s`` from pass to pass, 0
    where it drops everybody at once. ``lowest_m`` is the lowest radius that it flies through after insertion while it
    has craft on board. ``periapsis_safe``: whether the orbit it is left in clears the floor.
    ``meets_s`` is its first later pass that finds a filled slot, None where none of the next ones does: what becomes of
    its operator decides that, before that moment.
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
    itinerary: Itinerary = field(repr=False, compare=False)


@dataclass(frozen=True, kw_only=True)
class Hold:
    """How long the ring keeps its spacing within its tolerance without another burn.

    Args:
        craft: who leaves its slot first.
        flown_s: by the periods as flown, infinite where none differs from the ring's.
        known_s: the same with each period in doubt by ``period_known_to_s`` either way; None where that is not said.
        wanted_s: how long it is to hold.
        match_s: how well periods must match the ring's for that.
        trim_m_s_year: what each craft burns a year to stay, where it does not hold as long as wanted; None where it
            does, or where nothing is said about how well periods are known.
        period_error_s: mean period of that craft less the ring's, as flown; 0 for one that stays.
        missing: the largest force left out, in words; empty where none is known here.
        missing_s: until that force alone could use up the tolerance, an estimate by order of magnitude; infinite
            without one.
        refused: why no figure can be given at all; empty where one can.
    """

    craft: str
    flown_s: float
    known_s: float | None
    period_known_to_s: float | None
    wanted_s: float
    match_s: float
    trim_m_s_year: float | None
    period_error_s: float = 0.0
    missing: str = ""
    missing_s: float = math.inf
    refused: str = ""

    @property
    def holds_s(self) -> float | None:
        """How long it holds as far as may be claimed: never longer than the missing force allows; None if refused."""
        return None if self.refused else min(self.flown_s, self.missing_s)


@dataclass(frozen=True, kw_only=True)
class Broken:
    """A limit that a plan breaks, in SI units."""

    craft: str
    limit: str
    value: float
    allowed: float


@dataclass(frozen=True, kw_only=True)
class Margin:
    """How much room a plan leaves under one limit of the scenario: ``value`` against ``allowed``, SI units.

    ``craft`` is the one that comes closest to it. ``sense`` is whether the value must stay above or below.
    """

    limit: str
    value: float
    allowed: float
    sense: Literal["at least", "at most"]
    craft: str


@dataclass(frozen=True, kw_only=True)
class Plan:
    """One option for each craft that is moved. ``kind`` says in which way it differs from rank 1 (None: front only).

    What carriers burn is theirs and not in ``delta_v_m_s``, which is the sum over the craft.
    """

    rank: int
    delta_v_m_s: float
    worst_delta_v_m_s: float
    propellant_kg: float | None
    finish_s: float
    craft: tuple[CraftPlan, ...]
    broken: tuple[Broken, ...]
    margins: tuple[Margin, ...]
    on_front: bool
    kind: str | None = None
    hold: Hold | None = None
    carriers: tuple[CarrierPlan, ...] = ()

    @property
    def by_period_alone(self) -> bool:
        """Whether each craft can be flown by reading its period, with no attitude but along the track."""
        return all(part.free_form is None for part in self.craft)


@dataclass(frozen=True, kw_only=True)
class FrontPoint:
    """A point of the front; ``kind`` is how the front runs from here to the next later point."""

    delta_v_m_s: float
    finish_s: float
    plan: int
    kind: Literal["step", "slope", "curve"]


@dataclass(frozen=True, kw_only=True)
class Front:
    """The price of time, sorted by finish. Between listed points no plan over the catalogue is better than the earlier
    point by more than ``resolution_m_s``. ``note`` says in words what a reader must know (why it is one point, a grid).
    """

    points: tuple[FrontPoint, ...]
    resolution_m_s: float
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class AimPoint:
    """A point of another front: numbers of a plan that was proved over the catalogue, not flown.

    ``propellant_kg`` is None where a craft has no masses, ``first_service_s`` where the scenario asks for none or too
    few neighbors are filled. ``kind`` as in :class:`FrontPoint`.
    """

    delta_v_m_s: float
    worst_delta_v_m_s: float
    propellant_kg: float | None
    finish_s: float
    first_service_s: float | None
    kind: Literal["step", "slope", "curve"] = "step"


@dataclass(frozen=True, kw_only=True)
class AimFront:
    """Another price of time, from fast to slow: the aim of that name against finish, or for ``first_service`` the total
    delta-v against first service. ``resolution``, in ``unit``, and ``note`` as in :class:`Front`.
    """

    name: FrontName
    points: tuple[AimPoint, ...]
    resolution: float
    unit: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Proof:
    """What was proved about rank 1, over the catalogue of options; ``free_form`` of them are free-form flights.

    ``catalogue_bound`` is the least that a plan comes to by the catalogue's own costs, ``flown_differs_by`` how far
    flown plans come to more or less than those say at most, ``all_flown`` whether every plan was flown that this could
    make best.
    No flown plan is below ``bound``: where all of these were flown it is the least of them or the catalogue's, else the
    catalogue's less what they come to less. ``gap`` is that of the catalogue's costs.

    ``phase`` is the rule by which the ring's phase was laid, empty where the scenario gives it: nothing is proved about
    other phases.
    """

    status: Literal["optimal", "bounded", "undecided"]
    aim: str
    bound: float
    unit: str
    gap: float
    options: int
    over: str = "catalogue"
    free_form: int = 0
    phase: str = ""
    catalogue_bound: float = -math.inf
    flown_differs_by: float = 0.0
    all_flown: bool = True


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A craft that stays in the ring, with its error against its slot."""

    craft: str
    slot: int
    error_rad: float
    plane: int = 0


@dataclass(frozen=True, kw_only=True)
class Bind:
    """A limit that forbids every plan, and a value that was tried and serves (None: none that was tried does)."""

    limit: str
    value: float
    serves: float | None


@dataclass(frozen=True, kw_only=True)
class Infeasible:
    """Why there is no plan: the limits that bind, each alone enough (``together`` False) or all at once (True)."""

    binds: tuple[Bind, ...]
    together: bool
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class CraftPrice:
    """What time is worth to one craft on its way into one slot."""

    craft: str
    slot: int
    price: TimePrice


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """The whole answer. ``plans`` are ranked by the scenario's goal, every front point among them.

    ``fronts`` are the other fronts, where they were asked for. ``unfinished`` says in words what is missing because
    time ran out or somebody stopped the search; empty where nothing is. ``price`` is what time is worth to the dearest
    craft in space, where that was asked for. ``rejected`` are the plans that come nearest to keeping their limits,
    where none does; each says what it breaks. ``under`` is what a second flight of plan 1 under
    the scenario's further forces found, where it names any.
    """

    scenario: Scenario
    ring: Ring
    proof: Proof | None
    kept: tuple[Kept, ...]
    front: Front | None
    plans: tuple[Plan, ...]
    infeasible: Infeasible | None
    phase_rule: str = ""
    notes: tuple[str, ...] = ()
    fronts: tuple[AimFront, ...] = ()
    unfinished: str = ""
    price: CraftPrice | None = None
    under: UnderForces | None = None
    rejected: tuple[Plan, ...] = ()

    @property
    def undecided(self) -> bool:
        """Whether the search was ended before any plan was flown or proved impossible."""
        return self.proof is not None and self.proof.status == "undecided"


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
