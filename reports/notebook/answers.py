"""What the public functions return: the answer of the planner with its text, data frames and pictures.

Everything is worked out when it is asked for. Frames are in SI units (see ``frames.py``), text and JSON in the units
of the command line.
"""

from __future__ import annotations

import html
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from ...models.errors import InputError
from ...models.scenario import Scenario
from ...optimizer.one_plan import with_plan
from ...optimizer.outcome import Outcome
from ...optimizer.period import Periods as Fitting
from ...optimizer.period import Question
from ...optimizer.replan.answer import Replan
from ...optimizer.robustness.budget import Budget
from ...optimizer.studies.strategies import Entry
from ...optimizer.studies.sweep import Grid, Row
from ..budget import budget_json, budget_text
from ..compare import compare_json, compare_text
from ..exchange.calendar import calendar_text
from ..exchange.folder import write_flights
from ..exchange.workbook import write_workbook
from ..figures import drawings
from ..figures.budget import draw_budget
from ..figures.compare import draw_fronts
from ..replan import replan_json, replan_text
from ..result import result_text
from ..sweep import sweep_text, text_row
from ..terminal import plan_text
from . import frames
from .picture import Picture

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

WIDTH = 100
"""Characters in a line of text."""


class Shown:
    """Shows itself in a notebook as a table under its first sentences, and as text everywhere else."""

    @property
    def text(self) -> str:
        """What the command prints."""
        raise NotImplementedError

    @property
    def table(self) -> pd.DataFrame:
        """The table that a reader wants first."""
        raise NotImplementedError

    def _repr_html_(self) -> str:
        head = self.text.split("\n\n")[:2]
        said = "".join(f"<p>{html.escape(' '.join(part.split()))}</p>" for part in head)
        return f"<div>{said}{self.table.to_html(index=False, float_format='{:.6g}'.format)}</div>"

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, kw_only=True, repr=False)
class Planned(Shown):
    """Ranked plans of a scenario.

    Args:
        outcome: everything that planning found, as frozen values in SI units and radians.
    """

    outcome: Outcome

    @property
    def feasible(self) -> bool:
        """Whether a plan keeps all limits."""
        return bool(self.outcome.plans)

    def picked(self, rank: int) -> Planned:
        """The same with the plan of that rank alone, to be taken further. Raises InputError where there is none."""
        return Planned(outcome=with_plan(self.outcome, rank))

    @property
    def plans(self) -> pd.DataFrame:
        """One row a plan, the best by the goal first: delta-v m/s, finish s from the epoch, propellant kg."""
        return frames.plans_frame(self.outcome)

    @property
    def craft(self) -> pd.DataFrame:
        """One row for each craft of each plan."""
        return frames.craft_frame(self.outcome)

    @property
    def burns(self) -> pd.DataFrame:
        """One row a burn: moment, parts out, along and across, and the orbit at cut-off (radii, m)."""
        return frames.burns_frame(self.outcome)

    @property
    def front(self) -> pd.DataFrame:
        """The price of time: delta-v, m/s, against finish, s."""
        return frames.front_frame(self.outcome)

    table = plans

    @property
    def text(self) -> str:
        """What ``ringwright plan`` prints."""
        return plan_text(self.outcome, WIDTH)

    @property
    def json(self) -> str:
        """The machine-readable result."""
        return result_text(self.outcome)

    @property
    def calendar(self) -> str:
        """Liftoffs, burns and looks of the best plan as iCalendar. Raises InputError without plan or epoch."""
        self._refuse_without_plan()
        return calendar_text(self.outcome)

    def write_flights(self, directory: str | Path) -> list[Path]:
        """Write the flights of the best plan as orbit messages, or as CSV where the standard has no frame for them.

        Raises:
            InputError: there is no plan, or the place cannot be written to.
        """
        self._refuse_without_plan()
        return write_flights(self.outcome, directory).paths

    def write_workbook(self, path: str | Path) -> Path:
        """Write the tables as a workbook. Raises InputError where openpyxl is missing or the place cannot be used."""
        return write_workbook(self.outcome, path)

    def _refuse_without_plan(self) -> None:
        if not self.feasible:
            raise InputError("there is no plan to write.", where=self.outcome.scenario.title)

    @property
    def figures(self) -> tuple[str, ...]:
        """Names of the pictures that this answer has."""
        return tuple(self._drawings())

    def figure(self, name: str = "front") -> Picture:
        """A picture of plan 1, or of all plans.

        Raises:
            ValueError: there is no picture of that name.
        """
        drawings = self._drawings()
        if name not in drawings:
            raise ValueError(f"there is no picture {name!r}: {', '.join(drawings) or 'without a plan there is none'}")
        return Picture(name, drawings[name])

    def _drawings(self) -> dict[str, partial[Figure]]:
        return drawings(self.outcome)


