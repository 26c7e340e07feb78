"""Slips and losses as text and as JSON."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from ..models.readouts import instant, plain, span
from ..optimizer.studies.questions import Price
from ..optimizer.studies.slips import Launch, Loss, Slip, Slips
from .layout import Cells, closed, ended_early, figures, heading, note, paragraph, table, words
from .remarks import CAUTION
from .under_forces import nominal_forces, nominal_text
from .values import json_text
from .wording import goal_text

FORMAT = "ringwright-slips/1"

UP = " Those that are up are called when all are in place, within the limits."
"""What is said of spares that are up, which are not launched."""

BY_CATALOGUE = "The catalogue, and so each difference below, is for the bulge alone."

NOT_REACHED, NOT_SEARCHED = "not reached", "*"
"""What stands for an answer that the search was ended before, and behind a plan that may not be the best."""


PLANES = (
    " Of several planes the one of the lost craft is spread by itself: where its slots then stand against those of the "
    "others is free, and craft for other planes fly as planned."
)
"""What is said where the ring has several planes."""


def slips_text(slips: Slips, width: int) -> str:
    """What a console shows, no line longer than ``width``; times from the scenario's epoch."""
    scenario, flown, named = slips.scenario, slips.flown, "As planned" if slips.rank == 1 else f"Plan {slips.rank}"
    by_catalogue = _delta_v(slips.planned)
    differs = "" if by_catalogue == plain(flown.delta_v_m_s) else f", which puts this plan at {by_catalogue} m/s"
    lines = paragraph(scenario.title, width)
    lines += paragraph(
        f"{named}: {plain(flown.delta_v_m_s)} m/s in all, the last craft in its slot after "
        f"{span(flown.finish_s)}. What follows is by the catalogue{differs}.{goal_text(slips.rank, scenario)}",
        width,
    )
    lines += paragraph(nominal_text(scenario, slips.rank, slips.under, BY_CATALOGUE), width)
    for launch in slips.launches:
        lines += heading(launch.name, width)
        if launch.planned_s is not None:
            riding = "" if launch.craft == (launch.name,) else f" with {', '.join(launch.craft)}"
            lines += note(f"Liftoff{riding} planned for {instant(scenario.epoch, launch.planned_s)}.", width)
        if launch.slips:
            lines += table(_slipped(slips, launch), width)
        for name, loss in zip(_owners(launch), launch.losses, strict=True):
            for text in _loss_lines(slips, name, loss):
                lines += paragraph(text, width, indent="  ", hang="    ")
    marked = f" (marked {NOT_SEARCHED})" if slips.searched < slips.reached else ""
    lines += [*ended_early(slips.unfinished and f"{slips.unfinished}{marked}", width), ""]
    lines += paragraph(
        "Best plans by the goal over the catalogue, not flown; what went up before a slip keeps its slot. Spares are "
        f"like the craft that they replace and are launched no sooner than {span(slips.spare_after_s)} later, without "
        "regard to the latest finish; delta-v is that of all craft, the launchers' and carriers' left out. For an even "
        "ring craft that stay move, too."
        + (PLANES if scenario.ring.planes > 1 else "")
        + (UP if scenario.spares else ""),
        width,
    )
    return closed(lines, CAUTION, width)


def _delta_v(price: Price, less_m_s: float = 0.0) -> str:
    return plain(price.delta_v_m_s - less_m_s) + ("" if price.searched else NOT_SEARCHED)


def _owners(launch: Launch) -> list[str]:
    """The craft that each loss is about: on the pad and in orbit, craft by craft."""
    each = len(launch.losses) // max(len(launch.craft), 1)
    return [name for name in launch.craft for _ in range(each)]


