"""What flights of craft with errors come to, worked out once for all plans in which a craft has the same before it."""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np

from ...models.arrays import Array
from ...models.deadline import poll
from ..craft_plan import CraftPlan
from ..outcome import Outcome
from .budget import SHARES
from .closed_form import Flights
from .flights_with_errors import BLOCK, AnyStory, block, numbers_of, same_story, story_in
from .quantiles import quantiles


@dataclass(frozen=True, kw_only=True)
class CraftFlights:
    """Many flights of one craft.

    Args:
        most_m_s: what 99 in 100 of them do not exceed.
        late_s: how much later each is in its slot than the plan says, (samples,).
    """

    most_m_s: float
    late_s: Array


class KnownFlights:
    """The flights of the craft of one scenario after another plan, from the random streams of one seed."""

    def __init__(self, samples: int, seed: int) -> None:
        self._samples, self._seed = samples, seed
        self._known: dict[Hashable, CraftFlights] = {}

    def of_plan(self, outcome: Outcome) -> tuple[CraftFlights, ...]:
        """Those of each craft of the only plan of an outcome, in its order.

        Raises:
            OutOfTimeError: the search has ended.
        """
        return tuple(self._of(outcome, part, index) for index, part in enumerate(outcome.plans[0].craft))

    def _of(self, outcome: Outcome, part: CraftPlan, index: int) -> CraftFlights:
        poll()
        same = same_story(outcome, part)
        found = None if same is None else self._known.get((index, same))
        if found is None:
            found = self._fly(story_in(outcome, part), part, index)
            if same is not None:
                self._known[index, same] = found
        return found

    def _fly(self, story: AnyStory, part: CraftPlan, craft: int) -> CraftFlights:
        flown = [block(story, self._seed, craft, number) for number in range(math.ceil(self._samples / BLOCK))]
        used = np.concatenate([one.delta_v_m_s for one in flown])[: self._samples]
        late = np.concatenate([_late(story, part, one) for one in flown])[: self._samples]
        return CraftFlights(most_m_s=quantiles(used, SHARES[-1:])[0].value, late_s=late)


def _late(story: AnyStory, part: CraftPlan, flights: Flights) -> Array:
    """How much later each flight ends: by what it went on, and by a phasing at the end."""
    if not numbers_of(story):
        return np.zeros(BLOCK)
    once = part.phasing_period_s or story.ring.period_s
    return np.asarray(flights.went_on * once + flights.phased_out * story.trim_turns * story.ring.period_s)
