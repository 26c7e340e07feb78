"""Many flights of each craft of a plan with errors, block by block, each block from a separate random stream.

Blocks of a fixed size, so that the same seed gives the same flights whatever the number of samples.
"""

from __future__ import annotations

import functools
from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np

from ...models.arrays import Array
from ...models.errors import InputError
from ...models.ring import Ring
from ...models.scenario import Errors, Scenario
from ..craft_plan import CarrierPlan, CraftPlan
from ..outcome import Outcome, Plan
from .closed_form import Flights, fly, normals_of
from .craft_leg import Story, has_closed_form, story_of
from .drift_story import drift_story_of
from .linear import LinearStory, linear_story_of

AnyStory = Story | LinearStory

BLOCK = 8192
"""Flights propagated at once: some twenty columns of them fit a processor's cache."""

CARRIERS = 1 << 29
"""First key of the random streams of carriers; those of craft are numbered from 0."""


def stories(outcome: Outcome) -> tuple[AnyStory, ...]:
    """What each craft that the best plan moves has before it."""
    return tuple(story_in(outcome, part) for part in outcome.plans[0].craft)


def story_in(outcome: Outcome, part: CraftPlan) -> AnyStory:
    """What one craft of the best plan has before it.

    Errors are propagated about the plan as it was made for the bulge alone. Where it is corrected for further forces
    what they add is counted from the plan as corrected: in such a difference these forces cancel to first order.
    """
    plan = outcome.plans[0]
    made = outcome.made if outcome.made is not None and outcome.made.rank == plan.rank else plan
    first = next((one for one in made.craft if one.craft == part.craft), part)
    story = _story_of(outcome.scenario, outcome.ring, first, _match_s(plan), plan.carriers)
    return story if first is part else replace(story, planned_m_s=part.delta_v_m_s)


def same_story(outcome: Outcome, part: CraftPlan) -> Hashable | None:
    """Craft for which this is equal have the same story in plans of one scenario; None where nothing says so."""
    item = part.itinerary
    if item is None or part.carrier is not None:
        return None
    flown = (item.start_s, item.position.tobytes(), item.velocity.tobytes(), item.impulses, part.burns)
    what = (part.craft, part.route, part.plane, part.slot, part.passes, part.revolutions)
    begun = (part.pad, part.insertion, part.launch_s)
    return (what, begun, flown, _match_s(outcome.plans[0]), outcome.ring)


def _match_s(plan: Plan) -> float:
    return plan.hold.match_s if plan.hold is not None else 0.0


def _story_of(
    scenario: Scenario, ring: Ring, part: CraftPlan, match_s: float, carriers: Sequence[CarrierPlan]
) -> AnyStory:
    if has_closed_form(part):
        return story_of(scenario, ring, part, match_s)
    if part.route == "drift":
        return drift_story_of(scenario, ring, part, match_s, carriers)
    return linear_story_of(scenario, ring, part, match_s, carriers)


def refuse_without_errors(scenario: Scenario) -> None:
    """Raise InputError where the scenario has no table of errors: before anything is planned in vain."""
    stated = [scenario.errors, *(craft.errors for craft in scenario.craft), *(pad.errors for pad in scenario.pads)]
    if all(errors in (None, Errors()) for errors in stated):
        raise nothing_said(scenario)


def nothing_said(scenario: Scenario) -> InputError:
    return InputError(
        "the scenario gives no errors for any craft that moves, so there is nothing to "
        "budget for: add [errors] with standard deviations, such as burn_share = 0.005 or periapsis_km = 5.",
        where=scenario.source.where("errors"),
    )


def numbers_of(story: AnyStory) -> int:
    """How many standard normal numbers one flight of a craft takes."""
    return story.normals if isinstance(story, LinearStory) else normals_of(story)


def flown(story: AnyStory, normal: Array) -> Flights:
    """Fly a craft many times; ``normal`` has the shape (`numbers_of(story)`, flights)."""
    return story.fly(normal) if isinstance(story, LinearStory) else fly(story, normal)


def block(story: AnyStory, seed: int, craft: int, number: int) -> Flights:
    """One block of `BLOCK` flights of one craft, from its random stream; the plan's own burns are in it exactly."""
    normal = _normal(seed, (craft, number), numbers_of(story))
    if isinstance(story, LinearStory) and story.company is not None:
        # all craft of a carrier meet its errors together
        normal[: story.shared] = _normal(seed, (CARRIERS + story.company, number), story.shared)
    with np.errstate(invalid="ignore", divide="ignore"):
        flights = flown(story, normal)
    if not np.all(np.isfinite(flights.delta_v_m_s)):
        raise InputError(
            f"with these errors some flights of craft {story.craft!r} leave the body or never come back to the ring: "
            "standard deviations that are small beside the burns and the altitudes would be accepted.",
            where="[errors]",
        )
    # the closed forms' own sum, at no error, against that of the plan flown
    flights.delta_v_m_s[:] += story.planned_m_s - exact_m_s(story)
    return flights


def _normal(seed: int, key: tuple[int, int], rows: int) -> Array:
    """Standard normal numbers of one random stream, shape (rows, `BLOCK`)."""
    stream = np.random.SeedSequence(seed, spawn_key=key)
    return np.random.default_rng(stream).standard_normal((rows, BLOCK))


@functools.lru_cache(maxsize=64)
def exact_m_s(story: AnyStory) -> float:
    """What the closed forms burn without any error, m/s."""
    return float(flown(story.with_errors(Errors()), np.zeros((numbers_of(story), 1))).delta_v_m_s[0])
