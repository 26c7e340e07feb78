"""The other prices of time: worst craft and propellant against finish, total delta-v against first service.

Points are numbers, not flown plans. Each is proved over the catalogue like those of the main front.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from ...models.scenario import Aim
from ..outcome import AimFront, AimPoint, FrontName
from .first_service import first_service_s
from .front import Walked, note, walk
from .objectives import Chosen, burned
from .selection import Selection

UNITS: dict[Aim, str] = {"delta_v": "m/s", "finish": "s", "worst_delta_v": "m/s", "propellant": "kg"}


def other_fronts(selection: Selection, progress: Callable[[str], None] = lambda _: None) -> tuple[AimFront, ...]:
    """Every front besides the main one that the scenario has a meaning for.

    Propellant needs masses for all craft that move; first service needs ``goal.first_service``.
    """
    wanted: list[tuple[FrontName, Aim, int | None]] = [("worst_delta_v", "worst_delta_v", None)]
    if weighed(selection):
        wanted.append(("propellant", "propellant", None))
    neighbors = selection.made.problem.scenario.first_service
    if neighbors is not None:
        wanted.append(("first_service", "delta_v", neighbors))
    found = []
    for name, aim, count in wanted:
        progress(f"front: {name}")
        walked = walk(selection, None, progress, aim=aim, neighbors=count)
        found.append(as_front(name, selection, walked, UNITS[aim]))
    return tuple(found)


def weighed(selection: Selection) -> bool:
    """Whether every craft that moves has masses."""
    return all(group.craft.dry_mass_kg is not None for group in selection.made.problem.classes)


def as_front(name: FrontName, selection: Selection, walked: Walked, unit: str) -> AimFront:
    """A walked front as numbers."""
    said = note(walked, selection, unit)
    if selection.made.problem.oblate:
        said = "; ".join([*([said] if said else []), "planned by ratios of periods, not corrected by a flight"])
    return AimFront(
        name=name,
        points=tuple(point(selection, chosen, kind) for chosen, kind in zip(walked.plans, walked.kinds, strict=True)),
        resolution=walked.resolution,
        unit=unit,
        note=said,
    )


def point(selection: Selection, chosen: Chosen, kind: str = "step") -> AimPoint:
    """The numbers of a choice."""
    problem, options = selection.made.problem, chosen.options
    neighbors = problem.scenario.first_service
    service = None if neighbors is None else first_service_s(problem, options, neighbors)
    return AimPoint(
        delta_v_m_s=chosen.delta_v_m_s,
        worst_delta_v_m_s=float(options.delta_v_m_s.max(initial=0.0)),
        propellant_kg=math.fsum(burned(selection.made, options).tolist()) if weighed(selection) else None,
        finish_s=chosen.finish_s,
        first_service_s=None if service is None or math.isinf(service) else service,
        kind=kind,  # type: ignore[arg-type]
    )
