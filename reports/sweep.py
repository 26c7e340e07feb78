"""A sweep as rows of texts, as CSV, as text for the console, and as files."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from ..models.readouts import plain, span
from ..optimizer.outcome import Infeasible
from ..optimizer.studies.strategies import room_share
from ..optimizer.studies.sweep import Grid, Row
from .files import write_answer
from .layout import Cells, closed, figures, heading, note, paragraph, table, words
from .limits import limit_key, room_text, serving_text, serving_value
from .remarks import CAUTION
from .safe_text import csv_cell
from .wording import AIM_WORDS, count, listed, sentence

KEPT = ("keeping_m_s_year", "with_keeping_m_s", "with_keeping_kg")
"""What keeping the ring takes, under further forces."""

MEASURED = ("delta_v_m_s", "worst_delta_v_m_s", "propellant_kg", "finish_s", "first_service_s", *KEPT)
"""What a row holds as a number under the same name."""

_FOUND = ("broken", "proof", "no_plan", "binding_limit", "serves")
MEASURES = (*MEASURED, "clearance_km", "tightest_limit", "tightest_room_share", *_FOUND)
"""Columns of the file after the varied keys; the last column marks the scenario that the row belongs to."""


@dataclass(frozen=True, kw_only=True)
class TextRow:
    """A row as it stands in the file: the varied values, then texts by column."""

    values: tuple[str, ...]
    fields: Mapping[str, str]

    def number(self, name: str) -> float | None:
        """A field as a number, None where it is empty."""
        return float(self.fields[name]) if self.fields[name] else None


def _proof(row: Row) -> str:
    if row.undecided:
        return "undecided"
    return "" if row.delta_v_m_s is None else "optimal" if row.proved else "bounded"


def text_row(row: Row) -> TextRow:
    """A row of the sweep as texts; units are in the names of the columns."""
    binds = row.infeasible.binds if row.infeasible is not None else ()
    tight = row.tightest
    return TextRow(
        values=row.values,
        fields={
            **{name: _text(getattr(row, name)) for name in MEASURED},
            "clearance_km": _text(None if row.clearance_m is None else row.clearance_m * 1e-3),
            "tightest_limit": "" if tight is None else limit_key(tight.limit),
            "tightest_room_share": "" if tight is None else _text(room_share(tight)),
            "broken": "; ".join(limit_key(limit) for limit in row.broken),
            "proof": _proof(row),
            "no_plan": _no_plan(row),
            "binding_limit": "; ".join(limit_key(bind.limit) for bind in binds),
            "serves": "; ".join(
                "" if bind.serves is None else f"{serving_value(bind.limit, bind.serves):.12g}" for bind in binds
            ),
        },
    )


def _text(value: float | None) -> str:
    return "" if value is None else f"{round(value, 6) + 0.0:.12g}"


def _no_plan(row: Row) -> str:
    if row.refused:
        return f"refused: {' '.join(row.refused.split())}"
    if row.delta_v_m_s is not None:
        return ""
    if row.undecided:
        return "undecided: a limit of time or memory ended the search before any plan was flown"
    return _why(row.infeasible)


def _why(why: Infeasible | None) -> str:
    if why is None:
        return "no plan keeps all limits"
    if not why.binds:
        return " ".join(why.reason.split()) or "no plan keeps all limits"
    parts = [serving_text(bind) or limit_key(bind.limit) for bind in why.binds]
    return f"{'together ' if why.together else ''}{listed(parts)} would serve"


def in_order(over: Grid, rows: Sequence[TextRow]) -> list[TextRow]:
    """Rows in the order of the grid; rows of other points left out."""
    found = {row.values: row for row in rows}
    return [found[point] for point in over.points if point in found]


def head_cells(over: Grid) -> list[str]:
    """The first line of the file."""
    return [*(csv_cell(vary.name) for vary in over.varied), *MEASURES, "scenario"]


def cells(over: Grid, row: TextRow) -> list[str]:
    """A row as a line of the file."""
    return [*map(csv_cell, row.values), *(csv_cell(row.fields[name]) for name in MEASURES), over.mark]


def table_csv(over: Grid, rows: Sequence[TextRow]) -> str:
    """The rows in order as CSV."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(head_cells(over))
    writer.writerows(cells(over, row) for row in in_order(over, rows))
    return text.getvalue()


def sweep_text(title: str, aim: str, over: Grid, rows: Sequence[TextRow], width: int = 80) -> str:
    """Set a sweep for the console: a line a point, or for two keys a table of the aim over both."""
    ready = in_order(over, rows)
    lines = paragraph(title, width)
    names = listed([" = ".join(vary.keys) for vary in over.varied])
    lines += paragraph(
        f"{count(len(ready), 'point')} over {names}; each is the plan with {AIM_WORDS[aim]}, flown.", width
    )
    if len(over.varied) == 2:
        lines += _crossed(aim, over, ready, width)
    lines += heading("Points", width)
    lines += table(_points(over, ready), width)
    return closed([*lines, *_kept_lines(over, ready, width), *_remarks(over, ready, width)], CAUTION, width)


KEPT_WORDS = (
    "Keeping is what drag, longitudes and a plane to be kept take of all craft, in closed form, by the forces that "
    "matter at each point (0: none does); both: the plan and keeping until the ring has held as long as it is to "
    "(ring.hold_for). Trims of rates come on top."
)

