"""What a scenario says, in SI units and radians: the values that every other room reads.

Nothing here reads text (see ``reading/scenario_reader.py``) or computes an orbit. A value is checked once, when the
file is read. Times are seconds from the scenario's epoch. Radii are from the body's center, altitudes added to it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, cast

from .insertions import Insertion
from .keys import TABLES, count_by_default, flag_by_default, number_by_default, text_by_default
from .risk import Risk, Weigh
from .spares import Spare
from .surroundings import AirLayer, ForceSpec, Harmonic, Puller, Surface

Aim = Literal["delta_v", "finish", "propellant", "worst_delta_v"]
Load = Literal["full", "least"]
_AIM = cast(Aim, text_by_default("goal", "minimize"))
_LOAD = cast(Load, text_by_default("craft", "load"))
WithDrag = Literal["maintained", "together"]
_WITH_DRAG = cast(WithDrag, text_by_default("ring", "with_drag"))


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where the values came from, so that a later room can still point at file, line and key.

    Args:
        file: path as the user wrote it.
        lines: dotted key without its unit, list items counted from 0 (``craft[0].orbit.periapsis``), to line number.
        defaults: dotted key to the default taken, in words.
        settings: dotted key to the override of the command line that set it, as typed.
        spelled: key with its table, list items by name and without its unit (``launch.Cove.turnaround``; of a single
            launch site without the name too), to the key as written (``turnaround_d``).
    """

    file: str = ""
    lines: Mapping[str, int] = field(default_factory=dict)
    defaults: Mapping[str, str] = field(default_factory=dict)
    settings: Mapping[str, str] = field(default_factory=dict)
    spelled: Mapping[str, str] = field(default_factory=dict)

    def where(self, key: str) -> str:
        """Name file and line of a dotted key; the nearest enclosing table's line where the key itself has none."""
        if key in self.settings:
            return f"{self.file}, --set {self.settings[key]}"
        probe = key
        while probe:
            if probe in self.lines:
                return f"{self.file}, line {self.lines[probe]}"
            probe = probe.rpartition(".")[0]
        return self.file


@dataclass(frozen=True, kw_only=True)
class Body:
    """A planet, moon or invented world.

    Args:
        gm: gravitational parameter, m^3/s^2.
        radius_m: equatorial radius.
        atmosphere_top_m: altitude that planning treats as the top of the atmosphere, 0 for none.
        sidereal_day_s: rotation period, negative for backwards, infinite for none.
        j2: unnormalized second zonal harmonic; ``j2_radius_m`` is the reference radius it belongs to.
        prime_meridian_rad: angle of the prime meridian from the x axis at the epoch.
        harmonics: its field beyond J2, unnormalized, for ``j2_radius_m``; empty where nothing is known.
        air: layers of its atmosphere from below upward; empty where no density is known.
        hill_radius_m: radius of the Hill sphere, infinite for an invented world.
        source: document and edition of the constants, or the scenario.
    """

    name: str
    gm: float
    radius_m: float
    atmosphere_top_m: float = number_by_default("body", "atmosphere_top")
    sidereal_day_s: float = number_by_default("body", "sidereal_day")
    j2: float = number_by_default("body", "j2")
    j2_radius_m: float = 0.0
    prime_meridian_rad: float = 0.0
    harmonics: tuple[Harmonic, ...] = ()
    air: tuple[AirLayer, ...] = ()
    hill_radius_m: float = math.inf
    source: str = ""

    @property
    def spin_rad_s(self) -> float:
        """Rotation rate about the pole, negative for a body that turns backwards."""
        return 2.0 * math.pi / self.sidereal_day_s


@dataclass(frozen=True, kw_only=True)
class Occupied:
    """A craft that is in the ring already and stays: at a slot, or at a measured argument of latitude."""

    name: str
    slot: int | None = None
    angle_rad: float | None = None
    plane: int = count_by_default("ring.occupied", "plane")


