"""Strategies, or whole scenarios, side by side: as text, as plain values, as tables, as a directory."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..models.readouts import plain, span
from ..optimizer.outcome import Margin, Plan
from ..optimizer.studies.strategies import Entry, room_share
from .files import write_answer
from .layout import closed, figures, heading, paragraph, table, words
from .limits import (
    as_written,
    infeasible_as_written,
    limit_key,
    limit_value,
    plan_as_written,
    room_text,
    serving_text,
    serving_value,
)
from .remarks import CAUTION, to_know
from .result import aim_points
from .result_schema import always
from .tables import frame_csv
from .values import finite, json_text, named, number
from .wording import AIM_WORDS, listed, sentence

if TYPE_CHECKING:
    import pandas as pd

FORMAT = "ringwright-compare/1"

WIDE = 110
"""From this width on one table holds everything."""

_COSTS, _TIGHTEST = ("delta_v_m_s", "worst_delta_v_m_s", "propellant_kg"), ("limit", "value", "allowed", "room_share")
ENTRIES = (
    *("name", "about", "title", *_COSTS, "finish_s", "first_service_s", "clearance_km"),
    *(f"tightest_{name}" for name in _TIGHTEST),
    *("within_limits", "proof", "gap", "no_plan"),
)
POINTS = ("name", "front", *always("aim_point"))


def compare_text(entries: Sequence[Entry], width: int = 80) -> str:
    """Set a comparison for the console: a line an entry, the first of them as the measure."""
    entries = [_as_written(entry) for entry in entries]
    scenarios = entries[0].about == "scenario"
    lines = paragraph("Scenarios side by side" if scenarios else entries[0].scenario.title, width)
    lines += paragraph(_what(entries, scenarios), width)
    lines += _tables(entries, "Scenarios" if scenarios else "Strategies", width)
    for entry in entries:
        if entry.plan is None:
            lines += ["", *paragraph(f"{entry.name}: {_no_plan(entry)}", width, hang="    ")]
    return closed([*lines, *_remarks(entries, width)], CAUTION, width)


def _as_written(entry: Entry) -> Entry:
    """An entry whose limits are named as its scenario spells them."""
    source, tightest = entry.scenario.source, entry.tightest
    return replace(
        entry,
        plan=None if entry.plan is None else plan_as_written(entry.plan, source),
        tightest=None if tightest is None else replace(tightest, limit=as_written(tightest.limit, source)),
        infeasible=infeasible_as_written(entry.infeasible, source),
    )


def _what(entries: Sequence[Entry], scenarios: bool) -> str:
    if scenarios:
        return "The best plan of each by its own goal, flown; what limits it is the limit with the least relative room."
    aim = AIM_WORDS[entries[0].scenario.minimize]
    return (
        f"Under each strategy the plan with {aim}, flown. A strategy holds for every craft that needs phasing; the "
        "first line is free to mix them, on either side, with any number of revolutions"
        + (", and to wait on the pad." if any(entry.about == "liftoff" for entry in entries) else ".")
    )


def carriers_m_s(plan: Plan) -> float:
    """What the carriers of a plan burn themselves, m/s."""
    return math.fsum(carrier.delta_v_m_s for carrier in plan.carriers)


def _tables(entries: Sequence[Entry], title: str, width: int) -> list[str]:
    """What the plans come to and what limits them, in two tables where the page is narrow."""
    plans = [(entry, entry.plan) for entry in entries if entry.plan is not None]
    if not plans:
        return []
    weighed = any(plan.propellant_kg is not None for _, plan in plans)
    carried = any(plan.carriers for _, plan in plans)
    served = any(entry.first_service_s is not None for entry in entries)
    name = words("", [entry.name for entry, _ in plans], wraps=True)
    costs = [
        figures("m/s", cells=[plain(plan.delta_v_m_s) for _, plan in plans]),
        figures("worst m/s", cells=[plain(plan.worst_delta_v_m_s) for _, plan in plans]),
        figures("kg", cells=[_or_empty(plain, plan.propellant_kg) for _, plan in plans]) if weighed else None,
    ]
    burned = [plain(carriers_m_s(plan)) if plan.carriers else "" for _, plan in plans]
    carriers = figures("carriers m/s", cells=burned) if carried else None
    done = figures("done after", cells=[span(plan.finish_s) for _, plan in plans])
    rest = [
        figures("service after", cells=[_or_empty(span, e.first_service_s) for e, _ in plans]) if served else None,
        figures("clears km", cells=["-" if e.clearance_m is None else plain(e.clearance_m * 1e-3) for e, _ in plans]),
        words("what limits it", [_limit_text(entry) for entry, _ in plans], wraps=True),
    ]
    if width >= WIDE:
        return [*heading(title, width), *table([name, *costs, carriers, done, *rest], width)]
    against = words("against the first", [_against(entry, entries) for entry, _ in plans], wraps=True)
    lines = [*heading(title, width), *table([name, *costs, done, against], width)]
    return [*lines, *heading("Time, room and limits", width), *table([name, carriers, *rest], width)]


def _or_empty(say: Callable[[float], str], value: float | None) -> str:
    return "" if value is None else say(value)


def _against(entry: Entry, entries: Sequence[Entry]) -> str:
    first = next(e for e in entries if e.plan is not None)
    assert first.plan is not None
    assert entry.plan is not None
    if entry is first:
        return ""
    # as printed: the reader finds the same
    dearer = round(entry.plan.delta_v_m_s, 1) - round(first.plan.delta_v_m_s, 1)
    later = entry.plan.finish_s - first.plan.finish_s
    cost = f"{plain(abs(dearer))} m/s {'dearer' if dearer > 0 else 'cheaper'}" if abs(dearer) >= 0.05 else ""
    time = f"{span(abs(later))} {'later' if later > 0 else 'sooner'}" if abs(later) >= 0.5 else ""
    return ", ".join(part for part in (cost, time) if part) or "the same"


def _limit_text(entry: Entry) -> str:
    if entry.plan is not None and entry.plan.broken:
        return f"!!! BREAKS {listed(sorted({limit_key(b.limit) for b in entry.plan.broken}))} !!!"
    margin = entry.tightest
    if margin is None:
        return "no limit"
    return room_text(margin.limit, room_share(margin))


def _no_plan(entry: Entry) -> str:
    if entry.unfinished:
        return f"undecided; the search ended early: {entry.unfinished}."
    why = entry.infeasible
    if why is None:
        return "no plan keeps all limits."
    if not why.binds:
        return sentence(f"no plan keeps all limits: {why.reason}")
    remedies = listed([serving_text(bind) or f"another {limit_key(bind.limit)}" for bind in why.binds])
    said = f": {why.reason}" if why.by_places else ""
    return f"no plan keeps all limits{said}; {'together ' if why.together else ''}{remedies} would serve."


def _remarks(entries: Sequence[Entry], width: int) -> list[str]:
    sentences: list[str] = []
    bounded = [e for e in entries if e.proof is not None and e.proof.status != "optimal"]
    proved = [e for e in entries if e.proof is not None and e.proof.status == "optimal"]
    if proved and not bounded:
        planned = any(e.proof is not None and e.proof.phases is not None and not e.proof.phases.proved for e in proved)
        phases = ", some at the ring phases that were planned alone" if planned else ""
        sentences.append(f"Each is proved best over its catalogue of options{phases}.")
    for entry in bounded:
        assert entry.proof is not None
        gap = (
            f"within {100.0 * entry.proof.gap:.2f} % of the best"
            if math.isfinite(entry.proof.gap)
            else "with nothing proved"
        )
        sentences.append(f"{entry.name} is not proved best: {gap}.")
    unfinished = [e for e in entries if e.plan is not None and e.unfinished]
    sentences += [sentence(f"{entry.name}: the search ended early: {entry.unfinished}") for entry in unfinished]
    fewer = [e.name for e in entries if e.plan is not None and not e.fronts]
    if fewer and len(fewer) < len(entries):
        sentences.append(f"No front was computed for: {listed(fewer)}.")
    seen: dict[str, list[str]] = {}
    for entry in entries:
        for note in dict.fromkeys(entry.notes):
            seen.setdefault(note, []).append(entry.name)
    sentences += [
        sentence(note if len(names) == len(entries) else f"{listed(names)}: {note}") for note, names in seen.items()
    ]
    return to_know(sentences, width)


def compare_result(entries: Sequence[Entry]) -> dict[str, Any]:
    """A comparison as JSON-ready values; names carry units, times are seconds from each scenario's epoch."""
    return {
        "format": FORMAT,
        "over": "scenarios" if entries[0].about == "scenario" else "strategies",
        "entries": [_entry(_as_written(entry)) for entry in entries],
    }


