"""Where the ring stands, who stays in it, and the problem that each of its phases makes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...models import frames, launch
from ...models.craft import delta_v_allowed
from ...models.errors import FlightError, InputError
from ...models.opportunities import liftoffs, open_to, turn_s
from ...models.readouts import listed
from ...models.ring import Ring
from ...models.ring_as_given import ring_as_given
from ...models.scenario import Craft, Scenario
from .in_space import Standing, standing
from .options import F
from .problem import CraftClass, KeptCraft, Problem
from .ways_up import kept_tilt_rad, ways_up

IN_PLACE_MAX = 500
"""Most phases at which a craft need not move that are listed; with more slots and craft there are others."""


def ring_of(scenario: Scenario) -> Ring:
    """The ring of a scenario, its phase 0 where that is free. Over an oblate body with the rates of its mean radius."""
    return ring_as_given(scenario.body, scenario.ring)


def problems(scenario: Scenario) -> tuple[Problem, ...]:
    """One problem for each phase that the ring may take: a single one unless a free phase leaves a choice.

    Over an oblate body the ring turns, and its node drifts, at the secular rates of its mean radius.

    Rules for a free phase: with craft that stay, the phase that makes their largest error least; with movable craft
    on the ring, each phase at which one of them need not move; with neither, the first arrival decides.
    Raises InputError where craft that stay contradict one another, or the bulge keeps a craft from the ring.
    """
    spec = scenario.ring
    base = ring_of(scenario)
    staying = _staying_angles(scenario, base)
    movable = [c for c in scenario.craft if not c.stay]
    starts = {c.name: _standing(scenario, base, c) for c in movable if c.orbit is not None}
    ways = ways_up(scenario, base)
    if spec.slot0_rad is not None:
        phases = [(spec.slot0_rad, "the scenario gives the place of slot 0")]
    elif staying:
        phases = [_phase_of_staying(scenario, base, staying)]
    else:
        phases = _phases_of_movable(scenario, base, starts, ways)
    return tuple(_problem(scenario, replace(base, slot0_rad=p), rule, staying, starts, ways) for p, rule in phases)


def places_of_staying(scenario: Scenario) -> tuple[Ring, tuple[tuple[str, int, float], ...]] | None:
    """The ring laid through the craft that stay, and each by its name with the nearest slot in its plane and how far it
    is ahead of that, rad; None where none stays.

    Raises:
        InputError: a craft that is to stay is not on the ring.
    """
    base = ring_of(scenario)
    staying = _staying_angles(scenario, base)
    if not staying:
        return None
    ring = replace(base, slot0_rad=_phase_of_staying(scenario, base, staying)[0])
    found = []
    for name, angle, number, plane in staying:
        ahead = float(angle or 0.0) - ring.slot0_rad - _ahead(ring, plane)
        slot = int(ring.nearest(ahead)) if number is None else number
        found.append((name, slot, 0.0 if angle is None else float(frames.wrap(ahead - float(ring.ahead(slot))))))
    return ring, tuple(found)


def _standing(scenario: Scenario, base: Ring, craft: Craft) -> Standing:
    """Where a craft in space touches the ring; InputError where its orbit does so over a round body alone."""
    try:
        return standing(base, craft, scenario.body)
    except FlightError as never:
        raise InputError(
            f"craft.{craft.name}.orbit touches the ring over a round body alone: over this one {never}, and it does "
            "not come to the ring as given. Give a circle at the ring's altitude, apsides that are farther apart, or "
            "body.j2 = 0.",
            where=scenario.source.where(f"craft[{scenario.craft.index(craft)}].orbit"),
        ) from never


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
        start = _standing(scenario, base, craft)
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
        return numbered[0][0] - float(base.ahead(numbered[0][1])), "the numbered occupied slot with an angle decides"
    names, stay = listed([s.name for s in staying]), "stays" if len(staying) == 1 else "stay"
    return _middle(base, np.array(angles)), f"{names} {stay}: slots are placed so that the largest error is least"


def _middle(base: Ring, angles_rad: F) -> float:
    """The phase at which the greatest distance of some angles from their nearest slots is least."""
    around = base.repeat_rad
    slots = base.ahead(np.arange(base.slots if base.pattern_rad else 1))
    # one row for each angle: the phases at which it is in some slot
    phases = np.remainder(angles_rad[:, None] - slots, around)
    whose = np.repeat(np.arange(angles_rad.size), slots.size)
    order = np.argsort(phases, axis=None)
    flat = phases.ravel()[order]
    flat, whose = np.concatenate([flat, flat + around]), np.tile(whose[order], 2)
    # the shortest arc that holds a phase of every angle; its middle is the nearest to all of them
    best, start, inside = math.inf, 0, np.zeros(angles_rad.size, dtype=np.int64)
    middle = 0.0
    for end, new in enumerate(whose.tolist()):
        inside[new] += 1
        while inside.all() and start <= end:
            wide = float(flat[end] - flat[start])
            if wide < best - 1e-12:
                best, middle = wide, float(0.5 * (flat[start] + flat[end]))
            inside[whose[start]] -= 1
            start += 1
    return float(np.remainder(middle, around))


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
            for slot in range(base.slots if base.pattern_rad else 1):
                phase = float(np.remainder(angle - float(base.ahead(slot)), base.repeat_rad))
                apart = [abs(math.remainder(phase - p, base.repeat_rad)) for p, _ in kept]
                if all(a > 1e-9 for a in apart) and len(kept) < IN_PLACE_MAX:
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
    phase = float(np.remainder(angle - base.rate_rad_s * time, base.repeat_rad))
    return [(phase, f"no craft is up yet, so {who} decides where the ring stands: a rule, not an optimum")]


def _kept(scenario: Scenario, ring: Ring, staying: list[_Staying]) -> tuple[list[KeptCraft], list[str]]:
    """The craft that stay, each in its slot, and what must be said of those that are off theirs."""
    kept: list[KeptCraft] = []
    notes: list[str] = []
    for name, angle, number, plane in staying:
        slot = number
        if slot is None:
            ahead = float(angle or 0.0) - ring.slot0_rad - _ahead(ring, plane)
            slot = int(ring.nearest(ahead))
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
    return kept, notes


def _problem(
    scenario: Scenario,
    ring: Ring,
    rule: str,
    staying: list[_Staying],
    starts: dict[str, Standing],
    ways: tuple[launch.Ascent, ...],
) -> Problem:
    kept, notes = _kept(scenario, ring, staying)
    taken, left = {k.slot for k in kept}, scenario.ring.leave_free
    free = tuple(s for s in range(ring.planes * ring.slots) if s not in taken and s % ring.slots not in left)
    if left:
        each = " of each plane" if ring.planes > 1 else ""
        notes.append(f"left free for later{each}: slot{'s' if len(left) > 1 else ''} {listed([str(s) for s in left])}")
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