@dataclass(frozen=True, kw_only=True)
class RingSpec:
    """The ring that is wanted. ``slot0_rad`` is None where the file says "free".

    ``hold_for_s`` is how long it is to keep its spacing, ``hold_wanted`` whether that was asked for, so that forces are
    weighed over it; ``period_known_to_s`` how well periods are known in flight.
    ``with_drag`` says whether its slots keep their altitude against drag, or sink as all craft do. ``longitude_rad`` is
    where slot 0 stays over the ground, None for a ring that turns against it. ``pattern_rad`` is how far each slot of a
    plane is ahead of its slot 0, empty where they are equally spaced.
    ``leave_free`` are slots of each plane that are not filled now.
    """

    radius_m: float
    slots: int
    planes: int = count_by_default("ring", "planes")
    phasing: int = count_by_default("ring", "phasing")
    spread_rad: float = number_by_default("ring", "spread")
    inclination_rad: float = number_by_default("ring", "inclination")
    node_rad: float = number_by_default("ring", "node")
    slot0_rad: float | None = None
    tolerance_rad: float = number_by_default("ring", "tolerance")
    tilt_tolerance_rad: float = number_by_default("ring", "tilt_tolerance")
    hold_for_s: float = number_by_default("ring", "hold_for")
    hold_wanted: bool = False
    period_known_to_s: float | None = None
    with_drag: WithDrag = _WITH_DRAG
    longitude_rad: float | None = None
    pattern_rad: tuple[float, ...] = ()
    leave_free: tuple[int, ...] = ()
    occupied: tuple[Occupied, ...] = ()


OWN_LIMITS = frozenset(("clearance", "finish_within", "wait_within", "revolutions_max", "apoapsis_max", "separation"))
"""Limits with fields of `LimitSpec`."""


def _further_limits() -> tuple[tuple[str, float], ...]:
    """The other keys of the table with their defaults."""
    names = (key.name for key in TABLES["limits"] if key.name not in OWN_LIMITS)
    return tuple((name, number_by_default("limits", name)) for name in names)


@dataclass(frozen=True, kw_only=True)
class LimitSpec:
    """Limits that every plan keeps, infinite where there is none; ``further``: those without a field, by name, SI."""

    clearance_m: float = number_by_default("limits", "clearance")
    finish_within_s: float = number_by_default("limits", "finish_within")
    wait_within_s: float = number_by_default("limits", "wait_within")
    revolutions_max: int = count_by_default("limits", "revolutions_max")
    apoapsis_max_m: float = number_by_default("limits", "apoapsis_max")
    separation_m: float = number_by_default("limits", "separation")
    further: tuple[tuple[str, float], ...] = field(default_factory=_further_limits)


@dataclass(frozen=True, kw_only=True)
class Errors:
    """Standard deviations of what may differ from the plan; 0 for what is taken as exact.

    Args:
        periapsis_m, apoapsis_m, inclination_rad, node_rad, insertion_time_s: of the insertion by the launcher.
        burn_m_s, burn_share: size of a burn, a fixed part and a share of the burn.
        across_m_s, pointing_rad: direction of a burn, a fixed part and an angle, on each of the two axes across it.
        burn_time_s: moment of a burn.
        period_reading_s: of a period as read in flight.
    """

    periapsis_m: float = number_by_default("errors", "periapsis")
    apoapsis_m: float = number_by_default("errors", "apoapsis")
    inclination_rad: float = number_by_default("errors", "inclination")
    node_rad: float = number_by_default("errors", "node")
    insertion_time_s: float = number_by_default("errors", "insertion_time")
    burn_m_s: float = number_by_default("errors", "burn")
    burn_share: float = number_by_default("errors", "burn_share")
    across_m_s: float = number_by_default("errors", "across")
    pointing_rad: float = number_by_default("errors", "pointing")
    burn_time_s: float = number_by_default("errors", "burn_time")
    period_reading_s: float = number_by_default("errors", "period_reading")


INJECTION_ERRORS = ("periapsis_m", "apoapsis_m", "inclination_rad", "node_rad", "insertion_time_s")
"""The errors that are the launcher's; the others are the craft's."""


@dataclass(frozen=True, kw_only=True)
class UpperStage:
    """The launcher's last stage, which stays with what it carries and pays the first burns, in order.

    Args:
        delta_v_m_s: what it can burn after the insertion, with its payload.
        lasts_s: how long after the insertion it can still burn.
    """

    delta_v_m_s: float
    lasts_s: float = number_by_default("launch.upper_stage", "lasts")