def compare_json(entries: Sequence[Entry]) -> str:
    """The comparison as strict JSON, a newline at the end."""
    return json_text(compare_result(entries))


def _entry(entry: Entry) -> dict[str, Any]:
    plan = entry.plan
    return {
        "name": entry.name,
        "about": entry.about,
        "title": entry.scenario.title,
        **(dict.fromkeys(_COSTS) if plan is None else named(plan, *_COSTS)),
        **({} if plan is None or not plan.carriers else {"carriers_m_s": round(carriers_m_s(plan), 6)}),
        "finish_s": None if plan is None else number(plan.finish_s),
        **named(entry, "first_service_s"),
        "clearance_km": None if entry.clearance_m is None else number(entry.clearance_m * 1e-3),
        "tightest": None if entry.tightest is None else _tightest(entry.tightest),
        "within_limits": None if plan is None else not plan.broken,
        "proof": _proof(entry),
        "no_plan": None if plan is not None else _no_plan_values(entry),
        "fronts": {front.name: aim_points(front) for front in entry.fronts},
        "unfinished": entry.unfinished or None,
        "notes": list(entry.notes),
    }


def _proof(entry: Entry) -> dict[str, Any] | None:
    proof = entry.proof
    if proof is not None:
        return {**named(proof, "status", "aim"), "gap": finite(proof.gap, 9), "options": proof.options}
    aim = entry.scenario.minimize
    return {"status": "undecided", "aim": aim, "gap": None, "options": 0} if entry.undecided else None


