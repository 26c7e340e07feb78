"""The risk of plans as text, as JSON and as files: what to load, by when the ring is done, what spares are worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..models.readouts import plain, span
from ..models.risk import Risk
from ..models.scenario import Scenario
from ..optimizer.outcome import Outcome, Plan, PlanRisk
from ..optimizer.robustness.completion import SHARES, Completion
from ..optimizer.robustness.weighing import RiskStudy
from .files import write_answer
from .layout import Cells, closed, ended_early, figures, heading, note, paragraph, table
from .under_forces import FOR_BULGE, nominal_forces, nominal_text
from .values import json_text

ROWS_SHOWN = 12
"""Plans that are listed on the screen; all are in the JSON."""

OTHERS = "The other plans are made for the bulge alone."

HOW = (
    "A launch that slips, or finds its site not free, takes the moment from which its craft is soonest in its slot, of "
    "those by the catalogue that its tank pays (no more than its plan where no full tank is given). Slips are "
    "exponentially distributed and independent, an assumption."
)


_CAUTION = (
    "A planning aid, not flight software: dates are of launches and of corrections by the budget's closed forms or "
    "linear models; craft lost in orbit and launches that fail together are not in it."
)


def risk_lines(outcome: Outcome, width: int) -> list[str]:
    """Lines on the risk of the plans of an outcome; none where they were not weighed."""
    if not outcome.weighed:
        return []
    lines = [*heading("Weighed by risk", width), *_table(outcome, outcome.weighed, width)]
    return [*lines, *note(_launches(outcome.scenario), width)]


def risk_text(study: RiskStudy, width: int) -> str:
    """The study for a console, no line longer than ``width``."""
    outcome, first = study.outcome, study.outcome.plans[0]
    risks = [one.risk for one in study.plans]
    answer = _answer(risks[0], first.finish_s) if risks else _planned(first)
    lines = [outcome.scenario.title, *paragraph(answer, width), ""]
    lines += paragraph(_launches(outcome.scenario), width)
    lines += paragraph(f"{plain(study.samples, 0)} rings of each plan (seed {study.seed}). {HOW}", width)
    lines += paragraph(nominal_text(outcome.scenario, first.rank, outcome.under, f"{FOR_BULGE} {OTHERS}"), width)
    if risks:
        lines += [*heading("Plans by their risk", width), *_table(outcome, risks, width)]
    lines += ended_early(study.unfinished, width)
    if study.spares:
        lines += [*heading(f"What spares are worth to plan {first.rank}", width), *_spares(study, width)]
        lines += note(
            "A spare goes up in place of a lost craft, a turnaround later; without one the craft built in its place "
            "is launched after all others.",
            width,
        )
    return closed(lines, _CAUTION, width)


def _answer(risk: PlanRisk, finish_s: float) -> str:
    text = f"Plan {risk.rank} is done after {span(finish_s)} if all goes as planned, and "
    if math.isinf(risk.finish_p90_s):
        return text + f"never in {_percent(risk.never)} of rings."
    text += f"after {span(risk.finish_p90_s)} in 90 of 100 rings ({span(risk.finish_p50_s)} in 50)."
    if risk.load_m_s is None and risk.load_kg is None:
        return text
    unit = "m/s" if risk.load_kg is None else "kg"
    return f"{text} {_load(risk)} {unit} in all craft together are enough for each in 99 of 100 flights."


def _planned(plan: Plan) -> str:
    return (
        f"Plan {plan.rank} takes {plain(plan.delta_v_m_s)} m/s and is done after {span(plan.finish_s)} if all goes as "
        "planned; what late and lost launches make of that is not known yet."
    )


def _launches(scenario: Scenario) -> str:
    """What the scenario says about its launches."""
    risk = scenario.risk or Risk()
    said = []
    if risk.slips:
        said.append(f"{_percent(risk.slip_share)} of launches slip, by {span(risk.slip_mean_s)} on average")
    if risk.loss_share > 0.0:
        built = (
            "none is built in its place"
            if math.isinf(risk.replaced_after_s)
            else f"another can lift off {span(risk.replaced_after_s)} after that"
        )
        ready = "no spare stands ready" if risk.spares == 0 else f"{risk.spares} spares stand ready"
        ready = "1 spare stands ready" if risk.spares == 1 else ready
        said.append(f"{_percent(risk.loss_share)} are lost, where {ready} and {built}")
    return f"{'; '.join(said) or 'No launch slips or is lost'}."


def _table(outcome: Outcome, risks: Sequence[PlanRisk], width: int) -> list[str]:
    plans = {plan.rank: plan for plan in outcome.plans}
    loaded = any(risk.load_m_s is not None for risk in risks)
    load = "99 in 100 load, kg" if any(risk.load_kg is not None for risk in risks) else "99 in 100 burn, m/s"
    dated = any(risk.in_time is not None for risk in risks)
    shown = risks[:ROWS_SHOWN]
    filled = [
        figures("plan", cells=[str(risk.rank) for risk in shown]),
        figures("planned, m/s", cells=[plain(plans[risk.rank].delta_v_m_s) for risk in shown]),
        figures(load, cells=[_load(risk) for risk in shown]) if loaded else None,
        figures("done as planned", cells=[span(plans[risk.rank].finish_s) for risk in shown]),
        figures("50 in 100", cells=[_date(risk.finish_p50_s) for risk in shown]),
        figures("90 in 100", cells=[_date(risk.finish_p90_s) for risk in shown]),
        figures("in time", cells=[_percent(risk.in_time or 0.0) for risk in shown]) if dated else None,
    ]
    lines = table(filled, width)
    if len(risks) > ROWS_SHOWN:
        lines += note(f"and {len(risks) - ROWS_SHOWN} more in the file (--json PATH).", width)
    return lines


def _spares(study: RiskStudy, width: int) -> list[str]:
    dates = [[_date(one.value) for one in done.done] for _, done in study.spares]
    filled: list[Cells] = [
        figures("spares", cells=[str(count) for count, _ in study.spares]),
        *(figures(f"{share} in 100", cells=[row[i] for row in dates]) for i, share in enumerate((50, 90, 99))),
        figures("never", cells=[_percent(done.never) for _, done in study.spares]),
    ]
    return table(filled, width)


def _load(risk: PlanRisk) -> str:
    return plain(risk.load_kg, 2) if risk.load_kg is not None else plain(risk.load_m_s or 0.0)


def _date(time_s: float) -> str:
    return span(time_s) if math.isfinite(time_s) else "never"


def _percent(share: float) -> str:
    return f"{plain(100.0 * share, 1)} %"


def risk_values(risk: PlanRisk) -> dict[str, Any]:
    """The risk of one plan as values of the JSON; dates that never come are null."""
    return {
        "plan": risk.rank,
        "load_p99_m_s": None if risk.load_m_s is None else round(risk.load_m_s, 4),
        "load_p99_kg": None if risk.load_kg is None else round(risk.load_kg, 4),
        "finish_p50_s": _seconds(risk.finish_p50_s),
        "finish_p90_s": _seconds(risk.finish_p90_s),
        "share_in_time": risk.in_time,
        "share_never": risk.never,
    }


def _seconds(time_s: float) -> float | None:
    return round(time_s, 1) if math.isfinite(time_s) else None


def risk_json(study: RiskStudy) -> str:
    """The study as JSON: delta-v in m/s, masses in kg, times in s from the epoch."""
    values = {
        "format": "ringwright-risk/1",
        "title": study.outcome.scenario.title,
        "samples": study.samples,
        "seed": study.seed,
        **nominal_forces(study.outcome.plans[0].rank, study.outcome.under),
        "plans": [risk_values(one.risk) for one in study.plans],
        "spares": [{"spares": count, **_done(done)} for count, done in study.spares],
        "unfinished": study.unfinished or None,
    }
    return json_text(values, indent=1)


def _done(done: Completion) -> dict[str, Any]:
    shares = {f"finish_p{100 * share:g}_s": _seconds(one.value) for share, one in zip(SHARES, done.done, strict=True)}
    return {**shares, "share_in_time": done.in_time, "share_never": done.never}


def write_risk(study: RiskStudy, directory: str | Path) -> Path:
    """Write ``risk.json``, ``risk.txt`` and the figure ``completion.svg``, ``.png``; raises as `write_answer` does."""
    from .figures.completion import draw_completion

    texts = {"risk.json": risk_json(study), "risk.txt": risk_text(study, 110)}
    write_answer(directory, texts, "completion", lambda: draw_completion(study))
    return Path(directory)