@dataclass(frozen=True, kw_only=True)
class Carrier:
    """Takes several craft up in one launch, enters an orbit that touches the ring and drops them there.

    Args:
        craft: names of those on board; it flies with all of them, or not at all.
        delta_v_m_s, mass_kg: what it can burn with all of them on board; its own mass, which its launcher lifts, too.
        passes_max, lasts_s: it drops craft on so many passes after the first touch, and so long after the insertion.
        between_drops_s, changes_max: least time between drops, 0 for any; most changes of its orbit between them.
        pads: launch sites that may launch it, none of them: any.
    """

    name: str
    craft: tuple[str, ...]
    delta_v_m_s: float
    mass_kg: float = number_by_default("carrier", "mass")
    passes_max: int = count_by_default("carrier", "passes_max")
    lasts_s: float = number_by_default("carrier", "lasts")
    between_drops_s: float = number_by_default("carrier", "between_drops")
    changes_max: int = count_by_default("carrier", "changes_max")
    pads: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Pad:
    """A launch site with its times and the insertions its launcher offers.

    Args:
        latitude_rad, longitude_rad: of the site, on a sphere; longitude east positive.
        ready_s, until_s: earliest and latest liftoff.
        blackouts_s: spans without a liftoff, each from and until; their ends are allowed.
        turnaround_s: least time between liftoffs.
        corridor_rad: flight azimuths over the turning ground from one clockwise to the other; None for any.
        payload_kg: greatest mass at the insertion.
        plane_tolerance_rad: how far the site may be from the ring plane at liftoff.
        ascent_s, downrange_rad: from liftoff to insertion, in time and as an inertial angle.
        errors: of the insertion, where they are not the scenario's.
        upper_stage: of its launcher, where it goes on burning after the insertion.
    """

    name: str
    latitude_rad: float = 0.0
    longitude_rad: float = 0.0
    ready_s: float = number_by_default("launch", "ready")
    until_s: float = number_by_default("launch", "until")
    blackouts_s: tuple[tuple[float, float], ...] = ()
    turnaround_s: float = number_by_default("launch", "turnaround")
    corridor_rad: tuple[float, float] | None = None
    payload_kg: float = number_by_default("launch", "payload")
    plane_tolerance_rad: float = number_by_default("launch", "plane_tolerance")
    ascent_s: float = number_by_default("launch", "ascent")
    downrange_rad: float = number_by_default("launch", "downrange")
    errors: Errors | None = None
    insertions: tuple[Insertion, ...] = ()
    upper_stage: UpperStage | None = None

    def payload_to(self, insertion: Insertion) -> float:
        """Greatest mass that its launcher brings to an insertion, kg; infinite where nothing limits it."""
        return min(self.payload_kg, insertion.payload_kg)

    @property
    def most_payload_kg(self) -> float:
        """The same to the insertion to which it brings most."""
        return max((self.payload_to(one) for one in self.insertions), default=self.payload_kg)


NEARLY = 0.002
"""Eccentricity up to which an orbit counts as nearly a circle: what it does to burns is some meters a second."""


@dataclass(frozen=True, kw_only=True)
class Orbit:
    """An orbit in a plane of the ring that a craft already flies.

    ``angle_rad`` is the argument of latitude of the apsis named by ``at`` (of the craft itself where the orbit is
    circular), which the craft passes at ``at_s``. ``plane`` of the ring, counted from 0.
    """

    periapsis_m: float
    apoapsis_m: float
    angle_rad: float
    at: Literal["periapsis", "apoapsis"] | None = None
    at_s: float = number_by_default("craft.orbit", "at_time")
    plane: int = count_by_default("craft.orbit", "plane")

    @property
    def circular(self) -> bool:
        """Both apsides alike to a meter."""
        return abs(self.apoapsis_m - self.periapsis_m) <= 1.0

    @property
    def nearly_circular(self) -> bool:
        """Eccentricity of at most `NEARLY`: a nodal drift may begin there as on a circle."""
        return abs(self.apoapsis_m - self.periapsis_m) <= NEARLY * (self.apoapsis_m + self.periapsis_m)


