"""One question after another for the best plan of a scenario, each within its part of the time that is left."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from ...models import deadline
from ...models.deadline import ENDED, OutOfTimeError
from ...models.scenario import Scenario
from ..choice.ring_phase import BROKEN_IN_FLIGHT, best_phase
from ..problem.ring_phase import problems

Progress = Callable[[str], None]

QUESTION_SHARE = 0.25
"""Of the time that is left, what one question may take where its even part is less: most are quick, some are not."""


@dataclass(frozen=True, kw_only=True)
class Price:
    """What a plan comes to: total delta-v of all that is planned, latest finish; and the liftoff asked about, if any.

    ``delta_v_m_s`` counts craft only. Times from the scenario's epoch; the liftoff is that of the flight. Without
    ``searched`` it is the best plan found before the search was ended, and a better one may exist.
    """

    delta_v_m_s: float
    finish_s: float
    liftoff_s: float | None = None
    searched: bool = True


class Found(NamedTuple):
    """An answer: the best plan, None where no plan keeps the limits, or where the question was not reached."""

    price: Price | None
    reached: bool = True


UNREACHED = Found(price=None, reached=False)
NONE_LEFT = Found(price=None)
"""Nothing was asked: there is no such plan."""


class Questions:
    """Asks for one best plan after another, each within its part of the time that is left.

    Args:
        count: how many will be asked.
    """

    def __init__(self, count: int, progress: Progress) -> None:
        self._left, self.progress = count, progress
        self.asked = self.reached = self.searched = 0

    def __call__(self, scenario: Scenario, names: tuple[str, ...] = ()) -> Found:
        """The best plan for a scenario, with the first liftoff of some craft."""
        share = max(1.0 / max(self._left, 1), QUESTION_SHARE)
        self._left -= 1
        self.asked += 1
        try:
            deadline.poll()
            with deadline.ending(deadline.share(share)):
                price = best_price(scenario, self.progress, names)
        except ENDED:
            return UNREACHED
        self.reached += 1
        self.searched += price is None or price.searched
        return Found(price)


def best_price(scenario: Scenario, progress: Progress, asked: tuple[str, ...] = ()) -> Price | None:
    """The best plan by the catalogue, with the first liftoff of some craft; None where no plan keeps the limits.

    Raises:
        OutOfTimeError: the search ended before it found one.
    """
    if all(craft.stay for craft in scenario.craft):
        return Price(delta_v_m_s=0.0, finish_s=0.0)
    laid = best_phase(problems(scenario), scenario.minimize, progress)
    selection, best = laid.selection, laid.best
    if best is None and laid.late and laid.late != BROKEN_IN_FLIGHT:
        raise OutOfTimeError(laid.late)  # nothing found so far does not mean that there is nothing
    if best is None:
        return None
    options = best.options
    liftoffs = []
    for index, group in enumerate(selection.made.problem.classes):
        if set(group.names) & set(asked):
            liftoffs += selection.liftoffs.flown(options.take(options.craft_class == index)).tolist()
    return Price(
        delta_v_m_s=math.fsum(options.delta_v_m_s.tolist()),
        finish_s=float(options.finish_s.max()),
        liftoff_s=min(liftoffs, default=None),
        searched=not laid.late and best.proved,
    )