def _no_plan_values(entry: Entry) -> dict[str, Any]:
    why = entry.infeasible
    limits = [
        {
            "limit": limit_key(bind.limit),
            "serves": None if bind.serves is None else serving_value(bind.limit, bind.serves),
        }
        for bind in (() if why is None else why.binds)
    ]
    return {"limits": limits, "together": why is not None and why.together, "reason": _no_plan(entry)}


def _tightest(margin: Margin) -> dict[str, Any]:
    return {
        "limit": limit_key(margin.limit),
        "value": round(limit_value(margin.limit, margin.value), 9),
        "allowed": round(limit_value(margin.limit, margin.allowed), 9),
        "room_share": round(room_share(margin), 9),
        "craft": margin.craft,
    }


def compare_tables(entries: Sequence[Entry]) -> dict[str, pd.DataFrame]:
    """The comparison as tables: ``compare``, a row an entry, and ``fronts``, a row a point of any front."""
    import pandas as pd

    rows = []
    for entry in compare_result(entries)["entries"]:
        tight, proof = entry["tightest"] or {}, entry["proof"] or {}
        rows.append(
            {
                **entry,
                **{f"tightest_{name}": tight.get(name) for name in _TIGHTEST},
                "proof": proof.get("status"),
                "gap": proof.get("gap"),
                "no_plan": entry["no_plan"] and entry["no_plan"]["reason"],
            }
        )
    points = [
        {"name": entry.name, "front": front.name, **point}
        for entry in entries
        for front in entry.fronts
        for point in aim_points(front)
    ]
    return {
        "compare": pd.DataFrame(rows, columns=ENTRIES),
        "fronts": pd.DataFrame(points, columns=POINTS),
    }


def write_compare(entries: Sequence[Entry], directory: str | Path) -> list[Path]:
    """Write JSON, text, ``compare.csv``, ``fronts.csv`` and the figure of all fronts; raises as `write_answer` does."""
    from .figures.compare import draw_fronts

    texts = {"compare.json": compare_json(entries), "compare.txt": compare_text(entries, WIDE)}
    texts |= {f"{name}.csv": frame_csv(frame) for name, frame in compare_tables(entries).items()}
    fronts = any(front.points for entry in entries for front in entry.fronts)
    return write_answer(directory, texts, "fronts", (lambda: draw_fronts(entries)) if fronts else None)
