"""Limits at the edge: the scenario's key with its unit, the value in that unit, and plain words for it.

Inside, limits are SI and named by their key (``limits.finish_within``); a reader knows them as the scenario file
spells them (``limits.finish_within_d``, in days).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from ..models.readouts import plain, span
from ..models.scenario import Source
from ..optimizer.limits.limit import DEGREE, LimitWords
from ..optimizer.limits.registry import words_of
from ..optimizer.outcome import Bind, Broken, Infeasible, Margin, Outcome, Plan
from .wording import small

# Longest first, so that a key ends in its whole unit.
_UNITS = (
    ("_km3_s2", 1e9, "km3/s2"),
    ("_km_s", 1e3, "km/s"),
    ("_m_s", 1.0, "m/s"),
    ("_deg", DEGREE, "deg"),
    ("_rad", 1.0, "rad"),
    ("_min", 60.0, "min"),
    ("_km", 1e3, "km"),
    ("_kg", 1.0, "kg"),
    ("_kn", 1e3, "kN"),
    ("_m", 1.0, "m"),
    ("_s", 1.0, "s"),
    ("_h", 3600.0, "h"),
    ("_d", 86400.0, "d"),
    ("_t", 1e3, "t"),
    ("_n", 1.0, "N"),
)


def limit_key(limit: str) -> str:
    """Spell a limit as the scenario file does, unit included.

    >>> limit_key("limits.finish_within"), limit_key("limits.clearance_km"), limit_key("limits.revolutions_max")
    ('limits.finish_within_d', 'limits.clearance_km', 'limits.revolutions_max')
    """
    known = words_of(limit)
    return limit if known is None else f"{limit}{known.suffix}"


def as_written(limit: str, source: Source) -> str:
    """A limit with the unit that the scenario file gives it in; as it is where the file gives none.

    >>> as_written("launch.turnaround", Source(spelled={"launch.turnaround": "turnaround_d"}))
    'launch.turnaround_d'
    """
    table, dot, _ = limit.rpartition(".")
    spelled = source.spelled.get(limit, "")
    return f"{table}{dot}{spelled}" if spelled.endswith(tuple(suffix for suffix, _, _ in _UNITS)) else limit


_Judged = TypeVar("_Judged", Bind, Broken, Margin)


def _all_as_written(judged: tuple[_Judged, ...], source: Source) -> tuple[_Judged, ...]:
    return tuple(replace(one, limit=as_written(one.limit, source)) for one in judged)


def plan_as_written(plan: Plan, source: Source) -> Plan:
    """A plan whose limits are named as the scenario file spells them; values stay SI."""
    return replace(plan, broken=_all_as_written(plan.broken, source), margins=_all_as_written(plan.margins, source))


def infeasible_as_written(why: Infeasible | None, source: Source) -> Infeasible | None:
    """The limits that bind, named as the scenario file spells them; values stay SI."""
    return None if why is None else replace(why, binds=_all_as_written(why.binds, source))


def outcome_as_written(outcome: Outcome) -> Outcome:
    """An outcome whose limits are all named as the scenario file spells them; values stay SI."""
    source = outcome.scenario.source
    return replace(
        outcome,
        plans=tuple(plan_as_written(plan, source) for plan in outcome.plans),
        infeasible=infeasible_as_written(outcome.infeasible, source),
    )


def limit_words(limit: str) -> LimitWords:
    """Unit and words of a limit, from its key with or without unit; a key unknown here is said by its own name.

    >>> limit_words("limits.wait_within_h").unit, limit_words("launch.turnaround").unit
    ('h', 'h')
    """
    known = words_of(limit)
    if known is not None:
        return known
    name = limit.rpartition(".")[2]
    for suffix, per_unit, unit in _UNITS:
        if name.endswith(suffix):
            bare = words_of(limit.removesuffix(suffix))
            words = name.removesuffix(suffix).replace("_", " ") if bare is None else bare.words
            floor = bare is not None and bare.floor
            return LimitWords(suffix=suffix, per_unit=per_unit, unit=unit, words=words, floor=floor)
    return LimitWords(suffix="", per_unit=1.0, unit="", words=name.replace("_", " "))


def limit_value(limit: str, value: float) -> float:
    """Convert a limit's SI value into the unit of its key.

    >>> limit_value("limits.finish_within", 216_000.0)
    2.5
    """
    return value / limit_words(limit).per_unit


def limit_amount(limit: str, value: float) -> str:
    """A limit's SI value in words, as every output prints it.

    >>> limit_amount("limits.finish_within", 216_000.0), limit_amount("ring.tolerance", 1e-6)
    ('2 d 12 h', 'under 0.001 deg')
    """
    words = limit_words(limit)
    if words.unit in {"d", "h", "min", "s"}:
        return span(value)
    shown = limit_value(limit, value)
    unit = f" {words.unit}" if words.unit else ""
    if words.unit == "deg" and abs(shown) >= 0.0005:
        return f"{shown:.3f}".rstrip("0").rstrip(".") + unit
    if 0.0 < abs(shown) < 0.0005:
        return f"under 0.001{unit}"
    return f"{small(shown) if 0.0 < abs(shown) < 0.1 else plain(shown).removesuffix('.0')}{unit}"


def room_of(margin: Margin) -> float:
    """Room under a limit, SI units; negative where it is broken."""
    return margin.value - margin.allowed if margin.sense == "at least" else margin.allowed - margin.value


def room_amount(margin: Margin, broken: Sequence[Broken]) -> str:
    """Room under a limit in words: the difference of the two amounts as printed, so that a reader finds the same.

    Args:
        margin: of a plan.
        broken: what the plan breaks: what is over by no more than a limit's own tolerance is at the limit.

    >>> room_amount(Margin(limit="craft.delta_v", craft="Elm", value=491.66, allowed=1017.14, sense="at most"), ())
    '525.4 m/s'
    """
    room = room_of(margin)
    over = any(one.limit == margin.limit for one in broken)
    if not over and room <= 1e-3 * max(abs(margin.allowed), abs(margin.value)):
        return "none: at the limit"
    words = limit_words(margin.limit)
    if words.unit not in {"d", "h", "min", "s"}:
        places = 3 if words.unit == "deg" else 1
        printed = [round(one / words.per_unit, places) for one in (margin.value, margin.allowed)]
        room = math.copysign(abs(printed[0] - printed[1]), room) * words.per_unit or room
    return f"OVER by {limit_amount(margin.limit, -room)}" if over else limit_amount(margin.limit, room)


def serving_text(bind: Bind) -> str:
    """A limit with the value that would serve, and to which side; empty where none is known."""
    if bind.serves is None:
        return ""
    less = "less" if limit_words(bind.limit).floor else "more"
    return f"{limit_key(bind.limit)} = {serving_value(bind.limit, bind.serves, 4):.12g} or {less}"


def room_text(limit: str, share: float) -> str:
    """A limit in words with the share of it that is left."""
    return f"{limit_words(limit).words} ({'at the limit' if share <= 1e-3 else f'{100.0 * share:.0f} % left'})"


def serving_value(limit: str, value: float, places: int = 6) -> float:
    """Convert an SI value that would serve into the unit of its key, rounded to the side that serves.

    A lower bound is eased by lowering it, an upper bound by raising it.

    >>> serving_value("limits.finish_within", 251_425.0, places=2)
    2.92
    >>> serving_value("limits.clearance", 15_678.0, places=1)
    15.6
    """
    exact = limit_value(limit, value)
    near = round(exact, places)
    slack = 1e-12 * max(1.0, abs(exact))
    step = 10.0**-places
    if limit_words(limit).floor:
        return near if near <= exact + slack else round(near - step, places)
    return near if near >= exact - slack else round(near + step, places)
