"""A plan flown home in a closed loop: every launch and burn with its own error, a look after each, new plans.

The errors are drawn as the scenario states them: what the launcher misses by, Gates' model for burns (JPL TR 32-504,
1963: size and direction, a fixed part and one in proportion), the moment of a burn, and periods as they are read. The
flight is the numerical one. What still leads into the slot within half its tolerance is left alone, as in the sheet and
the budget, and within all of it after a correction; what does not leads to a new plan from what was seen. After its
last burn a craft's period is trimmed once. Whatever the first plan aimed at, new plans ask for the least delta-v, as
the budget's corrections do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ringwright.models.burns import BurnModel
from ringwright.models.dispersions import let_go_off
from ringwright.models.errors import FlightError
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import Flight, Impulse, Itinerary, fly, measure
from ringwright.models.reading.observed import Observed, parse_observed
from ringwright.models.scenario import Errors
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.replan.answer import NOTHING
from ringwright.optimizer.replan.replan import replan
from ringwright.optimizer.replan.resumed_plan import from_here
from ringwright.optimizer.robustness.closed_form import HALF
from ringwright.optimizer.robustness.craft_leg import errors_of
from ringwright.optimizer.trajectory.differential_correction import IMPULSIVE

from .planned import as_read

Array = NDArray[np.float64]

LOOK_S = 30.0
"""So long after a burn, or after an insertion, the craft is examined; sooner where the next burn comes sooner."""

LEGS_MAX = 16
"""Burns of one craft at most: more would be going in circles."""


@dataclass
class Flown:
    """How the flight of one craft ended."""

    delta_v_m_s: float = 0.0
    slot_error_rad: float = math.nan
    tilt_rad: float = math.nan
    legs: int = 0
    empty: bool = False


@dataclass
class _Craft:
    """Where a craft really is, None until it is in space.

    ``made_s`` is when its last burn was to be, ``corrected`` whether that was none of the first plan (``planned``),
    ``look_s`` when it is to be examined, None where nothing new is to be seen.
    """

    rng: np.random.Generator
    errors: Errors
    tank_kg: float | None
    planned: frozenset[float]
    flown: Flown = field(default_factory=Flown)
    state: Array | None = None
    time_s: float = 0.0
    made_s: float = -math.inf
    look_s: float | None = None
    corrected: bool = False
    trimmed: bool = False
    home: bool = False


class ClosedLoop:
    """One flight of a whole plan.

    Args:
        outcome: of planning; its best plan is flown.
        seed: of the errors; each craft draws from a separate stream.
    """

    def __init__(self, outcome: Outcome, seed: int) -> None:
        least = replace(outcome.scenario, minimize="delta_v")
        self.outcome, self.past = replace(outcome, scenario=least), NOTHING
        self.first, self.gravity = outcome, gravity_around(outcome.scenario.body)
        self.craft: dict[str, _Craft] = {}
        for number, part in enumerate(outcome.plans[0].craft):
            spec = next(one for one in outcome.scenario.craft if one.name == part.craft)
            full = None if spec.dry_mass_kg is None else (part.propellant_kg or 0.0) + (part.propellant_left_kg or 0.0)
            assert part.itinerary is not None
            self.craft[part.craft] = _Craft(
                planned=frozenset(burn.time_s for burn in part.itinerary.impulses),
                rng=np.random.default_rng([seed, number]),
                errors=errors_of(outcome.scenario, part),
                tank_kg=full,
            )

    def fly(self) -> dict[str, Flown]:
        """Fly all craft home, whatever comes next first."""
        while True:
            waiting = [part for part in self.outcome.plans[0].craft if not self.craft[part.craft].home]
            if not waiting:
                return {name: one.flown for name, one in self.craft.items()}
            part = min(waiting, key=self._next)
            one = self.craft[part.craft]
            if one.look_s is None:
                self._one(part)
            else:
                until, one.look_s = one.look_s, None
                self._move(part, one, (), until)
                self._look(part, one)

    def _next(self, part: CraftPlan) -> float:
        one, item = self.craft[part.craft], part.itinerary
        assert item is not None
        if one.look_s is not None:
            return one.look_s
        return item.start_s if one.state is None else self._left(part)[0].time_s

    def _left(self, part: CraftPlan) -> list[Impulse]:
        one, item = self.craft[part.craft], part.itinerary
        assert item is not None
        return [burn for burn in item.impulses if burn.time_s > one.made_s]

    def _engine(self, part: CraftPlan) -> BurnModel:
        return IMPULSIVE if part.engine is None else part.engine

    def _one(self, part: CraftPlan) -> None:
        """The next thing of one craft: its insertion, or a burn, and the look after it."""
        one, item = self.craft[part.craft], part.itinerary
        assert item is not None
        one.flown.legs += 1
        assert one.flown.legs <= LEGS_MAX, f"{part.craft} is not in its slot after {LEGS_MAX} legs"
        if one.state is None:
            state, start = np.concatenate([item.position, item.velocity]), item.start_s
            if part.pad is not None:
                state, start = inserted(state, start, self.outcome.ring.gm, one.errors, one.rng)
            one.state, one.time_s = state, start
            if part.pad is None and item.impulses:
                return
        else:
            burn = self._left(part)[0]
            one.made_s, one.corrected = burn.time_s, burn.time_s not in one.planned
            real = burnt(burn, one.errors, one.rng)
            real = real._replace(time_s=float(max(real.time_s, one.time_s + 1e-3)))
            self._move(part, one, (real,), real.time_s)
            self._spend(part, one, real.delta_v_m_s)
        self._plan_look(part, one)

    def _move(self, part: CraftPlan, one: _Craft, burns: tuple[Impulse, ...], until_s: float) -> Flight:
        assert one.state is not None
        item = Itinerary(
            start_s=one.time_s, position=one.state[:3], velocity=one.state[3:], impulses=burns, end_s=until_s
        )
        [flight] = fly([item], self.gravity, self._engine(part))
        one.state, one.time_s = flight.end_state, until_s
        return flight

    def _spend(self, part: CraftPlan, one: _Craft, size: float) -> None:
        one.flown.delta_v_m_s += size
        if one.tank_kg is None:
            return
        spec = next(c for c in self.first.scenario.craft if c.name == part.craft)
        assert spec.dry_mass_kg is not None
        assert spec.isp_s is not None
        one.tank_kg += (spec.dry_mass_kg + one.tank_kg) * math.expm1(-size / (spec.isp_s * 9.80665))
        if one.tank_kg <= 0.0:
            one.flown.empty, one.home = True, True

    def _plan_look(self, part: CraftPlan, one: _Craft) -> None:
        """A look so long after a burn, or sooner where the next burn comes sooner."""
        after, rest = max(one.time_s, one.made_s), self._left(part)
        one.look_s = min([after + LOOK_S, *(0.5 * (after + burn.time_s) for burn in rest[:1])])

    def _look(self, part: CraftPlan, one: _Craft) -> None:
        """Look at the craft: let it be, trim it, or replan."""
        if one.home:
            return
        rest = self._left(part)
        ring, tolerance = self.outcome.ring, self.first.scenario.ring.tolerance_rad
        assert one.state is not None
        item = Itinerary.through_turn(one.time_s, one.state[:3], one.state[3:], tuple(rest), ring)
        try:
            [flight] = fly([item], self.gravity, self._engine(part))
            found = measure(flight, ring, part.plane, part.slot)
        except FlightError:
            self._plan_anew(part, one)
            return
        tilted = found.plane_error_rad > self.first.scenario.ring.tilt_tolerance_rad + TILT_RAD
        share = HALF if rest and not one.corrected else 1.0
        if abs(found.slot_error_rad) > share * tolerance or tilted:
            self._plan_anew(part, one)
            return
        if rest:
            return
        one.flown.slot_error_rad, one.flown.tilt_rad = found.slot_error_rad, found.plane_error_rad
        read = found.period_error_s + one.errors.period_reading_s * one.rng.normal()
        hold = self.first.plans[0].hold
        if not one.trimmed and hold is not None and abs(read) > hold.match_s:
            one.trimmed = True
            # a small burn along the track: dT / T = 3 dv / v
            trim = burnt(
                Impulse(one.time_s + 300.0, 0.0, -ring.speed_m_s * read / (3.0 * ring.period_s)), one.errors, one.rng
            )
            self._move(part, one, (trim,), trim.time_s)
            self._spend(part, one, trim.delta_v_m_s)
            self._plan_look(part, one)
            return
        one.home = True

    def _plan_anew(self, part: CraftPlan, one: _Craft) -> None:
        assert one.state is not None
        state = one.state.copy()
        if one.errors.period_reading_s:
            # a period that is misread: the speed it stands for, by vis-viva and Kepler's third law
            gm, r, v = self.outcome.ring.gm, float(np.linalg.norm(state[:3])), float(np.linalg.norm(state[3:]))
            inverse = 2.0 / r - v**2 / gm
            period = 2.0 * math.pi / math.sqrt(gm * inverse**3)
            wrong = gm * inverse / (3.0 * v * period) * one.errors.period_reading_s * one.rng.normal()
            state[3:] *= 1.0 + wrong / v
        tank = "" if one.tank_kg is None else f"propellant_kg = {one.tank_kg!r}\n"
        text = f"now_s = {one.time_s!r}\n" + as_read(part.craft, state) + tank
        seen: Observed = parse_observed(text, self.outcome.scenario, self.outcome.ring)
        done = replan(self.outcome, seen, past=self.past, fresh=False)
        assert done.fits, f"no plan is left for {part.craft} after {one.time_s:.0f} s"
        here = from_here(done)
        assert here is not None
        self.outcome, self.past = here.outcome, replace(here.past, now_s=0.0)
        new = next(other for other in self.outcome.plans[0].craft if other.craft == part.craft)
        assert new.itinerary is not None
        one.made_s = one.time_s
        if not self._left(new):
            one.home = True
            one.flown.slot_error_rad = new.flown.slot_error_rad


TILT_RAD = math.radians(0.02)
"""A tilt that is left as it is where the ring tolerates none."""


def burnt(burn: Impulse, errors: Errors, rng: np.random.Generator) -> Impulse:
    """A burn as the engine makes it."""
    wanted = np.array([burn.radial_m_s, burn.along_m_s, burn.cross_m_s])
    size = float(np.linalg.norm(wanted))
    ahead = wanted / size
    side = np.cross(ahead, [0.0, 0.0, 1.0] if abs(ahead[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    fixed, share, late, *off = rng.normal(size=7)
    real = wanted * (1.0 + errors.burn_share * share) + ahead * errors.burn_m_s * fixed
    across = [errors.across_m_s * off[k] + errors.pointing_rad * size * off[k + 2] for k in (0, 1)]
    real = real + across[0] * side + across[1] * np.cross(ahead, side)
    return Impulse(float(burn.time_s + errors.burn_time_s * late), *real.tolist())


def inserted(state: Array, time_s: float, gm: float, errors: Errors, rng: np.random.Generator) -> tuple[Array, float]:
    """The state in which a launcher lets go, and when: apsides, plane and moment off, the true anomaly as planned."""
    low, high, incline, node, moment = rng.normal(size=5)
    place, going = let_go_off(
        state[:3],
        state[3:],
        gm,
        periapsis_m=errors.periapsis_m * low,
        apoapsis_m=errors.apoapsis_m * high,
        inclination_rad=errors.inclination_rad * incline,
        node_rad=errors.node_rad * node,
    )
    return np.concatenate([place, going]), float(time_s + errors.insertion_time_s * moment)
