"""Where launchers let go, in words: the best plan with each insertion of a range for all launches of a site."""

from __future__ import annotations

import math

from ..models.readouts import brief, plain, span
from ..optimizer.outcome import LetGo, Outcome
from .layout import Column, columns, heading, note
from .values import exact, finite, named


def let_go_lines(outcome: Outcome, width: int) -> list[str]:
    """A table for each site that leaves a range; none where no site does."""
    lines = []
    for pad in dict.fromkeys(row.pad for row in outcome.let_go):
        rows = [row for row in outcome.let_go if row.pad == pad]
        lines += [*heading(f"Where {pad} lets go, the same for all launches", width), *_table(outcome, rows, width)]
        lines += note(
            "Each row is the best plan with that insertion alone, flown; in the plans above each launch has its own.",
            width,
        )
    return lines


def _table(outcome: Outcome, rows: list[LetGo], width: int) -> list[str]:
    body_m = outcome.scenario.body.radius_m
    heads = [Column(title="periapsis, km", right=True), Column(title="apoapsis, km", right=True)]
    limited = any(math.isfinite(row.payload_kg) for row in rows)
    heads += [Column(title="at most, kg", right=True)] if limited else []
    heads += [Column(title=title, right=True) for title in ("m/s", "against the least", "done after")]
    least = min(row.delta_v_m_s for row in rows)
    cells = []
    for row in rows:
        apsides = [brief(round((radius - body_m) * 1e-3, 1)) for radius in (row.periapsis_m, row.apoapsis_m)]
        mass = [plain(row.payload_kg)] if limited else []
        if math.isinf(row.delta_v_m_s):
            cells.append([*apsides, *mass, "no plan", "", ""])
            continue
        more = row.delta_v_m_s - least
        cells.append([*apsides, *mass, plain(row.delta_v_m_s), f"+{plain(more)}" if more else "", span(row.finish_s)])
    return columns(heads, cells, width)


def let_go_values(row: LetGo, body_radius_m: float) -> dict[str, float | str | None]:
    """One insertion as values of the result; null where no plan keeps the limits."""
    return {
        **exact(row, "pad", "insertion"),
        **named(row, "periapsis_km", "apoapsis_km", from_m=body_radius_m),
        **{name: finite(getattr(row, name), 6) for name in ("payload_kg", "delta_v_m_s", "finish_s")},
    }
