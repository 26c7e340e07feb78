"""What the pictures of a plan have in common: which plane is drawn, who is in which slot, and each craft's arcs."""

from __future__ import annotations

from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome, Plan
from .arcs import Arc, craft_arcs


def drawn_plane(plan: Plan) -> int:
    """The plane that a flat picture shows where none is asked for: that of the first craft."""
    return plan.craft[0].plane if plan.craft else 0


def drawn_ways(outcome: Outcome, plan: Plan, plane: int) -> list[tuple[CraftPlan, list[Arc]]]:
    """Craft of the plane drawn, with their arcs."""
    return [(part, craft_arcs(outcome, part)) for part in plan.craft if part.plane == plane]


def plane_words(outcome: Outcome, plane: int) -> str:
    """Say which plane is drawn where the ring has several; empty for one."""
    return f", plane {plane} alone" if outcome.ring.planes > 1 else ""


def slot_names(outcome: Outcome, plan: Plan, plane: int) -> list[str]:
    """What stands at each slot of the plane drawn: a craft's name, who stays, or that it is free."""
    names = {kept.slot: f"{kept.craft} (stays)" for kept in outcome.kept if kept.plane == plane}
    names |= {part.slot: part.craft for part in plan.craft if part.plane == plane}
    return [names.get(slot, "free") for slot in range(outcome.ring.slots)]


def titled(outcome: Outcome, plan: Plan, words: str) -> str:
    """Title of a picture of one plan; a plan that breaks a limit says so first."""
    mark = "BREAKS A LIMIT: " if plan.broken else ""
    return f"{mark}{outcome.scenario.title}: {words}"
