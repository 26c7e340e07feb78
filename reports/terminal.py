"""What the console shows of an outcome: the answer first, then what supports it, then what to do next.

Plain text, no color, no line longer than the width asked for. Every number is for a person to read; a program reads
``result.py``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from ..models.readouts import MINUTE, clock, instant, plain, span
from ..models.scenario import Scenario
from ..optimizer.craft_plan import CraftPlan, FreeForm
from ..optimizer.one_plan import plan_of_rank
from ..optimizer.outcome import Broken, Outcome, Plan
from .carriers import carrier_lines, carriers_sum
from .first_to_act import first_to_act
from .flown_words import flown_text, model_text
from .hold import hold_lines
from .keeping import plan_keeping_lines
from .layout import Cells, closed, figures, heading, note, paragraph, table, words
from .least_possible import least_possible_text
from .left_alone import left_alone_lines
from .let_go import let_go_lines
from .limits import limit_amount, limit_key, limit_words, outcome_as_written, room_amount, room_of
from .no_plan import infeasible_text
from .price_of_time import other_ways, price_of_time
from .proof_words import proof_text
from .remarks import CAUTION, remark_lines
from .risk import risk_lines
from .under_forces import force_lines
from .wording import against_text, count, heading_text, kept_text, listed, slot0_text, way_text

UNDECIDED = "No plan yet, and undecided whether there is one: the search ended early."


def plan_text(outcome: Outcome, width: int = 80, rank: int | None = None) -> str:
    """Set an outcome for the console.

    Args:
        outcome: feasible or not; without a plan this is :func:`infeasible_text`.
        rank: of the plan to show, the best one without; others are set against it.

    Returns:
        Text that ends in a newline.

    Raises:
        InputError: there is no plan of that rank.
    """
    if not outcome.plans:
        return infeasible_text(outcome, width)
    outcome = outcome_as_written(outcome)
    first = plan_of_rank(outcome, rank)
    outcome = outcome.at_phase_of(first)
    if not first.craft:
        return "\n".join([*_answer(outcome, first, width), *remark_lines(outcome, width)]) + "\n"
    lines = [
        *_answer(outcome, first, width),
        *_to_fly(outcome, first, width),
        *_trust(outcome, first, width),
        *carrier_lines(outcome, first, width),
        *_shapes(outcome, first, width),
        *price_of_time(outcome, first, width),
        *other_ways(outcome, first, width),
        *let_go_lines(outcome, width),
        *risk_lines(outcome, width),
        *first_to_act(outcome, first, width),
        *hold_lines(outcome, first, width),
        *force_lines(outcome, width),
        *plan_keeping_lines(outcome, first, width),
        *left_alone_lines(outcome, first, width),
        *remark_lines(outcome, width),
    ]
    return closed(lines, CAUTION, width)


def _body_name(scenario: Scenario) -> str:
    name = scenario.body.name
    return name.capitalize() if name.islower() else name


def _answer(outcome: Outcome, first: Plan, width: int) -> list[str]:
    scenario, ring = outcome.scenario, outcome.ring
    several = f" in each of {ring.planes} planes" if ring.planes > 1 else ""
    places = count(ring.slots, "slot") + several + (", not equally spaced" if ring.pattern_rad else "")
    altitude_km = (ring.radius_m - scenario.body.radius_m) * 1e-3
    # under further forces it is another one, which is said there
    by = "" if outcome.under is None or outcome.under.slots is None else " by the bulge alone"
    lines = paragraph(scenario.title, width)
    lines += paragraph(
        f"Ring of {places}, {plain(altitude_km, 0 if altitude_km == round(altitude_km) else 1)} km above "
        f"{_body_name(scenario)}, mean period {clock(ring.period_s)}{by}.",
        width,
    )
    lines.append("")
    if not first.craft:
        kept = "; ".join(kept_text(kept, scenario.ring.tolerance_rad, ring.planes) for kept in outcome.kept)
        return [*lines, *paragraph(f"No craft has to move. {kept}{'.' if kept else ''}", width)]
    lines += paragraph(answer_text(outcome, first.rank), width)
    if first.slot0_rad is not None:
        lines += paragraph(f"{slot0_text(first.slot0_rad)}.", width)
    if outcome.kept:
        kept = "; ".join(kept_text(kept, scenario.ring.tolerance_rad, ring.planes) for kept in outcome.kept)
        lines += paragraph(f"{kept}.", width)
    lines += _broken_lines(first, width)
    return lines


def answer_text(outcome: Outcome, rank: int | None = None) -> str:
    """The answer in a sentence: what a plan takes and when it is done, or that there is no plan."""
    if not outcome.plans and outcome.infeasible is not None:
        return "No plan keeps all limits."
    if not outcome.plans:
        return UNDECIDED if outcome.unfinished else "There is no plan: no craft is to be moved."
    first, best = plan_of_rank(outcome, rank), plan_of_rank(outcome)
    if not first.craft:
        return "No craft has to move."
    epoch = outcome.scenario.epoch
    moved = count(len(first.craft), "craft reaches its slot", "craft reach their slots")
    when = "" if epoch is None else f" ({instant(epoch, first.finish_s)})"
    worst = max(first.craft, key=lambda part: part.delta_v_m_s)
    most = "" if len(first.craft) < 2 else f", {plain(worst.delta_v_m_s)} m/s at most ({worst.craft})"
    of_rank = "" if first is best else f"Plan {first.rank}: "
    against = "" if first is best else f" Against plan {best.rank}: {against_text(first, best)}."
    return (
        f"{of_rank}{moved} for {plain(first.delta_v_m_s)} m/s in all{most}; "
        f"{'the last' if len(first.craft) > 1 else 'it'} arrives after {span(first.finish_s)}{when}."
        f"{carriers_sum(first)}{against}"
    )


def _broken_lines(plan: Plan, width: int) -> list[str]:
    lines = []
    for broken in plan.broken:
        known = limit_words(broken.limit)
        lines += paragraph(
            f"!!! PLAN {plan.rank} BREAKS A LIMIT: {broken.craft}, {known.words}: {_missed_by(broken)}, where "
            f"{limit_key(broken.limit)} allows {'no less than' if known.floor else 'no more than'} "
            f"{limit_amount(broken.limit, broken.allowed)}. DO NOT FLY IT AS IT IS. !!!",
            width,
            hang="    ",
        )
    return ["", *lines] if lines else []


def _missed_by(broken: Broken) -> str:
    """What a plan comes to where it breaks a limit; by how much it misses the limit where both read alike."""
    value, allowed = (limit_amount(broken.limit, one) for one in (broken.value, broken.allowed))
    if value != allowed:
        return value
    gap = limit_amount(broken.limit, abs(broken.value - broken.allowed))
    return f"{gap} {'short of' if broken.value < broken.allowed else 'over'} {allowed}"


def _trust(outcome: Outcome, first: Plan, width: int) -> list[str]:
    lines = heading("Proof and flight", width)
    if outcome.proof is not None:
        lines += note(proof_text(outcome.proof), width)
    least = least_possible_text(outcome, first)
    lines += note(least, width) if least else []
    lines += note(f"{model_text(outcome, first)} {flown_text(outcome, first)}", width)
    return lines


def _utc(outcome: Outcome) -> bool:
    """Whether instants are printed as dates in UTC."""
    epoch = outcome.scenario.epoch
    return epoch is not None and instant(epoch, 0.0).endswith(" UTC")


def _moment(outcome: Outcome, time_s: float) -> str:
    """When something happens: its date to the minute where there is an epoch, else the time from the start."""
    if outcome.scenario.epoch is None:
        return f"after {span(time_s)}"
    return f"at {minute(outcome, time_s)}{' UTC' if _utc(outcome) else ''}"


def minute(outcome: Outcome, time_s: float) -> str:
    """A date and its clock to the nearest minute, without the zone. The scenario must have an epoch."""
    return instant(outcome.scenario.epoch, MINUTE * round(time_s / MINUTE))[:16]


def _to_fly(outcome: Outcome, first: Plan, width: int) -> list[str]:
    wide = width >= 110
    dated = outcome.scenario.epoch is not None
    zone = " (UTC)" if _utc(outcome) else ""

    def when(time_s: float) -> str:
        return minute(outcome, time_s) if dated else span(time_s)

    parts, launched = first.craft, any(part.launch_s is not None for part in first.craft)
    weighed = any(part.propellant_left_kg is not None for part in parts)
    several = outcome.ring.planes > 1
    # what a launch window adds takes the room of one column
    crowded = several or any(part.heading is not None for part in parts)
    cut_offs = ["-" if part.cut_off_period_s is None else clock(part.cut_off_period_s) for part in parts]
    lefts = ["" if part.propellant_left_kg is None else plain(part.propellant_left_kg) for part in parts]

    def timed(title: str, after: str, times_s: Iterable[float | None]) -> Cells:
        cells = ["" if time_s is None else when(time_s) for time_s in times_s]
        return figures(f"{title}{zone}" if dated else after, cells=cells)

    arrivals = timed("at the ring", "at ring after", [part.ring_arrival_s for part in parts])
    filled = [
        words("craft", [part.craft for part in parts]),
        figures("plane", cells=[f"{part.plane}" for part in parts]) if several else None,
        figures("slot", cells=[f"{part.slot}" for part in parts]),
        timed("liftoff", "liftoff after", [part.launch_s for part in parts]) if wide and launched else None,
        words("at the ring", [_way(outcome, part, wide) for part in parts], wraps=True),
        figures("period at cut-off", cells=cut_offs),
        arrivals if wide and not crowded else None,
        timed("in slot", "in slot after", [part.in_slot_s for part in parts]),
        figures("m/s", cells=[plain(part.delta_v_m_s) for part in parts]),
        figures("kg left", cells=lefts) if wide and weighed else None,
    ]
    return [*heading("What to fly", width), *table(filled, width), *_cannot_wait(first, width)]


def _way(outcome: Outcome, part: CraftPlan, wide: bool) -> str:
    """The way of a craft; with how it lifts off, unless its carrier does or the table has a column for the moment."""
    if part.carrier is not None:
        return way_text(part)
    off = f"from {part.pad}" if part.pad and len(outcome.scenario.pads) > 1 else ""
    if not wide and part.launch_s is not None:
        off = f"lifts off {off + ' ' if off else ''}{_moment(outcome, part.launch_s)}"
    return ", ".join(filter(None, [off, heading_text(part), way_text(part)]))


def _cannot_wait(first: Plan, width: int) -> list[str]:
    """Which burns cannot wait for a second pass, and what speaks for free-form flights."""
    lines: list[str] = []
    must = [part.craft for part in first.craft if part.must_burn and part.free_form is None]
    dive = [part.craft for part in first.craft if part.must_burn and part.free_form is not None]
    if dive:
        lines += note(
            f"{listed(dive)}: the coast ends below the lowest altitude allowed, and so may the orbits between the "
            "burns (the sheet says which): a burn that is left out then leaves the craft there.",
            width,
        )
    if must:
        lines += note(
            f"{listed(must)}: the first burn at the ring cannot wait for a second pass. The coast ends below the "
            f"lowest altitude allowed, so the burn must come on the first arrival and lift the orbit at once.",
            width,
        )
    for part in first.craft:
        if part.free_form is not None:
            lines += note(_evidence_text(part, part.free_form), width)
    return lines


def _evidence_text(part: CraftPlan, evidence: FreeForm) -> str:
    """What speaks for a free-form flight, and what it takes to fly it."""
    excess = (
        f"exceeds one by {100.0 * evidence.primer_excess:.2f} % at most"
        if evidence.primer_excess > 5e-5
        else "keeps to one"
    )
    return (
        f"{part.craft} flies free-form: {count(len(part.burns), 'burn')} by attitude and clock, with no period to read "
        f"on the way. Its primer vector (the direction in which a burn would save most) {excess}, as along a local "
        f"optimum; the motion linearized about the slot gives an estimate of {plain(evidence.linear_estimate_m_s)} "
        "m/s, which proves nothing."
    )


def _shapes(outcome: Outcome, first: Plan, width: int) -> list[str]:
    counted = [margin for margin in first.margins if math.isfinite(margin.allowed)]
    lines = heading("What shapes it", width)
    if not counted:
        return [*lines, *note("No limit of the scenario touches this plan.", width)]
    counted.sort(key=lambda margin: room_of(margin) / max(abs(margin.allowed), abs(margin.value), 1e-12))
    filled = [
        words("limit (who comes closest)", [f"{limit_words(m.limit).words} ({m.craft})" for m in counted], wraps=True),
        figures(f"plan {first.rank}", cells=[limit_amount(m.limit, m.value) for m in counted]),
        words("allowed", [f"{m.sense} {limit_amount(m.limit, m.allowed)}" for m in counted]),
        figures("room", cells=[room_amount(m, first.broken) for m in counted]),
    ]
    return [*lines, *table(filled, width)]