AIMED = {
    "delta_v": ("delta_v_m_s", "total m/s"),
    "finish": ("finish_s", "done after"),
    "worst_delta_v": ("worst_delta_v_m_s", "worst m/s"),
    "propellant": ("propellant_kg", "kg"),
}
"""The column that an aim is read from, and its heading."""


def _crossed(aim: str, over: Grid, ready: Sequence[TextRow], width: int) -> list[str]:
    down, across = over.varied
    column, title = AIMED[aim]
    cells = {row.values: _aim_text(row, column) for row in ready}
    filled = [
        figures(down.short, cells=down.values),
        *(figures(other, cells=[cells.get((value, other), "") for value in down.values]) for other in across.values),
    ]
    return [*heading(f"{title}, over {down.short} down and {across.short} across", width), *table(filled, width)]


def is_kept(rows: Sequence[TextRow]) -> bool:
    """Whether rows say what keeping the ring takes."""
    return any(row.fields["keeping_m_s_year"] for row in rows)


def _aim_text(row: TextRow, column: str) -> str:
    value = row.number(column)
    if value is None:
        return "refused" if row.fields["no_plan"].startswith("refused") else "no plan"
    return span(value) if column == "finish_s" else plain(value)


def _points(over: Grid, ready: Sequence[TextRow]) -> list[Cells | None]:
    said = partial(_said, ready)
    weighed = any(row.fields["propellant_kg"] for row in ready)
    return [
        *(figures(vary.short, cells=[row.values[i] for row in ready]) for i, vary in enumerate(over.varied)),
        figures("m/s", cells=said("delta_v_m_s", plain)),
        figures("worst", cells=said("worst_delta_v_m_s", plain)),
        figures("kg", cells=said("propellant_kg", plain)) if weighed else None,
        figures("done after", cells=said("finish_s", span)),
        words("what limits it", [_limit_text(row) for row in ready], wraps=True),
    ]


def _said(rows: Sequence[TextRow], name: str, say: Callable[[float], str]) -> list[str]:
    return ["-" if (value := row.number(name)) is None else say(value) for row in rows]


def _kept_lines(over: Grid, ready: Sequence[TextRow], width: int) -> list[str]:
    """What keeping takes at each point; nothing without further forces."""
    if not is_kept(ready):
        return []
    said = partial(_said, ready)
    weighed = any(row.fields["with_keeping_kg"] for row in ready)
    filled = [
        *(figures(vary.short, cells=[row.values[i] for row in ready]) for i, vary in enumerate(over.varied)),
        figures("plan,", "m/s", cells=said("delta_v_m_s", plain)),
        figures("keeping,", "m/s a year", cells=said("keeping_m_s_year", plain)),
        figures("both,", "m/s", cells=said("with_keeping_m_s", plain)),
        figures("load for", "both, kg", cells=said("with_keeping_kg", plain)) if weighed else None,
    ]
    least = min(
        (row for row in ready if row.fields["with_keeping_m_s"]), key=lambda row: float(row.fields["with_keeping_m_s"])
    )
    where = " and ".join(f"{vary.short} {value}" for vary, value in zip(over.varied, least.values, strict=True))
    text = f"{KEPT_WORDS} Least of both at {where}."
    if weighed:
        text += " The load is the least that is enough, with the reserve; kg above is what the plan burns as loaded."
        text += " Drag counts in m/s at the mass that craft start with, in kg by its force."
    return [*heading("With keeping", width), *table(filled, width), *note(text, width)]


def _limit_text(row: TextRow) -> str:
    if row.fields["no_plan"]:
        why_not = row.fields["no_plan"]
        return why_not if why_not.startswith(("refused", "undecided")) else f"no plan: {why_not}"
    if row.fields["broken"]:
        return f"!!! BREAKS {row.fields['broken']} !!!"
    limit, share = row.fields["tightest_limit"], row.number("tightest_room_share")
    if not limit or share is None:
        return "no limit"
    return room_text(limit, share)


def _remarks(over: Grid, ready: Sequence[TextRow], width: int) -> list[str]:
    said = ["Plans of a sweep are made and flown by the pull of the body and its bulge alone."] if ready else []
    left = len(over.points) - len(ready)
    if left:
        said.append(f"{count(left, 'point')} of the grid are not planned yet.")
    undecided = sum(row.fields["proof"] == "undecided" for row in ready)
    if undecided:
        said.append(f"{count(undecided, 'point')} undecided: whether a plan exists there is not known.")
    bounded = sum(row.fields["proof"] == "bounded" for row in ready)
    if bounded:
        said.append(f"{count(bounded, 'point')} not proved best.")
    elif any(row.fields["proof"] == "optimal" for row in ready):
        said.append("Each plan is proved best over its catalogue of options.")
    return ["", *(line for text in said for line in paragraph(sentence(text), width))] if said else []


def write_sweep(title: str, aim: str, over: Grid, rows: Sequence[TextRow], directory: str | Path) -> list[Path]:
    """Write ``sweep.csv``, ``sweep.txt`` and the figure into a directory; raises as `write_answer` does."""
    from .figures.sweep import draw_sweep

    ready = in_order(over, rows)
    texts = {"sweep.csv": table_csv(over, rows), "sweep.txt": sweep_text(title, aim, over, rows, 110)}
    planned = any(row.fields["delta_v_m_s"] for row in ready)
    return write_answer(directory, texts, "sweep", (lambda: draw_sweep(title, aim, over, ready)) if planned else None)
