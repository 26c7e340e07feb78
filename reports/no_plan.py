"""Which limit leaves no plan, what would serve, and what comes nearest."""

from __future__ import annotations

from ..models.readouts import plain, span
from ..optimizer.outcome import Bind, Infeasible, Outcome
from .flown_words import model_words
from .layout import closed, heading, paragraph
from .limits import limit_amount, limit_key, limit_value, limit_words, outcome_as_written, serving_value
from .remarks import CAUTION, remark_lines
from .wording import sentence, way_text


def infeasible_text(outcome: Outcome, width: int = 80) -> str:
    """Say which limit leaves no plan, and what would serve."""
    outcome = outcome_as_written(outcome)
    scenario, why = outcome.scenario, outcome.infeasible
    lines = paragraph(scenario.title, width)
    lines.append("")
    if outcome.unfinished and why is None:
        lines += paragraph(
            "NO PLAN YET, AND UNDECIDED whether there is one: the search ended early. "
            f"{sentence(outcome.unfinished)} --time-limit and --memory-limit allow more.",
            width,
        )
    elif why is None:
        lines += paragraph("There is no plan: no craft is to be moved.", width)
    else:
        several = len(why.binds) > 1
        lines += paragraph("NO PLAN KEEPS ALL LIMITS" + (f": {why.reason}." if why.reason else "."), width)
        if several:
            lines += paragraph(_binding_text(why), width)
        lines.append("")
        for bind in why.binds:
            lines += paragraph(_bind_text(bind), width, indent="  ", hang="      ")
        lines.append("")
        if not why.by_places:
            lines += paragraph(f"Judged over the catalogue of options, {model_words(outcome)}.", width)
    return closed([*lines, *_rejected(outcome, width), *remark_lines(outcome, width)], CAUTION, width)


def _binding_text(why: Infeasible) -> str:
    """How several limits bind: all at once, some of them, or each by itself."""
    known = [bind.serves is not None for bind in why.binds]
    if why.together and any(known):
        return "These limits bind together; all of them have to give:"
    if why.together:
        return "More than two of these limits bind together; easing two of them is not enough:"
    return "Easing any one of these limits would serve:" if all(known) else "These limits stand in the way:"


def _rejected(outcome: Outcome, width: int) -> list[str]:
    """The plans that come nearest to keeping their limits, each with what it breaks and by how much."""
    if not outcome.rejected:
        return []
    lines = heading("What comes nearest", width)
    for plan in outcome.rejected:
        parts = [f"{plain(plan.delta_v_m_s)} m/s, done after {span(plan.finish_s)}: DO NOT FLY IT."]
        for broken in plan.broken:
            words = limit_words(broken.limit)
            over = limit_amount(broken.limit, abs(broken.value - broken.allowed))
            parts.append(
                f"{broken.craft}, {words.words}: {limit_amount(broken.limit, broken.value)}, where "
                f"{limit_key(broken.limit)} allows {'no less than' if words.floor else 'no more than'} "
                f"{limit_amount(broken.limit, broken.allowed)}: {over} {'too little' if words.floor else 'too much'}."
            )
        ways = [f"{part.craft} into slot {part.slot}, {way_text(part)}" for part in plan.craft]
        lines += paragraph(" ".join([*parts, f"{'; '.join(ways)}."]), width, indent="  ", hang="    ")
    return lines


def _bind_text(bind: Bind) -> str:
    words = limit_words(bind.limit)
    unit = f" {words.unit}" if words.unit else ""
    now = f"{limit_key(bind.limit)} = {limit_value(bind.limit, bind.value):.6g} ({words.words})"
    if bind.serves is None:
        return f"{now}: no value that was tried serves."
    serves = serving_value(bind.limit, bind.serves, 4)
    return f"{now}: {serves:.12g}{unit} or {'less' if words.floor else 'more'} would serve."
