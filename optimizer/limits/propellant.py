"""What a craft may burn: the delta-v of its propellant less the reserve."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np

from ...models.craft import delta_v_allowed
from ...models.scenario import Craft, Scenario
from ..outcome import Margin
from ..problem.options import Options
from ..problem.problem import Problem
from .limit import Limit, Mask, PlanParts, in_unit
from .loosening import Loosening, WithValue

HEAVIEST_KG = 1e9
"""No load beyond this, or beyond so many dry masses, is proposed."""

DRY_MASSES = 50.0


def _keeps(problem: Problem, options: Options, finish_s: float) -> Mask:
    allowed = np.array([group.delta_v_allowed_m_s for group in problem.classes])[options.craft_class]
    return np.asarray(options.delta_v_m_s <= allowed + 1e-9)


@dataclass(frozen=True, kw_only=True)
class _Propellant(Limit):
    """Judged for the craft with the least room, as ``craft.NAME.delta_v``; loosened by its load."""

    def margins(self, parts: PlanParts) -> tuple[Margin, ...]:
        """See `Limit`."""
        allowed = {one.name: delta_v_allowed(one) for one in parts.scenario.craft}
        rooms = [(allowed[one.craft] - one.delta_v_m_s, one) for one in parts.craft if one.propellant_kg is not None]
        if not rooms:
            return ()
        _, tight = min(rooms, key=lambda pair: pair[0])
        key = f"craft.{tight.craft}.delta_v"
        return self.nearest(key, allowed[tight.craft], [(tight.delta_v_m_s, tight.craft)])

    def loosenings(self, scenario: Scenario) -> tuple[Loosening, ...]:
        """See `Limit`."""
        return tuple(self._loads(scenario))

    def _loads(self, scenario: Scenario) -> Iterator[Loosening]:
        seen: set[Craft] = set()
        for craft in scenario.craft:
            alike = replace(craft, name="")
            if craft.stay or craft.propellant_kg is None or craft.dry_mass_kg is None or alike in seen:
                continue
            seen.add(alike)
            yield Loosening(
                key=f"craft.{craft.name}.propellant",
                now=craft.propellant_kg,
                most=min(craft.dry_mass_kg * DRY_MASSES, HEAVIEST_KG),
                step=0.1,
                unit=1.0,
                apply=_with_propellant({one.name for one in scenario.craft if replace(one, name="") == alike}),
            )


def _with_propellant(alike: Collection[str]) -> WithValue:
    """Craft that are alike, load included, get the same other load, by their names: they would be ordered alike."""

    def apply(scenario: Scenario, value: float) -> Scenario:
        craft = (replace(c, propellant_kg=value) if c.name in alike else c for c in scenario.craft)
        return replace(scenario, craft=tuple(craft))

    return apply


LIMIT = _Propellant(
    key="craft.delta_v",
    words=in_unit("m/s", "delta-v of one craft"),
    keeps=_keeps,
    also={
        "propellant": in_unit("kg", "propellant used"),
        "reserve": in_unit("m/s", "delta-v kept back", floor=True),
    },
)