def _slipped(slips: Slips, launch: Launch) -> list[Cells]:
    """What each slip of a launch makes of the best plan."""
    was, prices = slips.planned, [slip.price for slip in launch.slips]

    def said(say: Callable[[Price], str]) -> list[str]:
        return ["" if price is None else say(price) for price in prices]

    def liftoff(slip: Slip) -> str:
        if slip.price is None:
            return "NO PLAN keeps the limits" if slip.reached else NOT_REACHED
        return "" if slip.price.liftoff_s is None else instant(slips.scenario.epoch, slip.price.liftoff_s)

    def later(price: Price) -> str:
        by_s = price.finish_s - was.finish_s
        return ("-" if by_s < 0.0 else "") + span(abs(by_s))

    return [
        words("late by", [span(slip.late_s) for slip in launch.slips]),
        words("next good liftoff", [liftoff(slip) for slip in launch.slips], wraps=True),
        figures("m/s more", cells=said(lambda price: _delta_v(price, was.delta_v_m_s))),
        figures("done after", cells=said(lambda price: span(price.finish_s))),
        figures("later by", cells=said(later)),
    ]


def _loss_lines(slips: Slips, name: str, loss: Loss) -> list[str]:
    where = "dies in its slot" if loss.in_orbit else "is lost on the pad"
    lines = []
    if loss.in_orbit:
        since = 0.0 if loss.gap is None else loss.gap.finish_s
        lines.append(f"{name} {where}, all in place after {span(since)}:")
    else:
        lines.append(f"{name} {where}:")
        lines.append(f"- leave the gap: {_price(loss, 'gap')}")
    what = "ring" if slips.scenario.ring.planes == 1 else "plane"
    even = f"the {what} of {slips.scenario.ring.slots - 1} evenly again costs " if loss.spread is not None else ""
    spread = loss.why_not_spread or even + _price(loss, "spread", " in all")
    lines.append(f"- spread the others{' in its plane' if what == 'plane' else ''} evenly: {spread}")
    if loss.in_orbit and slips.scenario.spares:
        named = f"{loss.caller}, " if loss.caller else ""
        lines.append(f"- call a spare that is up: {named}{_price(loss, 'called')}")
    lines.append(f"- wait for a spare: {loss.why_no_spare or _price(loss, 'spare')}")
    return lines


def _price(loss: Loss, which: Literal["gap", "spread", "spare", "called"], said: str = "") -> str:
    price: Price | None = getattr(loss, which)
    if which in loss.unreached:
        return f"{NOT_REACHED}."
    if price is None:
        return "no plan keeps the limits."
    # times count from the last arrival for one in orbit, else from the epoch
    since_s = loss.gap.finish_s if loss.in_orbit and loss.gap is not None else 0.0
    after = f"done {span(price.finish_s - since_s)} later" if since_s else f"done after {span(price.finish_s)}"
    return f"{_delta_v(price)} m/s{said}, {after}."


def slips_json(slips: Slips) -> str:
    """The same as strict JSON, a newline at the end."""
    values = {
        "format": FORMAT,
        "title": slips.scenario.title,
        **nominal_forces(slips.rank, slips.under),
        "planned": _as_json(slips.flown),
        "planned_by_catalogue": _as_json(slips.planned) if slips.planned_reached else None,
        "spare_after_s": round(slips.spare_after_s, 3),
        "unfinished": slips.unfinished or None,
        "launches": [_launch(launch) for launch in slips.launches],
    }
    return json_text(values)


def _launch(launch: Launch) -> dict[str, Any]:
    return {
        "name": launch.name,
        "craft": list(launch.craft),
        "launch_s": None if launch.planned_s is None else round(launch.planned_s, 3),
        "slips": [
            {"late_s": slip.late_s, "reached": slip.reached, "plan": _as_json(slip.price)} for slip in launch.slips
        ],
        "losses": [
            {
                "craft": name,
                "where": "in orbit" if loss.in_orbit else "on the pad",
                "gap": _as_json(loss.gap),
                "spread": _as_json(loss.spread),
                "why_not_spread": loss.why_not_spread or None,
                "spare": _as_json(loss.spare),
                "why_no_spare": loss.why_no_spare or None,
                "called": _as_json(loss.called),
                "called_spare": loss.caller or None,
                "not_reached": sorted(loss.unreached),
            }
            for name, loss in zip(_owners(launch), launch.losses, strict=True)
        ],
    }


def _as_json(price: Price | None) -> dict[str, Any] | None:
    if price is None:
        return None
    return {
        "delta_v_m_s": round(price.delta_v_m_s, 6),
        "finish_s": round(price.finish_s, 3),
        "liftoff_s": None if price.liftoff_s is None else round(price.liftoff_s, 3),
        "searched": price.searched,
    }
