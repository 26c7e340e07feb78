"""The result of planning: plans, the front, what was proved, or why no plan fits.

Frozen values only. ``reports/result.py`` writes them as the machine-readable result; angles here are radians, lengths
meters, times seconds from the epoch, as everywhere inside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from ..models.ring import Ring
from ..models.scenario import Scenario
from ..models.surroundings import NO_SURFACE, Surface
from .craft_plan import CarrierPlan, CraftPlan
from .rendezvous.time_price import TimePrice
from .standing import Keeping, LeftAlone, UnderForces

FrontName = Literal["delta_v", "worst_delta_v", "propellant", "first_service"]


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

    What carriers burn is theirs and not in ``delta_v_m_s``, which is the sum over the craft. ``slot0_rad`` is the phase
    that the ring is laid at for it, where the phase is chosen with the plan; None where it is not. ``keeping`` is what
    keeping the ring takes under the scenario's further forces, None without any.
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
    slot0_rad: float | None = None
    keeping: Keeping | None = None

    @property
    def by_period_alone(self) -> bool:
        """Whether each craft can be flown by reading its period, with no attitude but along the track."""
        return all(part.free_form is None for part in self.craft)

    def with_judged(self, made: Plan) -> Plan:
        """The same plan with craft, totals and limits as judged in another one."""
        return replace(
            self,
            delta_v_m_s=made.delta_v_m_s,
            worst_delta_v_m_s=made.worst_delta_v_m_s,
            propellant_kg=made.propellant_kg,
            finish_s=made.finish_s,
            craft=made.craft,
            broken=made.broken,
            margins=made.margins,
        )


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

    def with_flown(self, plan: Plan) -> Front:
        """The same with the point of a plan as that plan is flown now."""
        points = tuple(
            replace(point, delta_v_m_s=plan.delta_v_m_s, finish_s=plan.finish_s) if point.plan == plan.rank else point
            for point in self.points
        )
        return replace(self, points=points)


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
class PhaseProof:
    """What is known about a ring phase that was chosen.

    Args:
        proved: whether no phase has a plan that is better by more than a printed digit.
        bound: what no plan at any phase gets below, in the unit of the aim; minus infinity where that is not known.
        tried: how many phases were planned.
    """

    proved: bool
    bound: float
    tried: int


@dataclass(frozen=True, kw_only=True)
class Proof:
    """What was proved about rank 1, over the catalogue of options; ``free_form`` of them are free-form flights.

    ``catalogue_bound`` is the least that a plan comes to by the catalogue's own costs, ``flown_differs_by`` how far
    flown plans come to more or less than those say at most, ``all_flown`` whether every plan was flown that this could
    make better than rank 1 by as much as is printed.
    No flown plan is below ``bound``: where all of these were flown it is the least that others come to or the
    catalogue's, else the catalogue's less what they come to less. ``gap`` is that of the catalogue's costs.

    ``phase`` is the rule by which the ring's phase was laid, about whose others nothing is proved; empty where the
    scenario gives the phase, or it was chosen. ``phases`` is what is known where it was chosen.
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
    phases: PhaseProof | None = None


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A craft that stays in the ring, with its error against its slot.

    ``surface`` is what air and light meet of one that the scenario does not name.
    """

    craft: str
    slot: int
    error_rad: float
    plane: int = 0
    surface: Surface = NO_SURFACE


@dataclass(frozen=True, kw_only=True)
class Bind:
    """A limit that forbids every plan, and a value that was tried and serves (None: none that was tried does)."""

    limit: str
    value: float
    serves: float | None


@dataclass(frozen=True, kw_only=True)
class Infeasible:
    """Why there is no plan: the limits that bind, each alone enough (``together`` False) or all at once (True).

    ``by_places``: craft that stay show that, without a look at the catalogue.
    """

    binds: tuple[Bind, ...]
    together: bool
    reason: str = ""
    by_places: bool = False


@dataclass(frozen=True, kw_only=True)
class CraftPrice:
    """What time is worth to one craft on its way into one slot."""

    craft: str
    slot: int
    price: TimePrice


@dataclass(frozen=True, kw_only=True)
class CraftLeast:
    """What no flight of any kind can beat on the way of one craft into its slot, m/s; 0 where nothing is proved."""

    craft: str
    slot: int
    least_m_s: float


@dataclass(frozen=True, kw_only=True)
class LeastPossible:
    """What no flight of any kind can beat that is done at ``by_s``, in the field of a point mass, proved.

    ``total_m_s`` is for the whole ring, with each craft in any of the open slots at the phase of plan 1; None where
    that is not known.
    """

    by_s: float
    craft: tuple[CraftLeast, ...]
    total_m_s: float | None


@dataclass(frozen=True, kw_only=True)
class LetGo:
    """The best plan where all launches of a site are let go at one insertion out of a range.

    Args:
        pad, insertion: the site, and the insertion by name.
        periapsis_m, apoapsis_m: its apsides, radii.
        payload_kg: greatest mass there; infinite where nothing limits it.
        delta_v_m_s, finish_s: what the plan comes to; infinite where no plan keeps the limits.
    """

    pad: str
    insertion: str
    periapsis_m: float
    apoapsis_m: float
    payload_kg: float
    delta_v_m_s: float
    finish_s: float


@dataclass(frozen=True, kw_only=True)
class PlanRisk:
    """What one listed plan comes to where launches slip or are lost and flights differ from it.

    Args:
        rank: of the plan.
        load_m_s: sum over the craft of the delta-v that 99 in 100 of its flights do not exceed; None without errors.
        load_kg: the propellant for these, the reserve of the scenario on top; None without errors or without masses.
        finish_p50_s, finish_p90_s: by when 50 and 90 in 100 rings are done; infinite where fewer ever are.
        in_time: share of rings done by the latest finish allowed; None without one.
        never: share of rings that are never done.
    """

    rank: int
    load_m_s: float | None
    load_kg: float | None
    finish_p50_s: float
    finish_p90_s: float
    in_time: float | None
    never: float


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """The whole answer. ``plans`` are ranked by the scenario's goal, every front point among them.

    ``fronts`` are the other fronts, where they were asked for. ``unfinished`` says in words what is missing because
    time ran out or somebody stopped the search; empty where nothing is. ``price`` is what time is worth to the
    dearest craft in space, where that was asked for. ``rejected`` are the plans that come nearest to keeping their
    limits, where none does; each says what it breaks. ``under`` is what a second flight of plan 1 under further
    forces found, where any matter, and ``made`` plan 1 as it was before it was corrected for them. ``weighed`` is
    the risk of each plan, by rank, where the goal weighs them by it. ``left_alone`` is how long orbits last that
    nobody burns in any more, where the scenario asks for a hold or has ``[disposal]``. ``let_go`` are the best
    plans with one insertion for all launches of a site, where that leaves a range. ``least_possible`` is what no
    flight can beat, for plan 1; None where that is not known.
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
    made: Plan | None = None
    rejected: tuple[Plan, ...] = ()
    weighed: tuple[PlanRisk, ...] = ()
    let_go: tuple[LetGo, ...] = ()
    left_alone: tuple[LeftAlone, ...] = ()
    least_possible: LeastPossible | None = None

    def ring_of(self, plan: Plan) -> Ring:
        """The ring at the phase of one of its plans."""
        return self.ring if plan.slot0_rad is None else replace(self.ring, slot0_rad=plan.slot0_rad)

    def at_phase_of(self, plan: Plan) -> Outcome:
        """The same with the ring at the phase of one of its plans."""
        return self if plan.slot0_rad is None else replace(self, ring=self.ring_of(plan))

    @property
    def undecided(self) -> bool:
        """Whether the search was ended before any plan was flown or proved impossible."""
        return self.proof is not None and self.proof.status == "undecided"
