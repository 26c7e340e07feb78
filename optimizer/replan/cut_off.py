"""What is read when a burn is cut off, a period or apsides, as an observation: the plan knows where the craft is.

The place is that of the plan at the cut-off. From a period alone the burn is taken to have kept its direction and to
have been too long or too short; from apsides, to have been made at the one that is there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models import orbits
from ...models.arrays import Array
from ...models.errors import InputError
from ...models.flight.integrate import Flight, fly
from ...models.frames import local_axes
from ...models.orbit_of_state import orbit_of_state
from ...models.reading.observed import PERIOD_FITS, Observed, Seen
from ...models.readouts import brief, clock
from ..craft_plan import CraftPlan
from ..outcome import Outcome
from ..trajectory.differential_correction import IMPULSIVE
from .real_flight import gravity_of

READ_AFTER_S = 60.0
"""How long after the cut-off what was read is used, unless the moment is given."""

LEVEL = 0.02
"""Largest share of the speed that may point up or down where the craft is taken to be at an apsis."""

AT_THE_PLACE = 0.01
"""Share by which the radius of that apsis may differ from the place where the plan has the craft."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What was read of one craft after a burn, at least one of the three; None for what was not read.

    Args:
        craft: its name.
        period_s: osculating, as an instrument shows it at cut-off.
        periapsis_m, apoapsis_m: radii.
        now_s: from when on to plan, from the epoch; None: `READ_AFTER_S` after the cut-off of the burn that begins the
            phasing.
    """

    craft: str
    period_s: float | None = None
    periapsis_m: float | None = None
    apoapsis_m: float | None = None
    now_s: float | None = None


def observed_at_cut_off(outcome: Outcome, reading: Reading) -> Observed:
    """The reading as an observation of the craft at the place where the first plan of the outcome cuts its burn off.

    Raises:
        InputError: the plan has no such craft, no burn or insertion of it is over by then, or what was read is no
            orbit through that place.
    """
    part = next((part for part in outcome.plans[0].craft if part.craft == reading.craft), None)
    if reading.period_s is reading.periapsis_m is reading.apoapsis_m is None:
        raise _refused("--craft", f"nothing says what was read of {reading.craft}: give a period, or apsides.")
    if part is None:
        names = ", ".join(part.craft for part in outcome.plans[0].craft)
        raise _refused("--craft", f"{reading.craft!r} is moved by no burn of the plan: give one of {names}.")
    state, along, time_s = _at_cut_off(outcome, part, reading.now_s)
    if reading.periapsis_m is None and reading.apoapsis_m is None:
        position, velocity = state[:3], _with_period(outcome, reading, state, along)
    else:
        position, velocity = _with_apsides(outcome, reading, state)
    ring = outcome.ring
    found = [orbit_of_state(ring, position, velocity, time_s, plane) for plane in range(ring.planes)]
    orbit, tilt = min(found, key=lambda one: one[1])
    seen = Seen(
        name=part.craft,
        orbit=orbit,
        tilt_rad=tilt,
        state=(*position.tolist(), *velocity.tolist()),
        state_s=time_s,
    )
    now_s = time_s + READ_AFTER_S if reading.now_s is None else reading.now_s
    return Observed(now_s=now_s, craft=(seen,), file="command line")


def _refused(option: str, problem: str) -> InputError:
    return InputError(problem, where=option)


def _at_cut_off(outcome: Outcome, part: CraftPlan, now_s: float | None) -> tuple[Array, Array, float]:
    """State at the cut-off as flown, (6,), the direction of the burn, (3,), and the moment, s from the epoch.

    Of the burns that are over by ``now_s`` the last, of all burns the one that begins the phasing; the insertion where
    there is none.
    """
    item = part.itinerary
    if item is None:
        raise ValueError("a plan without its itinerary cannot be continued")
    model = IMPULSIVE if part.engine is None else part.engine
    [flight] = fly([item], gravity_of(outcome), model, whole=False)
    number = (part.phasing_burn or 0) if now_s is None else _last_over(flight, now_s)
    if 0 <= number < len(flight.cutoff_s):
        impulse, before = item.impulses[number], flight.before[number]
        parts = np.array([impulse.radial_m_s, impulse.along_m_s, impulse.cross_m_s])
        burn = local_axes(before[:3], before[3:]).T @ parts
        return flight.after[number], burn / np.linalg.norm(burn), float(flight.cutoff_s[number])
    start_s = part.insertion_s
    if start_s is None or (now_s is not None and now_s < start_s):
        first = f"; its first ends at {flight.cutoff_s[0]:.0f} s" if len(flight.cutoff_s) else ""
        raise _refused(
            "--at",
            f"no burn of {part.craft} is over by then in the plan{first}: give a later --at, or write what was seen "
            "into a file for --observed.",
        )
    return np.concatenate([item.position, item.velocity]), item.velocity / np.linalg.norm(item.velocity), item.start_s


def _last_over(flight: Flight, now_s: float) -> int:
    # at the very start all burns are still to come
    return int(np.count_nonzero(flight.cutoff_s <= now_s)) - 1 if now_s > 0.0 else -1


def _with_period(outcome: Outcome, reading: Reading, state: Array, along: Array) -> Array:
    """The velocity at that place with the period read, changed along the burn (vis-viva), m/s."""
    gm, period_s = outcome.scenario.body.gm, reading.period_s or 0.0
    radius = float(np.linalg.norm(state[:3]))
    semi = float(orbits.semi_major(gm, period_s))
    square = gm * (2.0 / radius - 1.0 / semi) if semi > 0.5 * radius else 0.0
    pointed = float(state[3:] @ along)
    under_root = pointed**2 - float(state[3:] @ state[3:]) + square
    if square <= 0.0 or under_root < 0.0:
        least = float(orbits.period(gm, 0.5 * radius))
        raise _refused(
            "--period",
            f"no burn of {reading.craft} in the direction of the plan ends with a period of {clock(period_s)}: where "
            f"the craft is then, every orbit has more than {clock(least)}; read it again, or write what was seen into "
            "a file for --observed.",
        )
    root = math.sqrt(under_root)
    more = min((-pointed + root, -pointed - root), key=abs)
    return np.asarray(state[3:] + more * along, dtype=np.float64)


def _with_apsides(outcome: Outcome, reading: Reading, state: Array) -> tuple[Array, Array]:
    """Position and velocity with the apsides read, the craft at the one that is there."""
    gm, body = outcome.scenario.body.gm, outcome.scenario.body
    radius, speed = float(np.linalg.norm(state[:3])), float(np.linalg.norm(state[3:]))
    radial, level, _ = local_axes(state[:3], state[3:])
    low, high = _apsides(gm, reading, radius, body.radius_m)
    here = min((low, high), key=lambda one: abs(one - radius))
    if abs(float(radial @ state[3:])) > LEVEL * speed or abs(here - radius) > AT_THE_PLACE * radius:
        raise _refused(
            "--periapsis, --apoapsis",
            f"the plan has {reading.craft} at {brief((radius - body.radius_m) / 1e3)} km when its burn is cut off, "
            "which is no apsis of the orbit read, so that apsides do not say where on it the craft is: give --period "
            "alone, or write what was seen into a file for --observed.",
        )
    wanted = float(orbits.speed(gm, here, 0.5 * (low + high)))
    return np.asarray(here * radial), np.asarray(wanted * level)


def _apsides(gm: float, reading: Reading, radius: float, surface_m: float) -> tuple[float, float]:
    """Radii of both apsides, from two of the three that can be read, or from one apsis and the place of the burn."""
    low, high, period_s = reading.periapsis_m, reading.apoapsis_m, reading.period_s
    given = low if low is not None else high
    if low is None or high is None:
        if given is None:
            raise ValueError("apsides that were not read")
        if period_s is not None:
            other = 2.0 * float(orbits.semi_major(gm, period_s)) - given
        elif abs(given - radius) <= AT_THE_PLACE * radius:
            raise _refused(
                "--periapsis" if low is not None else "--apoapsis",
                "that is where the burn was, which the plan knows: give --period, or the other apsis.",
            )
        else:
            other = radius
        low, high = (given, other) if low is not None else (other, given)
    if not 0.0 < low <= high:
        raise _refused(
            "--periapsis, --apoapsis",
            f"the periapsis would be at {brief((low - surface_m) / 1e3)} km and the apoapsis at "
            f"{brief((high - surface_m) / 1e3)} km: the first must be the lower one, above the center.",
        )
    fits = float(orbits.period(gm, 0.5 * (low + high)))
    if period_s is not None and abs(period_s - fits) > PERIOD_FITS * fits:
        raise _refused(
            "--period", f"it fits no orbit with these apsides, whose period is {clock(fits)}: keep two of the three."
        )
    return low, high