@dataclass(frozen=True, kw_only=True, repr=False)
class Periods(Shown):
    """Every period that brings one craft into its slot.

    Args:
        question: what was asked, SI units and radians.
        found: the answer as columns.
    """

    question: Question
    found: Fitting

    @property
    def options(self) -> pd.DataFrame:
        """One row for each period that fits, sorted by time."""
        return frames.options_frame(self.found)

    table = options

    @property
    def text(self) -> str:
        """The options as plain text."""
        if not len(self.found):
            return "No period fits all limits."
        best = self.options.iloc[self.found.cheapest]
        return (
            f"{len(self.found)} periods fit; the cheapest takes {best['total_m_s']:.1f} m/s and "
            f"{best['wait_s']:.1f} s.\n\n{self.options.to_string(index=False)}\n"
        )


@dataclass(frozen=True, kw_only=True, repr=False)
class Budgeted(Shown):
    """What a plan takes when launch, burns and readings have errors."""

    budget: Budget

    @property
    def craft(self) -> pd.DataFrame:
        """One row a craft: delta-v by the plan and at each quantile, and what to add, m/s."""
        return frames.budget_frame(self.budget)

    table = craft

    @property
    def text(self) -> str:
        """What ``ringwright budget`` prints."""
        return budget_text(self.budget, WIDTH)

    @property
    def json(self) -> str:
        """The budget, machine-readable."""
        return budget_json(self.budget)

    def figure(self) -> Picture:
        """What each craft burns beyond its plan, with the quantiles."""
        return Picture("budget", partial(draw_budget, self.budget))


@dataclass(frozen=True, kw_only=True, repr=False)
class Replanned(Shown):
    """The best plan from here, against the plan as it was."""

    done: Replan
    after: Planned | None
    """The plan that is left, to plan on from; None where nothing is left to do or no plan is left."""

    @property
    def changes(self) -> pd.DataFrame:
        """One row a craft: what it does now, and what the plan said before."""
        return frames.changes_frame(self.done)

    table = changes

    @property
    def text(self) -> str:
        """What ``ringwright replan`` prints."""
        return replan_text(self.done, WIDTH)

    @property
    def json(self) -> str:
        """The new plan, machine-readable."""
        return replan_json(self.done)


@dataclass(frozen=True, kw_only=True, repr=False)
class Comparison(Shown):
    """Strategies for one scenario, or several scenarios, side by side."""

    entries: tuple[Entry, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row for each strategy or scenario."""
        return frames.entries_frame(self.entries)

    @property
    def text(self) -> str:
        """What ``ringwright compare`` prints."""
        return compare_text(self.entries, WIDTH)

    @property
    def json(self) -> str:
        """The comparison, machine-readable."""
        return compare_json(self.entries)

    def figure(self) -> Picture:
        """All fronts in one picture."""
        return Picture("fronts", partial(draw_fronts, self.entries))


@dataclass(frozen=True, kw_only=True, repr=False)
class Swept(Shown):
    """A scenario planned over a grid of values."""

    scenario: Scenario
    over: Grid
    rows: tuple[Row, ...] = field(default=())

    @property
    def table(self) -> pd.DataFrame:
        """One row for each point of the grid, the last key fastest."""
        return frames.rows_frame(self.over, self.rows)

    @property
    def text(self) -> str:
        """What ``ringwright sweep`` prints."""
        return sweep_text(
            self.scenario.title, self.scenario.minimize, self.over, [text_row(row) for row in self.rows], WIDTH
        )
