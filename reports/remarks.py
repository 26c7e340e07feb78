"""What there is to know besides a plan, and the caution that stands beneath."""

from __future__ import annotations

from collections.abc import Sequence

from ..optimizer.outcome import Outcome
from .layout import heading, paragraph
from .wording import folded, sentence

CAUTION = (
    "A planning aid, not flight software. Range safety, conjunction screening, re-entry and disposal, radio "
    "licensing and the vehicle's own rules are decided by the licensed operator and the authorities, and they prevail "
    "over anything printed here."
)


def remark_lines(outcome: Outcome, width: int) -> list[str]:
    return to_know(remark_texts(outcome), width)


def to_know(sentences: Sequence[str], width: int) -> list[str]:
    """Sentences under the heading `To know`, nothing without any."""
    lines = [line for text in sentences for line in paragraph(text, width, indent="  ", hang="    ")]
    return [*heading("To know", width), *lines] if lines else []


def remark_texts(outcome: Outcome) -> list[str]:
    """What there is to know besides: how the ring's phase was chosen, what is missing, what was noted."""
    remarks = [sentence(outcome.phase_rule)] if outcome.phase_rule else []
    if outcome.unfinished and outcome.plans:
        remarks.append(sentence(f"The search ended early: {outcome.unfinished}"))
    remarks += [sentence(note) for note in (*outcome.notes, *outcome.scenario.warnings)]
    return folded(remarks)
