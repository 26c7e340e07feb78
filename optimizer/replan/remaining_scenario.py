"""From a plan and what was seen of it to the scenario of all that is left to do.

The new scenario counts its times from the moment of the observation: ring, site, windows, limits and orbits are carried
there. Craft in their slots hold them; craft under way are in space on the orbit seen, or where nothing was seen on the
one that the plan has them on, as flown.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from ...models.burns import delta_v_available, mass_after, propellant_needed
from ...models.errors import InputError
from ...models.flight.integrate import fly
from ...models.orbit_of_state import touching_orbit
from ...models.reading.observed import Observed, Seen
from ...models.scenario import Carrier, Craft, Occupied, Orbit, Pad, RingSpec, Scenario, on_ring
from ..craft_plan import CraftPlan
from ..outcome import Outcome, Plan
from ..trajectory.differential_correction import IMPULSIVE
from .needed import least_burn_m_s, state_seen
from .real_flight import gravity_of

SOONEST_S = 1e-6
"""A limit that has run out keeps this much, so that planning can say that it binds."""

STEP_TURNS = 0.5
"""Finishes of free-form flights in ring turns, where an orbit needs them and the scenario states no step."""


@dataclass(frozen=True, kw_only=True)
class Spent:
    """What one craft has burned until now, m/s, and whether that is by the plan rather than by what was read.

    ``at_least``: the last burn counts with what the orbits before and after it need, which is the least it can have
    been.
    """

    craft: str
    delta_v_m_s: float
    by_plan: bool
    at_least: bool = False


@dataclass(frozen=True, kw_only=True)
class Remaining:
    """What is left to do, as a new scenario.

    ``scenario`` leaves further forces out. It is None where no craft is left to move, and while one is between liftoff
    and insertion. ``done`` are the craft in their slots, ``lost`` those that are gone, ``assumed`` those under way of
    which nothing was seen, ``stepped`` whether free-form flights were asked for only because an orbit does not touch
    the ring. ``as_planned``: all observations match the plan. ``frozen`` craft go on as planned, or as their plan was
    mended, and are left out of the scenario; their slots are held for them, and their liftoffs kept free.
    """

    scenario: Scenario | None
    spent: tuple[Spent, ...]
    done: tuple[str, ...]
    lost: tuple[str, ...]
    assumed: tuple[str, ...]
    stepped: bool
    as_planned: bool
    frozen: tuple[str, ...] = ()


def remaining(
    outcome: Outcome,
    plan: Plan,
    observed: Observed,
    *,
    freeze: bool = False,
    held: frozenset[str] = frozenset(),
) -> Remaining:
    """Carry a plan and what was seen of it to the moment of the observation.

    Args:
        observed: what was seen, and when.
        freeze: leave craft alone whose observations match the plan.
        held: craft to leave alone too, whose slots are held for them.

    Raises:
        InputError: what was seen contradicts the scenario.
    """
    return _Carrying(outcome, plan, observed, freeze, held).remaining()


class _Carrying:
    def __init__(self, outcome: Outcome, plan: Plan, observed: Observed, freeze: bool, held: frozenset[str]) -> None:
        self.freeze, self.held = freeze, held
        self.scenario, self.ring, self.plan, self.seen = outcome.scenario, outcome.ring, plan, observed
        self.now_s = observed.now_s
        self.gravity = gravity_of(outcome)
        self.done: list[CraftPlan] = []
        self.lost: list[str] = []
        self.assumed: list[str] = []
        self.climbing: CraftPlan | None = None
        self.frozen: list[CraftPlan] = []

    def remaining(self) -> Remaining:
        parts = {part.craft: part for part in self.plan.craft}
        craft: list[Craft] = []
        spent: list[Spent] = []
        for one in self.scenario.craft:
            part = parts.get(one.name)
            if part is None:
                craft.append(replace(one, orbit=None if one.orbit is None else self._later(one.orbit)))
                continue
            seen = self.seen.of(one.name) or Seen(name=one.name)
            as_before = self._by_plan(part) or self._has_enough(one, part, seen)
            if one.name in self.held or (self.freeze and as_before and part.in_slot_s > self.now_s):
                self.frozen.append(part)
                spent.append(self._spent(one, part, seen))
                continue
            moved, used = self._craft(one, part, seen)
            spent.append(used)
            craft += [moved] if moved is not None else []
        moving = [one for one in craft if not one.stay]
        as_planned = all(self._by_plan(part) for part in self.plan.craft)
        if self.climbing is not None and not as_planned:
            raise InputError(
                f"craft {self.climbing.craft!r} is between liftoff and insertion now: give a now after its insertion "
                f"{self.climbing.insertion_s or 0.0:.0f} s from the epoch, or its orbit.",
                where=self.seen.file,
            )
        ring = self._ring()
        stepped = self.scenario.front_step_s is None and any(self._off_ring(one) for one in moving)
        step = STEP_TURNS * self.ring.period_s if stepped else self.scenario.front_step_s
        scenario = self.scenario
        limits = replace(scenario.limits, finish_within_s=max(scenario.limits.finish_within_s - self.now_s, SOONEST_S))
        body = replace(
            scenario.body,
            prime_meridian_rad=scenario.body.prime_meridian_rad + scenario.body.spin_rad_s * self.now_s,
        )
        left = replace(
            scenario,
            body=body,
            ring=ring,
            craft=tuple(craft),
            limits=limits,
            pads=tuple(self._pad(pad) for pad in scenario.pads),
            carriers=tuple(self._carriers(craft)),
            epoch=None if scenario.epoch is None else scenario.epoch + timedelta(seconds=self.now_s),
            pulls=tuple(one.later(self.now_s) for one in scenario.pulls),
            front_step_s=step,
            forces=None,
        )
        return Remaining(
            scenario=left if moving and self.climbing is None else None,
            spent=tuple(spent),
            done=tuple(part.craft for part in self.done),
            lost=tuple(self.lost),
            assumed=tuple(self.assumed),
            stepped=stepped,
            as_planned=as_planned,
            frozen=tuple(part.craft for part in self.frozen),
        )

    def _carriers(self, craft: list[Craft]) -> list[Carrier]:
        """Carriers that are still to be launched, with who is left of their craft."""
        left = {one.name for one in craft if one.orbit is None}
        gone = {part.carrier for part in self.plan.craft if part.carrier and part.craft not in left | set(self.lost)}
        found = [replace(c, craft=tuple(n for n in c.craft if n in left)) for c in self.scenario.carriers]
        return [c for c in found if c.craft and c.name not in gone]

    def _by_plan(self, part: CraftPlan) -> bool:
        """Whether the observations of a craft match the plan."""
        seen = self.seen.of(part.craft)
        if seen is None:
            return True
        if seen.orbit is not None or seen.propellant_kg is not None or seen.status == "lost":
            return False
        waiting = part.launch_s is not None and part.launch_s > self.now_s
        return seen.status is None or (seen.status == "pad" and waiting) or part in self.done_by_plan

    def _has_enough(self, craft: Craft, part: CraftPlan, seen: Seen) -> bool:
        """Whether all that was seen is a tank, and that one holds what the rest of the plan burns and the reserve."""
        if seen.propellant_kg is None or seen.orbit is not None or seen.status is not None:
            return False
        if craft.dry_mass_kg is None or craft.isp_s is None or part.propellant_left_kg is None:
            return False
        behind = len(self._burned(part))
        now_kg = part.burns[behind - 1].propellant_after_kg if behind else self._loaded(craft, part)
        reserve = float(propellant_needed(craft.dry_mass_kg, craft.reserve_m_s, craft.isp_s))
        return now_kg is not None and seen.propellant_kg - (now_kg - part.propellant_left_kg) >= reserve - 1e-9

    @property
    def done_by_plan(self) -> list[CraftPlan]:
        """Craft that the plan has in their slots by now."""
        return [part for part in self.plan.craft if part.in_slot_s <= self.now_s]

    def _ring(self) -> RingSpec:
        spec, ring = self.scenario.ring, self.ring
        turned = ring.rate_rad_s * self.now_s
        held = [
            replace(one, angle_rad=None if one.angle_rad is None else one.angle_rad + turned) for one in spec.occupied
        ]
        held += [Occupied(name=part.craft, slot=part.slot, plane=part.plane) for part in (*self.done, *self.frozen)]
        return replace(
            spec,
            slot0_rad=ring.slot0_rad + turned,
            node_rad=ring.node_rad + ring.node_rate_rad_s * self.now_s,
            occupied=tuple(held),
        )

    def _pad(self, pad: Pad) -> Pad:
        now = self.now_s
        liftoffs = [
            part.launch_s
            for part in self.plan.craft
            if part.pad == pad.name and part.launch_s is not None and part.launch_s <= now and not self._on_pad(part)
        ]
        taken = [
            (part.launch_s - pad.turnaround_s, part.launch_s + pad.turnaround_s)
            for part in self.frozen
            if part.pad == pad.name and part.launch_s is not None and part.launch_s > now and pad.turnaround_s > 0.0
        ]
        ready = max([pad.ready_s, *(liftoff + pad.turnaround_s for liftoff in liftoffs)])
        return replace(
            pad,
            ready_s=max(ready - now, 0.0),
            until_s=max(pad.until_s - now, -1.0),
            blackouts_s=tuple((max(a - now, 0.0), b - now) for a, b in (*pad.blackouts_s, *taken) if b > now),
        )

    def _on_pad(self, part: CraftPlan) -> bool:
        seen = self.seen.of(part.craft)
        return seen is not None and seen.status == "pad"

    def _craft(self, craft: Craft, part: CraftPlan, seen: Seen) -> tuple[Craft | None, Spent]:
        now = self.now_s
        started = part.launch_s is not None and part.launch_s <= now
        begun = seen.orbit is not None or (seen.status != "pad" and (started or craft.orbit is not None))
        if seen.status == "lost":
            self.lost.append(craft.name)
            return None, self._spent(craft, part, seen)
        if seen.status == "done" or (seen.status is None and seen.orbit is None and begun and part.in_slot_s <= now):
            self.done.append(part)
            return None, self._spent(craft, part, seen)
        ready = max(craft.ready_s - now, 0.0)
        if not begun:
            return replace(craft, ready_s=ready), Spent(craft=craft.name, delta_v_m_s=0.0, by_plan=False)
        spent = self._spent(craft, part, seen)
        beside = tuple(name for name, apart_s in part.apart_s if apart_s > now)
        moved = replace(craft, ready_s=ready, pads=(), carrier=None, left_with=beside)
        moved = self._tank(moved, part, seen)
        if seen.orbit is not None:
            return replace(moved, orbit=self._later(self._as_touched(seen))), spent
        self.assumed.append(craft.name)
        if craft.orbit is not None and not self._burned(part):
            # not yet burned: the orbit that the scenario gives is the exact one
            return replace(moved, orbit=self._later(craft.orbit)), spent
        if part.insertion_s is not None and now < part.insertion_s:
            self.climbing = part
            return replace(craft, ready_s=ready), spent
        return replace(moved, orbit=self._later(self._flown(part, now))), spent

    def _later(self, orbit: Orbit) -> Orbit:
        """An orbit with its time counted from now; a craft on the ring keeps the ring's pace."""
        if on_ring(orbit.periapsis_m, self.ring.radius_m) and orbit.circular:
            return replace(
                orbit, angle_rad=orbit.angle_rad + self.ring.rate_rad_s * (self.now_s - orbit.at_s), at_s=0.0
            )
        return replace(orbit, at_s=orbit.at_s - self.now_s)

    def _flown(self, part: CraftPlan, time_s: float) -> Orbit:
        """The orbit of a craft of the plan at a time, as flown; read where it next touches the ring, if it does."""
        flown = part.itinerary
        if flown is not None and time_s < flown.start_s:
            # still on board
            flown = next((c.itinerary for c in self.plan.carriers if c.carrier == part.carrier), flown)
        if flown is None:
            raise ValueError("a plan without its itinerary cannot be continued")
        burned = tuple(burn for burn in flown.impulses if burn.time_s <= time_s)
        model = IMPULSIVE if part.engine is None or flown is not part.itinerary else part.engine
        # in the middle of a burn it is taken to be over
        end = max([time_s, flown.start_s, *(b.time_s + 0.5 * (b.duration_s or 0.0) for b in part.burns[: len(burned)])])
        if burned and model is IMPULSIVE and flown is part.itinerary:
            # from the last burn behind it, where the state is known: months may lie before that
            state = np.array(part.before_burns[len(burned) - 1])
            flown = replace(flown, start_s=burned[-1].time_s, position=state[:3], velocity=state[3:])
            burned = burned[-1:]
        [before] = fly([replace(flown, impulses=burned, end_s=end)], self.gravity, model)
        time_s = end
        return touching_orbit(self.scenario.body, self.ring, before.end_state, time_s, part.plane)

    def _as_touched(self, seen: Seen) -> Orbit:
        """An orbit that was seen; given as a state over an oblate body, read where it next touches the ring."""
        if seen.orbit is None:
            raise ValueError("an orbit that was not seen")
        if seen.state is None or self.scenario.body.j2 == 0.0:
            return seen.orbit
        touching = touching_orbit(self.scenario.body, self.ring, np.array(seen.state), seen.state_s, seen.orbit.plane)
        return (
            touching
            if on_ring(touching.periapsis_m, self.ring.radius_m) or on_ring(touching.apoapsis_m, self.ring.radius_m)
            else seen.orbit
        )

    def _off_ring(self, craft: Craft) -> bool:
        orbit = craft.orbit
        return orbit is not None and not any(
            on_ring(apsis, self.ring.radius_m) for apsis in (orbit.periapsis_m, orbit.apoapsis_m)
        )

    def _burned(self, part: CraftPlan) -> list[float]:
        """Burns behind it; at the very start all of them are still to come."""
        return [burn.own_m_s for burn in part.burns if 0.0 < self.now_s >= burn.time_s]

    def _tank(self, craft: Craft, part: CraftPlan, seen: Seen) -> Craft:
        """The craft with the propellant that is left; as it is without masses."""
        if craft.propellant_kg is None:
            if seen.propellant_kg is not None:
                raise InputError(
                    f"craft {craft.name!r} has no masses in the scenario, so its propellant of {seen.propellant_kg:g} "
                    "kg says nothing: give dry_mass_kg, propellant_kg and isp_s there.",
                    where=self.seen.file,
                )
            return craft
        full = self._loaded(craft, part)
        # after an earlier look the plan only takes it to have burned what it was to burn: it began with more
        began = full if craft.tank_kg is None else craft.tank_kg
        left = seen.propellant_kg
        if left is not None and left > began * (1.0 + 1e-9):
            raise InputError(
                f"craft {craft.name!r} has {left:g} kg of propellant left, but began with {began:.3f} kg: at most that "
                "would be accepted.",
                where=self.seen.file,
            )
        if left is None:
            burned = len(self._burned(part))
            after = part.burns[burned - 1].propellant_after_kg if burned else full
            left = full if after is None else after
            more, dry = self._more_than_planned(part, seen), craft.dry_mass_kg
            if more is not None and dry is not None and craft.isp_s is not None:
                left = min(max(float(mass_after(dry + left, more, craft.isp_s)) - dry, 0.0), began)
        return replace(craft, propellant_kg=left, tank_kg=began, load="full")

    def _loaded(self, craft: Craft, part: CraftPlan) -> float:
        if part.propellant_kg is None or part.propellant_left_kg is None:
            return craft.propellant_kg or 0.0
        return part.propellant_kg + part.propellant_left_kg

    def _spent(self, craft: Craft, part: CraftPlan, seen: Seen) -> Spent:
        if seen.propellant_kg is None or craft.dry_mass_kg is None or craft.isp_s is None:
            more, planned = self._more_than_planned(part, seen), sum(self._burned(part))
            if more is None:
                return Spent(craft=craft.name, delta_v_m_s=planned, by_plan=True)
            return Spent(craft=craft.name, delta_v_m_s=planned + more, by_plan=False, at_least=True)
        full = self._loaded(craft, part)
        used = delta_v_available(craft.dry_mass_kg + full, full - seen.propellant_kg, craft.isp_s)
        return Spent(craft=craft.name, delta_v_m_s=float(used), by_plan=False)

    def _more_than_planned(self, part: CraftPlan, seen: Seen) -> float | None:
        """What the last burn behind took at least beyond the plan, m/s, from the orbits before and after it; negative
        for less. None where no orbit was seen, or no burn is behind.
        """
        burned = self._burned(part)
        if seen.orbit is None or not burned or len(part.before_burns) < len(burned):
            return None
        position, velocity, _ = state_seen(self.scenario, self.ring, seen)
        before = np.array(part.before_burns[len(burned) - 1])
        needed = least_burn_m_s(self.scenario.body, before, position, velocity)
        return max(needed - part.burns[len(burned) - 1].by_stage_m_s, 0.0) - burned[-1]
