"""How far the errors of launch and burns spread the flight of one craft that is flown as planned: covariances.

Each error that counts is flown a little off to either side, all flights in one batch, and what it does to the state at
a later moment is read off as a central difference: a linear model, good while the spread is small against the orbit.
Nothing is corrected on the way, so that what the budget's corrections take out is still in it. Burns have Gates' errors
(``models/dispersions``), those of one burn independent of those of another. What a state that is given in space is off
by, the scenario does not say: it is taken as exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...models import frames
from ...models.arrays import Array
from ...models.burns import Impulsive
from ...models.dispersions import let_go_off, sigma_across, sigma_along
from ...models.flight.flown import TURN_MARGIN, Flight, Impulse, Itinerary
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import fly
from ...models.flight.stepping import land
from ...models.ring import Ring
from ...models.scenario import INJECTION_ERRORS, Body, Errors, Scenario
from ..craft_plan import CraftPlan
from .craft_leg import errors_of
from .linear import launch_steps
from .sensitivity import STEP_S, steps_over

SETTLING_S = 2.0 * STEP_S
"""So long after a burn or the insertion the differences hold: before, a flight that is late has not burned yet."""


def covered(scenario: Scenario, part: CraftPlan) -> str:
    """Why there are no covariances for a craft, in words; empty where there are some."""
    stated = [scenario.errors, *(one.errors for one in scenario.craft), *(one.errors for one in scenario.pads)]
    if not any(stated):
        return "the scenario states no errors"
    if part.route == "carrier":
        return "it is dropped by a carrier, whose errors are not stated"
    if part.route == "drift":
        return "over months of waiting a linear model does not hold"
    errors = errors_of(scenario, part)
    of_launch = part.pad is not None and any(getattr(errors, name) for name in INJECTION_ERRORS)
    of_burns = any((errors.burn_m_s, errors.burn_share, errors.across_m_s, errors.pointing_rad, errors.burn_time_s))
    if not of_launch and not (of_burns and part.burns):
        return "none of the errors stated counts for it"
    return ""


def spread(scenario: Scenario, ring: Ring, part: CraftPlan, nominal: Flight, times_s: Sequence[float] | Array) -> Array:
    """Covariances of a craft's state at moments of its flight.

    Args:
        scenario: with its errors.
        ring: for the length of the flights.
        part: what the craft does; :func:`covered` says whether it can be asked for.
        nominal: its flight as planned.
        times_s: (n,) moments, each :data:`SETTLING_S` after the last burn or the insertion before it, at least.

    Returns:
        (n, 6, 6): position, m, and velocity, m/s, radial, along and across of the planned state then.

    Raises:
        FlightError: a flight a little off cannot be flown.
    """
    errors, launched, step = errors_of(scenario, part), part.pad is not None, steps_over(ring)
    item = nominal.itinerary if launched else _begun_sooner(nominal.itinerary, scenario.body, step.s)
    times = np.asarray(times_s, dtype=np.float64)
    asked, scales = _asked(item, errors, ring, launched=launched)
    end = max(item.end_s, times.max(initial=item.end_s)) + TURN_MARGIN * step.s
    pairs = [replace(one, end_s=end) for pair in asked for one in pair]
    flown = fly(pairs, nominal.gravity, part.engine or Impulsive())
    planned = nominal.states(times)
    axes = frames.local_axes(planned[:, :3], planned[:, 3:])
    more, less = (np.stack([one.states(times) for one in flown[side::2]], axis=-1) for side in (0, 1))
    effects = np.stack([_local(axes, 0.5 * (more - less)[..., k]) for k in range(len(asked))], axis=-1)
    by_sigma = effects @ scales
    return np.asarray(by_sigma @ np.swapaxes(by_sigma, 1, 2))


Pair = tuple[Itinerary, Itinerary]
"""A flight off by a step, and one off by as much the other way."""


def _asked(item: Itinerary, errors: Errors, ring: Ring, *, launched: bool) -> tuple[list[Pair], Array]:
    """Flights a little off, and the matrix from their differences to those by one standard deviation each."""
    asked: list[Pair] = []
    blocks: list[Array] = []
    step = steps_over(ring)
    of_launch = launch_steps(ring)
    for name in INJECTION_ERRORS if launched else ():
        sigma = float(getattr(errors, name))
        if sigma > 0.0:
            asked.append(
                (_let_go(item, ring.gm, name, of_launch[name]), _let_go(item, ring.gm, name, -of_launch[name]))
            )
            blocks.append(np.array([[sigma / of_launch[name]]]))
    for index, burn in enumerate(item.impulses):
        parts = np.array(burn[1:])
        root = _gates_root(errors, parts)
        if np.any(root):
            for more in step.m_s * np.eye(3):
                one, other = (_with_burn(item, index, Impulse(burn.time_s, *p)) for p in (parts + more, parts - more))
                asked.append((one, other))
            blocks.append(root / step.m_s)
        if errors.burn_time_s:
            late, soon = (_with_burn(item, index, burn._replace(time_s=burn.time_s + by)) for by in (step.s, -step.s))
            asked.append((late, soon))
            blocks.append(np.array([[errors.burn_time_s / step.s]]))
    scales = np.zeros((len(asked), len(asked)))
    at = 0
    for block in blocks:
        scales[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    return asked, scales


def _let_go(item: Itinerary, gm: float, name: str, by: float) -> Itinerary:
    """A flight whose launcher lets go off its mark in one way."""
    if name == "insertion_time_s":
        return replace(item, start_s=item.start_s + by)
    position, velocity = let_go_off(item.position, item.velocity, gm, **{name: by})
    return replace(item, position=position, velocity=velocity)


def _with_burn(item: Itinerary, index: int, burn: Impulse) -> Itinerary:
    return replace(item, impulses=(*item.impulses[:index], burn, *item.impulses[index + 1 :]))


def _begun_sooner(item: Itinerary, body: Body, by_s: float) -> Itinerary:
    """The same flight from a little before its start, where its first burn may come too soon for that start."""
    if not item.impulses or item.impulses[0].time_s - by_s >= item.start_s:
        return item
    state = np.concatenate([item.position, item.velocity])[:, np.newaxis]
    before = land(gravity_around(body), state, np.array([-by_s]))[:, 0]
    return replace(item, start_s=item.start_s - by_s, position=before[:3], velocity=before[3:])


def _gates_root(errors: Errors, parts: Array) -> Array:
    """Square root of the covariance of a burn's error in its own axes, m/s, (3, 3), symmetric."""
    size = float(np.linalg.norm(parts))
    along, across = float(sigma_along(errors, size)), float(sigma_across(errors, size))
    if size == 0.0:
        return np.zeros((3, 3))
    unit = parts / size
    return np.asarray(across * np.eye(3) + (along - across) * np.outer(unit, unit))


def _local(axes: Array, difference: Array) -> Array:
    """Differences of states (n, 6) in the local axes (n, 3, 3) of the planned ones."""
    turned = [np.einsum("nij,nj->ni", axes, difference[:, part]) for part in (slice(0, 3), slice(3, 6))]
    return np.concatenate(turned, axis=1)
