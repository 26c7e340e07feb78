"""The properties of ``test_properties.py`` in a long campaign, over random scenarios of any number.

RINGWRIGHT_SOAK_SEED gives other numbers than those of the default; a fault says its number, which makes it again.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable

import pytest
from hypothesis import given

from . import test_properties as properties

SEED = int(os.environ.get("RINGWRIGHT_SOAK_SEED", "1"))
COUNT = 16
"""Scenarios for each property: some minute of processor time."""
RELATIONS: list[Callable[[int], None]] = [
    properties.test_pads_staying_craft_and_inclined_rings_keep_every_limit,
    properties.test_more_time_never_costs_more,
    properties.test_a_lower_floor_never_costs_more,
    properties.test_a_smaller_separation_never_costs_more,
    properties.test_more_revolutions_never_cost_more,
    properties.test_counting_the_slots_from_another_one_changes_nothing,
    properties.test_the_order_of_the_craft_changes_nothing,
    properties.test_the_units_change_nothing,
    properties.test_the_mirror_image_is_the_same_problem,
    properties.test_each_goal_is_best_in_its_own_measure,
]


def wrong(relation: Callable[[int], None], numbers: list[int]) -> list[str]:
    """The numbers for which a property does not hold, with what was found."""
    found = []
    for number in numbers:
        try:
            relation.hypothesis.inner_test(number)  # type: ignore[attr-defined]
        except AssertionError as fault:
            found.append(f"{number}: {str(fault).splitlines()[0] if str(fault) else 'does not hold'}")
    return found


@pytest.mark.soak
@pytest.mark.parametrize("relation", RELATIONS, ids=lambda relation: relation.__name__.removeprefix("test_"))
def test_it_holds_for_any_number(relation: Callable[[int], None]) -> None:
    found = wrong(relation, random.Random(f"{SEED} {relation.__name__}").sample(range(5001), COUNT))
    assert not found, "\n".join(found)


@pytest.mark.soak
def test_scaling_holds_for_any_number() -> None:
    """Any scale of lengths and of times from a half to three."""
    chance = random.Random(SEED)
    scaling = properties.test_scaling_lengths_and_times_scales_the_plan.hypothesis.inner_test  # type: ignore[attr-defined]
    for _ in range(COUNT):
        scaling(chance.randint(0, 5000), chance.uniform(0.5, 3.0), chance.uniform(0.5, 3.0))


def test_a_property_that_does_not_hold_is_seen() -> None:
    def fails(number: int) -> None:
        assert number != 7, "not seven"

    relation = properties.FEW(given(properties.numbers)(fails))
    assert wrong(relation, [6, 7]) == ["7: not seven"]
