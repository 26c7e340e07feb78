"""What replanning answers: what changes for each craft, what is next, and what it comes to."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...models.reading.observed import Observed
from ..craft_plan import Burn, CraftPlan
from ..outcome import Outcome, Plan
from ..standing import UnderForces
from .remaining_scenario import Remaining

SAME_S, SAME_M_S = 1.0, 0.01
"""Within this in time and in delta-v the way into a slot is the same."""


@dataclass(frozen=True, kw_only=True)
class CraftChange:
    """One craft that is moved on: its part of the old plan, and of the new one, whose times count from ``new_from_s``.

    ``spent_m_s`` until now; ``rest_m_s`` and ``old_rest_m_s`` from now on, the latter of the plan as it was.
    """

    craft: str
    old: CraftPlan
    new: CraftPlan
    new_from_s: float
    spent_m_s: float
    rest_m_s: float
    old_rest_m_s: float

    @property
    def in_slot_s(self) -> float:
        """When it is in its slot, from the first epoch."""
        return self.new_from_s + self.new.in_slot_s

    @property
    def same(self) -> bool:
        """Whether it goes on as it was planned."""
        return (
            (self.old.plane, self.old.slot) == (self.new.plane, self.new.slot)
            and abs(self.in_slot_s - self.old.in_slot_s) <= SAME_S
            and abs(self.rest_m_s - self.old_rest_m_s) <= SAME_M_S
        )


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What must be done next for a craft, and what it costs to miss that.

    ``at_s`` from the first epoch. ``launch``: a liftoff, else a burn. ``extra_m_s`` and ``later_s`` are what the whole
    plan costs more and ends later, by the catalogue, if nothing is done before `LATE_S` after it; None where it was not
    worked out, or (``lost``) where no plan is left then.
    """

    craft: str
    at_s: float
    launch: bool
    extra_m_s: float | None = None
    later_s: float | None = None
    lost: bool = False


@dataclass(frozen=True, kw_only=True)
class Past:
    """What lies behind a plan that is gone on from a second time.

    Args:
        now_s: when it was made, from the first epoch.
        spent: what each craft had burned by then, m/s, by name.
        finish_s: when the last of the craft was in its slot that were there by then.
        done, lost: craft that were in their slots, or gone.
    """

    now_s: float = 0.0
    spent: tuple[tuple[str, float], ...] = ()
    finish_s: float = 0.0
    done: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()

    @property
    def spent_m_s(self) -> float:
        """By all craft."""
        return math.fsum(one for _, one in self.spent)

    def spent_until(self, left: Remaining) -> dict[str, float]:
        """What each craft has burned until a later look, m/s, by name."""
        spent = dict(self.spent)
        for one in left.spent:
            spent[one.craft] = spent.get(one.craft, 0.0) + one.delta_v_m_s
        return spent


NOTHING = Past()


@dataclass(frozen=True, kw_only=True)
class Replan:
    """The whole answer.

    ``outcome`` is the plan of what is left, its times from now; None where nothing is left, or where nothing was seen
    that differs from the plan: the rest of the best plan is then the best plan of the rest. ``total_m_s``
    counts what was spent, ``finish_s`` counts from the first epoch, both with the craft that are done. ``mended``
    craft go on with the burns that they were to make, corrected. ``unfinished`` says in words what was not reached
    because the search was ended; empty where everything was. ``under`` is what a flight of what is left under further
    forces found; None where the plan was not corrected for any.
    """

    before: Outcome
    old_plan: Plan
    observed: Observed
    remaining: Remaining
    outcome: Outcome | None
    changes: tuple[CraftChange, ...]
    decisions: tuple[Decision, ...]
    total_m_s: float
    finish_s: float
    mended: tuple[str, ...] = ()
    past: Past = NOTHING
    unfinished: str = ""
    under: UnderForces | None = None

    def burns_to_come(self, change: CraftChange) -> tuple[Burn, ...]:
        """The burns of a craft from now on, in the times of its part."""
        now_s, from_s = self.observed.now_s, change.new_from_s
        return tuple(burn for burn in change.new.burns if burn.time_s + from_s > now_s or now_s == from_s)

    @property
    def old_total_m_s(self) -> float:
        """What the plan as it was comes to, with what was spent before it."""
        return self.old_plan.delta_v_m_s + self.past.spent_m_s

    @property
    def old_finish_s(self) -> float:
        """When the last craft was to be in its slot by the plan as it was."""
        return max(self.old_plan.finish_s, self.past.finish_s)

    @property
    def dearer_m_s(self) -> float:
        """By how much the rest costs more than that of the plan as it was, for the craft that are moved."""
        return math.fsum(change.rest_m_s - change.old_rest_m_s for change in self.changes)

    @property
    def worst_m_s(self) -> float:
        """What the craft that burns most burns in all."""
        return max((change.spent_m_s + change.rest_m_s for change in self.changes), default=0.0)

    @property
    def later_s(self) -> float:
        """By how much the last craft is in its slot later than by the plan as it was."""
        return self.finish_s - self.old_finish_s

    @property
    def fits(self) -> bool:
        """Whether there is a plan, and one within the limits."""
        return self.outcome is None or bool(self.outcome.plans and not self.outcome.plans[0].broken)


@dataclass(frozen=True, kw_only=True)
class FromHere:
    """The new plan as a separate outcome, its only plan of rank 1, and what lies behind it."""

    outcome: Outcome
    past: Past
