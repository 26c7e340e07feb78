"""Values of limits with which plans that break them in the flight would keep them, each put to the test."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ...models.scenario import Scenario
from ..limits.registry import gives_by_itself, loosenings
from ..outcome import Bind, Plan

PLANS_MAX = 2
"""So many of the plans that come nearest are looked at."""

FURTHER = (0, 1)
"""Steps past a plan's own value at which a limit is tried: with a wider limit another plan may be chosen."""


def values_that_serve(
    scenario: Scenario, plans: Sequence[Plan], serves: Callable[[Scenario], bool]
) -> tuple[Bind, ...]:
    """Limits of a scenario, with values that serve together; none where no value that was tried does.

    Args:
        plans: plans that break limits in the flight, the nearest first.
        serves: whether planning a scenario ends in a plan that was flown and keeps all limits.
    """
    items = {item.key: item for item in loosenings(scenario)}
    for plan in plans[:PLANS_MAX]:
        if not all(one.limit in items and gives_by_itself(one.limit) for one in plan.broken):
            continue
        for more in FURTHER:
            looser, binds = scenario, dict[str, Bind]()
            for key in sorted({one.limit for one in plan.broken}):
                item = items[key]
                steps = max(item.steps_to(one.value) for one in plan.broken if one.limit == key)
                value = item.value(min(steps + more, item.count))
                looser = item.apply(looser, value)
                binds[key] = Bind(limit=key, value=item.now, serves=value)
            if serves(looser):
                return tuple(binds.values())
    return ()
