"""The planning problem behind a scenario: the ring with its phase, who stays, who moves, which ways lead up."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from ...models import frames, launch, oblateness, orbits
from ...models import oblate_coast as coast
from ...models.azimuth import azimuth_of_least_tilt
from ...models.craft import delta_v_allowed
from ...models.errors import InputError
from ...models.flight.gravity import Gravity, gravity_around
from ...models.opportunities import IN_PLANE_RAD, always_in_plane, band, corridor_admits, liftoffs, open_to, turn_s
from ...models.ring import Ring
from ...models.scenario import Craft, Pad, Scenario
from ...models.site_and_plane import SiteAndPlane
from ...models.windows import least_angle
from ..outcome import Kept
from ..routes.carrier import Aboard
from ..routes.free_form import TimedFlight
from ..routes.options import F, I, Options
from ..routes.phasing import Touch
from ..routes.rephase import Standing, standing


@dataclass(frozen=True, kw_only=True)
class CraftClass:
    """Craft that are alike in everything that planning looks at; ``start`` is None while they wait on the ground."""

    names: tuple[str, ...]
    craft: Craft
    start: Standing | None
    delta_v_allowed_m_s: float

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.names)


@dataclass(frozen=True, kw_only=True)
class KeptCraft:
    """A craft that stays in the ring: its slot, counted through the planes, and its angle at time 0."""

    name: str
    slot: int
    angle_rad: float


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One ring phase of a scenario, ready to be planned.

    ``launches`` is how many craft go up from the ground; ``ways`` every pad's every insertion; ``timed`` the free-form
    flights that were looked for, ``timed_missing`` for how many pairs of craft and slot they were not.
    """

    scenario: Scenario
    ring: Ring
    phase_rule: str
    classes: tuple[CraftClass, ...]
    kept: tuple[KeptCraft, ...]
    free_slots: tuple[int, ...]
    ways: tuple[launch.Ascent, ...]
    notes: tuple[str, ...] = ()
    timed: tuple[TimedFlight, ...] = ()
    timed_missing: int = 0

    @property
    def launches(self) -> int:
        """Craft that wait on the ground."""
        return sum(c.count for c in self.classes if c.start is None)

    @property
    def aboard(self) -> tuple[Aboard, ...]:
        """The carriers, each with the craft aboard."""
        found = []
        for carrier in self.scenario.carriers:
            ground = [(i, c) for i, c in enumerate(self.classes) if c.start is None]
            on = [i for i, c in ground if c.craft.carrier == carrier.name for _ in c.names]
            on.sort(key=lambda i: self.classes[i].delta_v_allowed_m_s)
            found.append(
                Aboard(
                    carrier=carrier,
                    craft_class=np.array(on, dtype=np.int64),
                    allowed_m_s=np.array([self.classes[i].delta_v_allowed_m_s for i in on], dtype=np.float64),
                    ready_s=max((self.classes[i].craft.ready_s for i in on), default=0.0),
                )
            )
        return tuple(a for a in found if a.craft_class.size == len(a.carrier.craft))

    @property
    def kept_angle_rad(self) -> F:
        """Angles of the craft that stay, at time 0."""
        return np.array([k.angle_rad for k in self.kept], dtype=np.float64)

    @property
    def kept_plane(self) -> I:
        """Their planes."""
        return np.array([k.slot // self.ring.slots for k in self.kept], dtype=np.int64)

    @property
    def phase_given(self) -> bool:
        """Whether the scenario says where the ring stands, so that no rule has to."""
        spec = self.scenario.ring
        return spec.slot0_rad is not None or any(
            one.slot is not None and one.angle_rad is not None for one in spec.occupied
        )

    @property
    def oblate(self) -> bool:
        """Whether plans are flown over an oblate body, and corrected by that flight."""
        return self.scenario.body.j2 != 0.0

    @property
    def gravity(self) -> Gravity:
        """What every plan is flown with."""
        return gravity_around(self.scenario.body)

    @property
    def wobble_m(self) -> float:
        """Room that phasing orbits keep from floor and ceiling for what oblateness does within a revolution, m.

        3/2 J2 Re^2 / a, with the least semi-major axis that a phasing orbit over the floor can have: the size of the
        short-period terms (Kozai 1959). Zero in point-mass gravity.
        """
        body = self.scenario.body
        least = 0.5 * (min(self.scenario.floor_m, self.ring.radius_m) + self.ring.radius_m)
        return 1.5 * body.j2 * body.j2_radius_m**2 / least

    def touch(self, arrival_speed_m_s: float) -> Touch:
        """The limits of the scenario on phasing from a touch of the ring."""
        limits = self.scenario.limits
        return Touch(
            ring=self.ring,
            arrival_speed_m_s=arrival_speed_m_s,
            floor_m=self.scenario.floor_m + self.wobble_m,
            ceiling_m=limits.apoapsis_max_m - self.wobble_m,
            revolutions_max=limits.revolutions_max,
            wait_within_s=limits.wait_within_s,
        )

    def arrival_speed(self, options: Options) -> F:
        """Speed on the orbit from which each option first burns at the ring: its own, or its carrier's."""
        up = np.array([w.arrival_speed_m_s for w in self.ways] + [math.nan])
        there = np.array([math.nan if c.start is None else c.start.speed_m_s for c in self.classes] + [math.nan])
        own = np.where(options.way >= 0, up[options.way], there[options.craft_class])
        return np.asarray(np.where(options.bundle >= 0, options.carrier_speed_m_s, own))

    def starts_on_ring(self, craft_class: I) -> np.ndarray:
        """Mask of options whose craft starts on the ring itself."""
        there = np.array([c.start is not None and c.start.on_ring for c in self.classes] + [False])
        return np.asarray(there[craft_class])


def ring_of(scenario: Scenario) -> Ring:
    """The ring of a scenario, its phase 0 where that is free. Over an oblate body with the rates of its mean radius."""
    spec = scenario.ring
    gm = scenario.body.gm
    rate, node_rate = float(orbits.rate(gm, spec.radius_m)), 0.0
    if scenario.body.j2 != 0.0:
        rate, node_rate = oblateness.ring_rates(scenario.body, spec.radius_m, spec.inclination_rad)
    return Ring(
        radius_m=spec.radius_m,
        slots=spec.slots,
        rate_rad_s=rate,
        slot0_rad=0.0 if spec.slot0_rad is None else spec.slot0_rad,
        gm=gm,
        inclination_rad=spec.inclination_rad,
        node_rad=spec.node_rad,
        node_rate_rad_s=node_rate,
        planes=spec.planes,
        phasing=spec.phasing,
        spread_rad=spec.spread_rad,
    )


def problems(scenario: Scenario) -> tuple[Problem, ...]:
    """One problem for each phase that the ring may take: a single one unless a free phase leaves a choice.

    Over an oblate body the ring turns, and its node drifts, at the secular rates of its mean radius.

    Rules for a free phase: with craft that stay, the phase that makes their largest error least; with movable craft
    on the ring, each phase at which one of them need not move; with neither, the first arrival decides.
    Raises InputError where craft that stay contradict one another.
    """
    spec = scenario.ring
    base = ring_of(scenario)
    staying = _staying_angles(scenario, base)
    movable = [c for c in scenario.craft if not c.stay]
    starts = {c.name: standing(base, c, scenario.body) for c in movable if c.orbit is not None}
    ways = _ways_up(scenario, base)
    if spec.slot0_rad is not None:
        phases = [(spec.slot0_rad, "the scenario gives the place of slot 0")]
    elif staying:
        phases = [_phase_of_staying(scenario, base, staying)]
    else:
        phases = _phases_of_movable(scenario, base, starts, ways)
    return tuple(_problem(scenario, replace(base, slot0_rad=p), rule, staying, starts, ways) for p, rule in phases)


def kept_tilt_rad(scenario: Scenario) -> float:
    """Greatest angle from the ring plane at liftoff that is not taken off, rad.

    What the ring allows; over an oblate body less, by what the plane as given at the insertion is off its own mean:
    3/4 J2 (Re/r)^2 sin i cos i in inclination (see `oblateness.ring_state`), and as much again for the rest.
    """
    spec, body = scenario.ring, scenario.body
    radii = [insertion.radius_m for pad in scenario.pads for insertion in pad.insertions]
    strength = body.j2 * (body.j2_radius_m / min(radii, default=spec.radius_m)) ** 2
    wobble = 0.75 * abs(strength * math.sin(2.0 * spec.inclination_rad))
    return max(spec.tilt_tolerance_rad - wobble, 0.0)


def _ways_up(scenario: Scenario, ring: Ring) -> tuple[launch.Ascent, ...]:
    """Every pad's every insertion into every plane for which there is an opportunity at all."""
    body = scenario.body
    found: list[launch.Ascent] = []
    for index, pad in enumerate(scenario.pads):
        for plane in range(ring.planes):
            place = SiteAndPlane.of(body, pad, ring, plane)
            always = always_in_plane(place, IN_PLANE_RAD)
            headings = [launch.Heading(plane=plane)] if always else _headings(scenario, pad, place, plane)
            for insertion in pad.insertions:
                ways = [coast.ascent(body, ring, pad, index, insertion, heading) for heading in headings]
                found += [way for way in ways if way is not None and _ever_open(scenario, ring, pad, way, place)]
    return tuple(found)


def _headings(scenario: Scenario, pad: Pad, place: SiteAndPlane, plane: int) -> list[launch.Heading]:
    """Ways of a site that passes through the plane, or comes near enough to it: north and south, by tilt."""
    kinds: list[launch.TiltAt] = ["kept", "apsis", "node"]
    tolerance = kept_tilt_rad(scenario)
    bands = {kind: band(pad, tolerance, kind) for kind in kinds}
    kept = [
        kind for kind, (least, most) in bands.items() if least_angle(place) <= most and (kind == "kept" or most > least)
    ]
    return [
        launch.Heading(plane=plane, place=place, ascending=ascending, tilt_at=kind)
        for kind in kept
        for ascending in (True, False)
    ]


def _ever_open(scenario: Scenario, ring: Ring, pad: Pad, way: launch.Ascent, place: SiteAndPlane) -> bool:
    """Whether a way has an opportunity in two turns of the site, by plane and corridor."""
    body, tolerance = scenario.body, kept_tilt_rad(scenario)
    if way.place is None:
        azimuth = azimuth_of_least_tilt(place, 0.0)
        return bool(corridor_admits(body, pad, way.insertion_speed_m_s, azimuth))
    turn = turn_s(place)
    times = liftoffs(way, ring, pad, tolerance, 0.0, 2.0 * turn if math.isfinite(turn) else 0.0)
    return bool(open_to(way, body, pad, tolerance, times).any())


class _Staying(NamedTuple):
    """A craft that stays: argument of latitude at time 0 and slot in its plane, as far as they are given."""

    name: str
    angle_rad: float | None
    slot: int | None
    plane: int


def _staying_angles(scenario: Scenario, base: Ring) -> list[_Staying]:
    found = [_Staying(o.name, o.angle_rad, o.slot, o.plane) for o in scenario.ring.occupied]
    for craft in scenario.craft:
        if not craft.stay or craft.orbit is None:
            continue
        start = standing(base, craft, scenario.body)
        if not start.on_ring:
            raise InputError(
                f"craft {craft.name!r} is to stay, but its orbit is not the ring: give it an orbit at the ring's "
                "radius, or take stay = true out so that it may move.",
                where=scenario.source.file,
            )
        angle = start.angle_rad - base.rate_rad_s * start.first_s
        found.append(_Staying(craft.name, angle, None, craft.orbit.plane))
    return found


def _ahead(base: Ring, plane: int) -> float:
    """How far slot 0 of a plane is ahead of that of plane 0, rad."""
    return float(base.phase(0.0, 0, plane)) - base.slot0_rad


def _phase_of_staying(scenario: Scenario, base: Ring, staying: list[_Staying]) -> tuple[float, str]:
    spacing = base.spacing_rad
    angles = [s.angle_rad - _ahead(base, s.plane) for s in staying if s.angle_rad is not None]
    if not angles:
        raise InputError(
            'ring.slot0_deg is "free", but the occupied slots are given by number only, so nothing says where the ring '
            "stands: give slot0_deg, or angle_deg for one of the occupied.",
            where=scenario.source.where("ring.slot0"),
        )
    numbered = [
        (s.angle_rad - _ahead(base, s.plane), s.slot) for s in staying if s.angle_rad is not None and s.slot is not None
    ]
    if numbered:
        return numbered[0][0] - numbered[0][1] * spacing, "the numbered occupied slot with an angle decides"
    rest = np.sort(np.remainder(np.array(angles), spacing))
    gaps = np.diff(np.concatenate([rest, [rest[0] + spacing]]))
    widest = int(np.argmax(gaps))
    # the middle of the shortest arc that holds all of them is opposite to the middle of the widest gap
    start = rest[(widest + 1) % rest.size]
    middle = start + 0.5 * (spacing - gaps[widest])
    names = ", ".join(s.name for s in staying)
    return float(np.remainder(middle, spacing)), f"{names} stays: slots are placed so that the largest error is least"


def _phases_of_movable(
    scenario: Scenario, base: Ring, starts: dict[str, Standing], ways: tuple[launch.Ascent, ...]
) -> list[tuple[float, str]]:
    planes = {c.name: c.orbit.plane for c in scenario.craft if c.orbit is not None}
    on_ring = [
        (name, s.angle_rad - base.rate_rad_s * s.first_s - _ahead(base, planes[name]))
        for name, s in starts.items()
        if s.on_ring
    ]
    if on_ring:
        kept: list[tuple[float, str]] = []
        for name, angle in on_ring:
            phase = float(np.remainder(angle, base.spacing_rad))
            apart = [abs(float(frames.wrap((phase - p) * base.slots))) / base.slots for p, _ in kept]
            if all(a > 1e-9 for a in apart):
                kept.append((phase, f"slots are placed so that {name} need not move"))
        return kept
    arrivals = [
        (s.first_s, s.angle_rad - _ahead(base, planes[name]), name)
        for name, s in starts.items()
        if np.isfinite(s.first_s)
    ]
    for way in ways:
        pad = scenario.pads[way.pad]
        ready = max(pad.ready_s, min((c.ready_s for c in scenario.craft if c.orbit is None), default=0.0))
        if way.place is not None:
            turn = turn_s(way.place)
            times = liftoffs(way, base, pad, kept_tilt_rad(scenario), ready, ready + 2.0 * min(turn, 1e9))
            times = times[open_to(way, scenario.body, pad, kept_tilt_rad(scenario), times)]
            if not times.size:
                continue
            ready = float(times[0])
        angle = float(way.angle(ready)) - _ahead(base, way.plane)
        arrivals.append((ready + way.after_s, angle, f"the first launch from {pad.name}"))
    if not arrivals:
        craft = next((c for c in scenario.craft if c.orbit is not None), None)
        if craft is None or craft.orbit is None:
            return [(0.0, "no craft can reach the ring, so where it stands does not matter")]
        arrivals.append((craft.orbit.at_s, craft.orbit.angle_rad, f"where {craft.name} is given"))
    time, angle, who = min(arrivals, key=lambda a: a[0])
    phase = float(np.remainder(angle - base.rate_rad_s * time, base.spacing_rad))
    return [(phase, f"no craft is up yet, so {who} decides where the ring stands: a rule, not an optimum")]


def _problem(
    scenario: Scenario,
    ring: Ring,
    rule: str,
    staying: list[_Staying],
    starts: dict[str, Standing],
    ways: tuple[launch.Ascent, ...],
) -> Problem:
    kept: list[KeptCraft] = []
    notes = []
    for name, angle, number, plane in staying:
        slot = number
        if slot is None:
            ahead = float(angle or 0.0) - ring.slot0_rad - _ahead(ring, plane)
            slot = int(np.rint(ahead / ring.spacing_rad)) % ring.slots
        slot += plane * ring.slots
        place = float(ring.phase(0.0, slot)) if angle is None else angle
        other = next((k.name for k in kept if k.slot == slot), None)
        if other is not None:
            raise InputError(
                f"{name!r} and {other!r} would both be in slot {slot % ring.slots}: two craft that stay cannot share a "
                "slot; move one of them (as a [[craft]] with an orbit) or change ring.slots.",
                where=scenario.source.where("ring.occupied"),
            )
        kept.append(KeptCraft(name=name, slot=slot, angle_rad=place))
        error = float(frames.wrap(place - float(ring.phase(0.0, slot))))
        if abs(error) > scenario.ring.tolerance_rad * (1.0 + 1e-9):
            notes.append(
                f"{name} stays {math.degrees(error):+.2f} deg off slot {slot % ring.slots}, more than the tolerance of "
                f"{math.degrees(scenario.ring.tolerance_rad):g} deg: the ring is uneven by that much."
            )
    free = tuple(s for s in range(ring.planes * ring.slots) if s not in {k.slot for k in kept})
    groups: dict[Craft, list[str]] = {}
    for craft in scenario.craft:
        if not craft.stay:
            groups.setdefault(replace(craft, name=""), []).append(craft.name)
    classes = tuple(
        CraftClass(
            names=tuple(names),
            craft=craft,
            start=starts.get(names[0]),
            delta_v_allowed_m_s=delta_v_allowed(craft),
        )
        for craft, names in groups.items()
    )
    if sum(c.count for c in classes) > len(free):
        raise InputError(
            f"{sum(c.count for c in classes)} craft are to be placed, but only {len(free)} of "
            f"{ring.planes * ring.slots} slots are free: raise ring.slots or take craft out.",
            where=scenario.source.where("ring.slots"),
        )
    return Problem(
        scenario=scenario,
        ring=ring,
        phase_rule=rule,
        classes=classes,
        kept=tuple(kept),
        free_slots=free,
        ways=ways,
        notes=tuple(notes),
    )


def kept_errors(problem: Problem) -> tuple[Kept, ...]:
    """Each craft that stays with its error against its slot, rad, in (-pi, pi]."""
    return tuple(
        Kept(
            craft=k.name,
            slot=k.slot % problem.ring.slots,
            plane=k.slot // problem.ring.slots,
            error_rad=float(frames.wrap(k.angle_rad - float(problem.ring.phase(0.0, k.slot)))),
        )
        for k in problem.kept
    )
