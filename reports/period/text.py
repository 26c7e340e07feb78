"""The one-craft question on the console: the period at cut-off, every option, and where a period that was read leads.

Plain text, no line longer than the width asked for. Costs and times come from ``optimizer/period.py``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...models.reading.cautions import HILL_SHARE
from ...models.readouts import brief, clock, plain, span
from ...models.scenario import Body
from ...optimizer.period import TIE_M_S, TIE_S, Periods, Serving, binding, fitting, free_rows, within_radii
from ..layout import closed, figures, note, paragraph, table, words
from ..remarks import CAUTION
from ..wording import count, small
from .question import Asked
from .reached import reached_lines
from .words import (
    WORTH_M_S,
    after,
    altitude_km,
    fits,
    signed_burn,
    tolerance,
    underlined,
)

ROWS_SHOWN = 12
"""Options listed unless all are asked for."""


def period_text(asked: Asked, rows: Periods, width: int, *, saved: str = "") -> str:
    """Set the answer."""
    lines = [
        *_question(asked, width),
        "",
        *_answer(asked, rows, width),
        *_must_burn(asked, width),
        *_tables(asked, rows, width),
        *_exactness(asked, rows, width),
        *reached_lines(asked, rows, width),
        *_saved(saved, width),
    ]
    return closed(lines, CAUTION, width)


def nothing_text(asked: Asked, width: int, *, saved: str = "") -> str:
    """Say that no period fits, which limits bind, and what would serve."""
    body = asked.body
    sets = binding(asked.question, body.radius_m + body.atmosphere_top_m)
    together = any(len(several) > 1 for several in sets)
    lines = [*_question(asked, width), "", "NO PERIOD FITS ALL LIMITS."]
    if together:
        lines += paragraph("Easing one limit is not enough; any of these together would do:", width)
    elif sets:
        lines += paragraph("This would do:" if len(sets) == 1 else "Any one of these would do:", width)
    lines += [""] if sets else []
    for several in sets:
        lines += paragraph(
            f"{' and '.join(_serving_text(one, body) for one in several)}.", width, indent="  ", hang="      "
        )
    lines += _must_burn(asked, width)
    lines += reached_lines(asked, fitting(asked.question), width)
    return closed([*lines, *_saved(saved, width)], CAUTION, width)


def _serving_text(serving: Serving, body: Body) -> str:
    """The limit as typed and the nearest value that would serve, rounded to the side that does."""
    value, serves = serving.value, serving.serves
    if serving.limit == "within":
        return f"--within {clock(math.ceil(serves), 0)} instead of {span(value)}"
    if serving.limit == "revolutions":
        return f"--revolutions {serves:.0f} instead of {value:.0f}"
    now_km, serves_km = (value - body.radius_m) / 1e3, (serves - body.radius_m) / 1e3
    if serving.limit == "floor":
        lower_km = max(math.floor(serves_km * 1e3) / 1e3, body.atmosphere_top_m / 1e3)
        return f"--floor {_typed_km(lower_km)} instead of {brief(now_km)} km"
    return f"--ceiling {_typed_km(math.ceil(serves_km * 1e3) / 1e3)} instead of {brief(now_km)} km"


def _typed_km(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".") + "km"


def _body_name(asked: Asked) -> str:
    return asked.body.name if asked.built_in else "the body"


def _altitude(asked: Asked, radius_m: float) -> str:
    return f"{brief((radius_m - asked.body.radius_m) / 1e3)} km"


def _lead_words(asked: Asked) -> str:
    degrees = math.degrees(asked.question.lead_rad)
    if degrees == 0.0:
        return "where the craft is"
    return f"{brief(abs(degrees))} deg {'ahead of' if degrees > 0.0 else 'behind'} the craft"


def _question(asked: Asked, width: int) -> list[str]:
    question = asked.question
    ring_m, other_m = question.ring_radius_m, question.other_m
    if other_m == ring_m:
        where = "The craft is on the ring"
    else:
        low, high = sorted(((other_m - asked.body.radius_m) / 1e3, (ring_m - asked.body.radius_m) / 1e3))
        apsis = "apoapsis" if other_m < ring_m else "periapsis"
        where = f"The craft comes to the ring at the {apsis} of {brief(low)} x {brief(high)} km"
    lines = paragraph(
        f"Ring {_altitude(asked, ring_m)} above {_body_name(asked)}, two-body period {clock(question.ring.period_s)}. "
        f"{where}; when it burns there, the slot is {_lead_words(asked)}.",
        width,
    )
    limits = [f"nothing below {_altitude(asked, question.floor_m)}{_floor_source(asked)}"]
    if math.isfinite(question.ceiling_m):
        limits.append(f"nothing above {_altitude(asked, question.ceiling_m)}")
    limits.append(f"at most {count(question.revolutions_max, 'revolution')}")
    if math.isfinite(question.within_s):
        limits.append(f"in the slot within {span(question.within_s)}")
    lines += paragraph(f"Limits: {'; '.join(limits)}.", width)
    if abs(asked.off_ring_m) > 1.0:
        off = f"{brief(abs(asked.off_ring_m) / 1e3, 3)} km {'above' if asked.off_ring_m > 0.0 else 'below'}"
        lines += paragraph(f"The apsis at the ring was given {off} it and is taken as on it.", width)
    return lines


def _floor_source(asked: Asked) -> str:
    if asked.floor_typed:
        return ""
    if asked.body.atmosphere_top_m > 0.0:
        return " (the top of the atmosphere)"
    return " (the surface: no atmosphere is known here, --floor sets another altitude)"


def _way(rows: Periods, row: int) -> str:
    """What one row does, as said after "the craft"."""
    k = int(rows.revolutions[row])
    if k == 0:
        return "is in its slot at once"
    gained = math.degrees(float(rows.gained_rad[row]))
    verb, orbit = ("gains", "lower") if gained > 0.0 else ("falls back", "higher")
    return f"{verb} {brief(abs(gained))} deg in {count(k, 'revolution')} of a {orbit} orbit"


def _side(rows: Periods, row: int) -> str:
    if rows.revolutions[row] == 0:
        return "no phasing"
    return "lower, gains" if rows.gained_rad[row] > 0.0 else "higher, falls back"


def _answer(asked: Asked, rows: Periods, width: int) -> list[str]:
    cheapest, soonest = rows.cheapest, rows.soonest
    if rows.total_m_s[cheapest] <= TIE_M_S:
        return paragraph("The craft is in its slot already: there is nothing to burn.", width)
    if abs(rows.wait_s[cheapest] - rows.wait_s[soonest]) <= TIE_S:
        return paragraph(f"Cheapest and soonest: {_answer_text(rows, cheapest)}", width)
    lines = paragraph(f"Cheapest: {_answer_text(rows, cheapest)}", width)
    lines += paragraph(f"Soonest: {_answer_text(rows, soonest)}", width)
    sooner = float(rows.wait_s[cheapest] - rows.wait_s[soonest])
    dearer = float(rows.total_m_s[soonest] - rows.total_m_s[cheapest])
    return lines + paragraph(f"Being {span(sooner)} sooner costs {plain(dearer)} m/s more.", width)


def _answer_text(rows: Periods, row: int) -> str:
    period, total = clock(float(rows.period_s[row])), plain(float(rows.total_m_s[row]))
    if rows.revolutions[row] == 0:
        return f"cut off at the ring's period, {period}. The craft {_way(rows, row)}, for {total} m/s."
    return (
        f"cut off at a period of {period}. The craft {_way(rows, row)} and is in its slot after "
        f"{span(float(rows.wait_s[row]))}, for {total} m/s in all."
    )


def _must_burn(asked: Asked, width: int) -> list[str]:
    question = asked.question
    lines: list[str] = []
    if question.must_burn:
        miss = " A miss re-enters." if question.other_m < asked.body.radius_m + asked.body.atmosphere_top_m else ""
        lines += paragraph(
            f"THE FIRST BURN CANNOT WAIT: the coast comes down to {_altitude(asked, question.other_m)}, below the "
            f"lowest altitude allowed, so there is no second pass. It must come on the first arrival and lift the "
            f"orbit at once.{miss}",
            width,
        )
    elif not within_radii(question, question.other_m):
        lines += paragraph(
            f"The arrival orbit itself reaches {_altitude(asked, question.other_m)}, above the highest altitude "
            "allowed: the limit is kept from the first burn on.",
            width,
        )
    return ["", *lines] if lines else []


def _shown(rows: Periods, every: bool) -> list[int]:
    """Rows to list: at each time only the cheapest, the unbeaten first of all, up to a screenful."""
    if every:
        return list(range(len(rows)))
    least = np.array([rows.total_m_s[np.abs(rows.wait_s - wait) <= TIE_S].min() for wait in rows.wait_s])
    worth = np.flatnonzero(rows.total_m_s <= least + TIE_M_S)
    if worth.size <= ROWS_SHOWN:
        return [int(row) for row in worth]
    kept = [int(row) for row in worth if rows.unbeaten[row]]
    if len(kept) > ROWS_SHOWN:
        kept = [*kept[: ROWS_SHOWN - 1], rows.cheapest]
    rest = [int(row) for row in worth if row not in kept]
    return sorted([*kept, *rest[: ROWS_SHOWN - len(kept)]])


def _mark(rows: Periods, row: int) -> str:
    if not rows.unbeaten[row]:
        return ""
    cheapest = rows.total_m_s[row] <= rows.total_m_s.min() + TIE_M_S
    soonest = rows.wait_s[row] <= rows.wait_s.min() + TIE_S
    return "best" if cheapest and soonest else "cheapest" if cheapest else "soonest" if soonest else "unbeaten"


_MARKS = {
    "best": "best: cheapest and soonest at once",
    "unbeaten": "unbeaten: no other is better in delta-v or time and no worse in the other",
}


def _tables(asked: Asked, rows: Periods, width: int) -> list[str]:
    """The options by time; stops of one ladder by themselves, in the order in which the burn meets them."""
    shown = _shown(rows, asked.every)
    free = free_rows(asked.question, rows) & (rows.revolutions > 0)
    ladder = [row for row in shown if free[row]]
    if len(ladder) < 2:
        lines = _table(asked, rows, shown, "The options, by time", width, "")
    else:
        forward = asked.question.ring.speed_m_s > asked.question.arrival_speed_m_s
        ladder.sort(key=lambda row: float(rows.period_s[row]), reverse=not forward)
        alike = (
            f"Each stop costs {plain(float(rows.total_m_s[ladder[0]]))} m/s in all, no more than going to the ring at "
            "once: a burn that goes past one goes on to the next."
        )
        lines = _table(asked, rows, ladder, "One ladder of stops, in the order of the burn", width, alike)
        others = [row for row in shown if row not in ladder]
        lines += _table(asked, rows, others, "Other options, by time", width, "") if others else []
    hidden = len(rows) - len(shown)
    if hidden:
        lines += note(
            f"{count(hidden, 'more option fits', 'more options fit')}, dearer than another at the same time or later: "
            "--all lists them.",
            width,
        )
    return lines + _far(asked, rows, shown, width)


def _table(asked: Asked, rows: Periods, shown: list[int], title: str, width: int, remark: str) -> list[str]:
    """Some rows under a title and over a remark; their burns in a table by themselves where the width asks for it."""
    phased = [row for row in shown if rows.revolutions[row] > 0]
    now, now_way = _burns([float(rows.burn_now_m_s[row]) for row in shown])
    later, later_way = _burns([float(rows.burn_later_m_s[row]) for row in phased])
    following = dict(zip(phased, later, strict=True))
    slopes = [small(math.degrees(float(rows.slot_rad_per_s[row]))) if row in phased else "-" for row in shown]
    filled = {
        "number": figures("no.", cells=[str(row + 1) for row in shown]),
        "turns": figures("revo-", "lutions", cells=[str(rows.revolutions[row]) for row in shown]),
        "side": words("orbit", [_side(rows, row) for row in shown]),
        "period": figures("period at", "cut-off", cells=[clock(float(rows.period_s[row])) for row in shown]),
        "apsis": figures("other", "apsis", "km", cells=[altitude_km(asked, float(rows.other_m[row])) for row in shown]),
        "now": figures("burn now", "m/s", now_way, cells=now),
        "later": figures("burn later", "m/s", later_way, cells=[following.get(row, "-") for row in shown]),
        "total": figures("total", "m/s", cells=[plain(float(rows.total_m_s[row])) for row in shown]),
        "after": figures("in slot", "after", cells=[after(rows, row) for row in shown]),
        "slope": figures("slot deg", "per s of", "period", cells=slopes),
        "mark": words("", [_mark(rows, row) for row in shown]),
    }
    whole = ["turns", "side", "period", "apsis", "now", "later", "total", "after", "slope", "mark"]
    marks = "; ".join(_MARKS[name] for name in _MARKS if name in filled["mark"].cells)
    remarks = [line for text in (f"{marks}.", remark) if len(text) > 1 for line in note(text, width)]
    lines = ["", *underlined(title)]
    if fits([filled[name] for name in whole], width):
        lines += [*table([filled[name] for name in whole], width), *remarks]
    else:
        first = ["number", "turns", "side", "period", "total", "after", "mark"]
        lines += [*table([filled[name] for name in first], width), *remarks]
        lines += ["", *underlined("Their burns")]
        lines += table([filled[name] for name in ["number", "period", "apsis", "now", "later", "slope"]], width)
    return lines


def _far(asked: Asked, rows: Periods, shown: Sequence[int], width: int) -> list[str]:
    reach_m = HILL_SHARE * asked.body.hill_radius_m
    far = [row for row in shown if rows.other_m[row] > reach_m]
    if not far:
        return []
    return note(
        f"{count(len(far), 'of these rises', 'of these rise')} past a third of the Hill radius of {_body_name(asked)} "
        f"({_altitude(asked, reach_m)} up), where other bodies, left out here, pull noticeably: --ceiling keeps below.",
        width,
    )


def _burns(values_m_s: list[float]) -> tuple[list[str], str]:
    """Burns as text; where all point one way, without it, and the way for the heading."""
    burns = [signed_burn(value) for value in values_m_s]
    ways = {text.split()[-1] for text in burns if text != "0"}
    if len(ways) != 1:
        return burns, ""
    (way,) = ways
    return [text.removesuffix(f" {way}") for text in burns], way


def _exactness(asked: Asked, rows: Periods, width: int) -> list[str]:
    row = rows.cheapest
    lines = paragraph(
        "Two-body gravity and impulsive burns: an approximation that leaves out oblateness, drag, other bodies and "
        "burn arcs.",
        width,
    )
    if rows.revolutions[row] == 0 or abs(rows.burn_now_m_s[row]) < WORTH_M_S:
        return ["", *lines]
    period = clock(float(rows.period_s[row]))
    allowed_s = asked.tolerance_rad / abs(float(rows.slot_rad_per_s[row]))
    touching_s = asked.tolerance_rad / (asked.question.ring.rate_rad_s * float(rows.revolutions[row]))
    lines += paragraph(
        f"How exact: {tolerance(asked)} of tolerance allow {small(allowed_s)} s either way of {period} with the later "
        f"burn as planned (slot as the mean of the first turn, as on a maneuver sheet); {small(touching_s)} s where "
        f"that burn is made as the craft touches the ring and ends at the ring's period.{_past_text(rows, row)}",
        width,
    )
    return ["", *lines]


def _past_text(rows: Periods, row: int) -> str:
    """What to do when the burn goes past the period of a row."""
    period, forward = clock(float(rows.period_s[row])), rows.burn_now_m_s[row] > 0.0
    further = rows.period_s > rows.period_s[row] if forward else rows.period_s < rows.period_s[row]
    free = np.flatnonzero(further & (rows.total_m_s <= rows.total_m_s[row] + TIE_M_S))
    if not free.size:
        return f" What a burn goes past {period} is paid twice, as it has to be burned back: cut off early, not late."
    following = int(free[0])
    where = f"go on to {clock(float(rows.period_s[following]))}"
    if rows.revolutions[following] == 0:
        return f" Past {period} do not burn back: {where}, the ring's period. That costs no more in all."
    turns, when = count(int(rows.revolutions[following]), "revolution"), span(float(rows.wait_s[following]))
    return f" Past {period} do not burn back: {where} ({turns}, in the slot after {when}). That costs no more in all."


def _saved(saved: str, width: int) -> list[str]:
    return ["", *paragraph(f"Written: {saved}.", width, hang="    ")] if saved else []