@dataclass(frozen=True, kw_only=True)
class Craft:
    """One craft. ``orbit`` is None while it waits on the ground.

    Masses and specific impulse are all given or all None; without them propellant is not counted.
    ``ready_s`` is the earliest burn in space, or the delivery to the pad. ``stay`` keeps a craft where it is;
    with ``may_move`` it is in the ring and may be left there, within the tolerance, or take another slot.
    ``pads`` names the launch sites that may launch it, none of them: any. ``errors`` are those of its burns and
    readings, where they are not the scenario's. ``carrier`` names the carrier that may take it up.
    ``burns_max`` is how often its engine may be lit, ``burn_least_m_s`` the smallest burn that it can do,
    ``between_burns_s`` the least time from cut-off to ignition. ``tank_kg`` is what it began with, where that was more
    than ``propellant_kg``. ``left_with`` names craft that it started with before the epoch and is not yet clear of.
    ``area_m2`` and the two coefficients count where air and light are flown.
    """

    name: str
    dry_mass_kg: float | None = None
    propellant_kg: float | None = None
    tank_kg: float | None = None
    load: Load = _LOAD
    isp_s: float | None = None
    thrust_n: float | None = None
    throttle_min: float = number_by_default("craft", "throttle_min")
    burns_max: int | None = None
    burn_least_m_s: float = number_by_default("craft", "burn_least")
    between_burns_s: float = number_by_default("craft", "between_burns")
    reaction_s: float = number_by_default("craft", "reaction")
    reserve_m_s: float = number_by_default("craft", "reserve")
    ready_s: float = number_by_default("craft", "ready")
    pads: tuple[str, ...] = ()
    stay: bool = flag_by_default("craft", "stay")
    may_move: bool = False
    area_m2: float | None = None
    drag_coefficient: float = number_by_default("craft", "drag_coefficient")
    reflectivity: float = number_by_default("craft", "reflectivity")
    errors: Errors | None = None
    orbit: Orbit | None = None
    carrier: str | None = None
    left_with: tuple[str, ...] = ()

    @property
    def lightest_kg(self) -> float:
        """Least mass that a launcher may have to carry; 0 for a craft without masses."""
        if self.dry_mass_kg is None or self.propellant_kg is None:
            return 0.0
        return self.dry_mass_kg + (self.propellant_kg if self.load == "full" else 0.0)

    @property
    def surface(self) -> Surface:
        """What air and light meet of it, at the mass that it starts with."""
        mass = None if self.dry_mass_kg is None else self.dry_mass_kg + (self.propellant_kg or 0.0)
        return Surface.of(mass, self.area_m2, self.drag_coefficient, self.reflectivity)


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """Everything one question needs, validated.

    ``first_service`` is how many neighboring slots must be filled for the first service, None where it is not asked.
    ``front_step_s`` is the time between the finishes for which free-form flights are looked for, None for none.
    ``errors`` and ``risk`` are None where nothing is said about them. ``weigh`` is what the listed plans are weighed
    by, after they were planned by ``minimize``; None for nothing. ``forces`` is None where the body's bulge alone is
    flown; ``pulls`` are the bodies that pull in a world of one's own; ``spares`` are up and wait for a loss. Craft are
    to be down, or out of the way, ``disposal_within_s`` after the end of their service; None where nothing is asked.
    ``air_factor`` is on densities; ``turned_off`` are the forces that the scenario says not to fly.
    """

    title: str
    body: Body
    ring: RingSpec
    craft: tuple[Craft, ...]
    limits: LimitSpec = LimitSpec()
    pads: tuple[Pad, ...] = ()
    carriers: tuple[Carrier, ...] = ()
    spares: tuple[Spare, ...] = ()
    epoch: datetime | None = None
    minimize: Aim = _AIM
    forces: ForceSpec | None = field(default_factory=ForceSpec)
    pulls: tuple[Puller, ...] = ()
    air_factor: float = 1.0
    turned_off: frozenset[str] = frozenset()
    disposal_within_s: float | None = None
    first_service: int | None = None
    front_step_s: float | None = None
    errors: Errors | None = None
    risk: Risk | None = None
    weigh: Weigh | None = None
    source: Source = Source()
    warnings: tuple[str, ...] = ()

    @property
    def floor_m(self) -> float:
        """Lowest radius allowed on every arc after insertion: atmosphere top and clearance above it."""
        return self.body.radius_m + self.body.atmosphere_top_m + self.limits.clearance_m


ON_RING_M, ON_RING_SHARE = 1000.0, 1e-4  # an apsis is on the ring within 1 km, or this share of the radius


def on_ring(radius_m: float, ring_radius_m: float) -> bool:
    """Whether a radius is the ring's, as near as a file rounds it."""
    return abs(radius_m - ring_radius_m) <= max(ON_RING_M, ON_RING_SHARE * ring_radius_m)
