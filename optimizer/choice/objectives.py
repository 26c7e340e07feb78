"""What a choice of options comes to in each aim, and how the schedule takes that."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ...models.craft import propellant
from ...models.scenario import Aim
from ..catalogue.catalogue import Catalogue
from ..problem.options import F, Options, summed, worst
from ..schedule.lexicographic import Objective
from ..schedule.one_aim import Solved
from .ties import AIMS, printed, prints_until

DELTA_V_TOLERANCE = 1e-6

FINISH_TOLERANCE = 1e-4
"""Plans this close in an aim, m/s and s, cost the same; what prints alike counts as alike before the next aim decides.
"""

Order = Aim | Literal["served", "last_liftoff"]
"""What a choice may be ordered by besides the aims: the last finish among the slots that a threshold binds, and the
last liftoff."""


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """One option for each craft that is moved, and what was proved about the choice."""

    options: Options
    solved: Solved
    columns: int

    @property
    def delta_v_m_s(self) -> float:
        """Sum over all craft."""
        return math.fsum(self.options.delta_v_m_s.tolist())

    @property
    def finish_s(self) -> float:
        """When the last craft is in its slot."""
        return float(self.options.finish_s.max(initial=0.0))

    @property
    def proved(self) -> bool:
        """Whether nothing better by the aims asked for is in the catalogue."""
        return self.solved.status == "optimal"


def burned(made: Catalogue, options: Options) -> F:
    """Propellant of each option, kg; zero for craft without masses."""
    out = np.zeros(len(options))
    for index, group in enumerate(made.problem.classes):
        own = options.craft_class == index
        out[own] = propellant(group.craft, options.delta_v_m_s[own])
    return out


def total(made: Catalogue, options: Options, aim: Aim) -> float:
    """What a choice of options comes to in an aim, in m/s, s or kg."""
    if aim == "finish":
        return float(options.finish_s.max(initial=0.0))
    if aim == "worst_delta_v":
        return float(options.delta_v_m_s.max(initial=0.0))
    return math.fsum((options.delta_v_m_s if aim == "delta_v" else burned(made, options)).tolist())


def worth(made: Catalogue, chosen: Chosen, aims: Sequence[Aim]) -> tuple[float, ...]:
    """A choice as it ranks: the aims as printed, then those not named, then delta-v and finish to the last digit."""
    ordered = [*aims, *(aim for aim in AIMS if aim not in aims)]
    exact = (round(chosen.delta_v_m_s, 6), round(chosen.finish_s, 6))
    return (*(printed(aim, total(made, chosen.options, aim)) for aim in ordered), *exact)


def objective(made: Catalogue, options: Options, aim: Order, slots: frozenset[int] | None) -> Objective:
    if aim == "served":
        bound = np.ones(len(options), dtype=bool) if slots is None else np.isin(options.slot, sorted(slots))
        finish = np.where(bound, options.finish_s, 0.0)
        return Objective(
            value=worst(options, finish),
            kind="worst",
            tolerance=FINISH_TOLERANCE,
            alike=lambda least: prints_until("finish", least),
        )
    if aim == "last_liftoff":
        liftoff = np.where(np.isnan(options.liftoff_s), 0.0, options.liftoff_s)
        return Objective(value=worst(options, liftoff), kind="worst", tolerance=FINISH_TOLERANCE)
    value, kind, tolerance = _value(made, options, aim)
    return Objective(value=value, kind=kind, tolerance=tolerance, alike=lambda least: prints_until(aim, least))


def _value(made: Catalogue, options: Options, aim: Aim) -> tuple[F, Literal["sum", "worst"], float]:
    """An aim as a value of each column, how values combine, and how far they may be off."""
    if aim == "delta_v":
        return summed(options, options.delta_v_m_s), "sum", DELTA_V_TOLERANCE
    if aim == "finish":
        return worst(options, options.finish_s), "worst", FINISH_TOLERANCE
    if aim == "worst_delta_v":
        return worst(options, options.delta_v_m_s), "worst", DELTA_V_TOLERANCE
    return summed(options, burned(made, options)), "sum", 1e-6


def ties_of(options: Options) -> tuple[F, F]:
    """What decides between plans alike in every aim: low slots to early classes and liftoffs; early finishes."""
    classes = 2.0 ** -np.minimum(options.craft_class.astype(np.float64), 30.0)
    liftoff = np.where(np.isnan(options.liftoff_s), 0.0, options.liftoff_s)
    span = float(np.ptp(liftoff)) if liftoff.size else 0.0
    early = 1.0 + (liftoff.max(initial=0.0) - liftoff) / span if span > 0.0 else np.ones(liftoff.size)
    return summed(options, options.slot * classes * early), summed(options, options.finish_s)
