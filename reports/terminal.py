"""What the console shows of an outcome: the answer first, then what supports it, then what to do next.

Plain text, no color, no line longer than the width asked for. Every number is for a person to read; a program reads
``result.py``.
"""

from __future__ import annotations

import math

from ..models.readouts import MINUTE, clock, instant, plain, span
from ..models.scenario import Scenario
from ..optimizer.craft_plan import CraftPlan, FreeForm
from ..optimizer.one_plan import plan_of_rank
from ..optimizer.outcome import Bind, Broken, Infeasible, Margin, Outcome, Plan
from .carriers import carrier_lines, carriers_sum
from .first_to_act import first_to_act
from .hold import hold_lines
from .layout import Column, columns, heading, paragraph
from .limits import limit_amount, limit_key, limit_value, limit_words, outcome_as_written, serving_value
from .price_of_time import other_ways, price_of_time
from .proof_words import proof_text
from .result import burn_model_of, gravity_of
from .risk import risk_lines
from .under_forces import force_lines
from .wording import (
    GRAVITY_WORDS,
    against_text,
    count,
    folded,
    heading_text,
    kept_text,
    listed,
    sentence,
    slot0_text,
    small,
    way_text,
)

CAUTION = (
    "A planning aid, not flight software. Range safety, conjunction screening, re-entry and disposal, radio "
    "licensing and the vehicle's own rules are decided by the licensed operator and the authorities, and they prevail "
    "over anything printed here."
)


UNDECIDED = "No plan yet, and undecided whether there is one: the search ended early."

_TILT_WORTH_DEG = 1e-4
"""A tilt below this goes unsaid where no craft is launched off the plane."""


def plan_text(outcome: Outcome, width: int = 80, rank: int | None = None) -> str:
    """Set an outcome for the console.

    Args:
        outcome: feasible or not; without a plan this is :func:`infeasible_text`.
        width: greatest length of a line, at least 40.
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
        return "\n".join([*_answer(outcome, first, width), *_remarks(outcome, width)]) + "\n"
    lines = [
        *_answer(outcome, first, width),
        *_to_fly(outcome, first, width),
        *_trust(outcome, first, width),
        *carrier_lines(outcome, first, width),
        *_shapes(outcome, first, width),
        *price_of_time(outcome, first, width),
        *other_ways(outcome, first, width),
        *risk_lines(outcome, width),
        *first_to_act(outcome, first, width),
        *hold_lines(outcome, first, width),
        *force_lines(outcome, width),
        *_remarks(outcome, width),
        "",
        *paragraph(CAUTION, width),
    ]
    return "\n".join(lines) + "\n"


def infeasible_text(outcome: Outcome, width: int = 80) -> str:
    """Say which limit leaves no plan, and what would serve.

    Args:
        outcome: one without plans.
        width: greatest length of a line, at least 40.
    """
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
        lines += paragraph(f"Judged over the catalogue of options, {_model_words(outcome)}.", width)
    lines += _rejected(outcome, width)
    lines += _remarks(outcome, width)
    lines += ["", *paragraph(CAUTION, width)]
    return "\n".join(lines) + "\n"


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


def _body_name(scenario: Scenario) -> str:
    name = scenario.body.name
    return name.capitalize() if name.islower() else name


def _answer(outcome: Outcome, first: Plan, width: int) -> list[str]:
    scenario, ring = outcome.scenario, outcome.ring
    places = count(ring.slots, "slot") + (f" in each of {ring.planes} planes" if ring.planes > 1 else "")
    altitude_km = (ring.radius_m - scenario.body.radius_m) * 1e-3
    lines = paragraph(scenario.title, width)
    lines += paragraph(
        f"Ring of {places}, {plain(altitude_km, 0 if altitude_km == round(altitude_km) else 1)} km above "
        f"{_body_name(scenario)}, mean period {clock(ring.period_s)}.",
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
        words = limit_words(broken.limit)
        lines += paragraph(
            f"!!! PLAN {plan.rank} BREAKS A LIMIT: {broken.craft}, {words.words}: {_missed_by(broken)}, where "
            f"{limit_key(broken.limit)} allows {'no less than' if words.floor else 'no more than'} "
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


def _model_words(outcome: Outcome) -> str:
    gravity = GRAVITY_WORDS[gravity_of(outcome)]
    burns = {"impulsive": "impulsive burns", "finite": "burns of real length"}[burn_model_of(outcome)]
    return f"{gravity} and {burns}"


def _trust(outcome: Outcome, first: Plan, width: int) -> list[str]:
    lines = heading("Proof and flight", width)
    if outcome.proof is not None:
        lines += paragraph(proof_text(outcome.proof), width, indent="  ")
    lines += paragraph(f"{model_text(outcome, first)} {flown_text(outcome, first)}", width, indent="  ")
    return lines


def model_text(outcome: Outcome, plan: Plan) -> str:
    """By which forces a plan was flown, and what that leaves out."""
    return f"Flown numerically: {_flown_with(outcome, plan)}."


def flown_text(outcome: Outcome, plan: Plan) -> str:
    """What the flight of a plan found; nothing where no craft moves."""
    return f"{_flown_text(plan)}{_longest_burn_text(outcome, plan)}" if plan.craft else ""


def _flown_with(outcome: Outcome, plan: Plan) -> str:
    """The forces and the burns of a plan's flight, and what that leaves out."""
    arcs = ["burn arcs"] if burn_model_of(outcome) == "impulsive" else []
    under = outcome.under
    if under is not None and under.corrected and plan.rank == 1:
        burns = "impulsive burns" if arcs else "burns of real length"
        left_out = listed([*(one.name for one in under.chosen.left_out), *arcs])
        words = f"{', '.join(under.chosen.flown)}, and {burns}"
        return f"{words}, an approximation that leaves out {left_out}" if left_out else words
    left_out = listed([*([] if gravity_of(outcome) == "j2" else ["oblateness"]), "drag", "other bodies", *arcs])
    return f"{_model_words(outcome)}, an approximation that leaves out {left_out}"


def _longest_burn_text(outcome: Outcome, plan: Plan) -> str:
    """The longest burn against a turn of the ring, and what the length of all of them costs or leaves out."""
    lengths = [(burn.duration_s or 0.0, part.craft) for part in plan.craft for burn in part.burns]
    longest_s, craft = max(lengths, default=(0.0, ""))
    if longest_s <= 0.0:
        return ""
    share = longest_s / outcome.ring.period_s
    if burn_model_of(outcome) == "impulsive":
        return f" The longest burn, {craft}'s, would run {span(longest_s)}, {share:.1%} of a turn of the ring."
    turned = [
        (burn.own_m_s, outcome.ring.rate_rad_s * (burn.duration_s or 0.0)) for part in plan.craft for burn in part.burns
    ]
    lost = math.fsum(size * angle**2 / 24.0 for size, angle in turned)
    return (
        f" The longest burn, {craft}'s, runs {span(longest_s)}, {share:.1%} of a turn of the ring; that burns take "
        f"time costs about {plain(lost, 2)} m/s in all."
    )


def _flown_text(plan: Plan) -> str:
    slot_deg = max(abs(math.degrees(part.flown.slot_error_rad)) for part in plan.craft)
    period_s = max(abs(part.flown.period_error_s) for part in plan.craft)
    tilt_deg = max(abs(math.degrees(part.flown.plane_error_rad)) for part in plan.craft)
    text = f"At the end slots are met to {small(slot_deg)} deg and the ring's period to {small(period_s)} s."
    if tilt_deg >= _TILT_WORTH_DEG or any(part.heading is not None for part in plan.craft):
        text += f" Planes agree to {small(tilt_deg)} deg."
    guesses = [part.first_guess_error_rad for part in plan.craft if part.first_guess_error_rad is not None]
    if guesses:
        missed_deg = math.degrees(max(abs(guess) for guess in guesses))
        text += (
            f" Burns were corrected by the flight: planned by ratios of periods alone they miss a slot by "
            f"{small(missed_deg)} deg."
        )
    near = [part for part in plan.craft if part.flown.closest_m is not None]
    if near:
        part = min(near, key=lambda part: part.flown.closest_m or 0.0)
        text += f" Closest to craft in place: {part.craft}, {plain((part.flown.closest_m or 0.0) * 1e-3)} km"
        text += f" from {part.flown.closest_to}." if part.flown.closest_to else "."
    if any(part.apart_s for part in plan.craft):
        text += (
            " Craft that start together are screened against one another once they have been outside the separation."
        )
    return text


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

    launched = any(part.launch_s is not None for part in first.craft)
    weighed = any(part.propellant_left_kg is not None for part in first.craft)
    several = outcome.ring.planes > 1
    # what a launch window adds takes the room of one column
    crowded = several or any(part.heading is not None for part in first.craft)
    heads = [Column(title="craft"), *([Column(title="plane", right=True)] if several else [])]
    heads += [Column(title="slot", right=True)]
    heads += [Column(title=f"liftoff{zone}" if dated else "liftoff after", right=True)] if wide and launched else []
    heads += [Column(title="at the ring", wraps=True), Column(title="period at cut-off", right=True)]
    heads += (
        [Column(title=f"at the ring{zone}" if dated else "at ring after", right=True)] if wide and not crowded else []
    )
    heads += [Column(title=f"in slot{zone}" if dated else "in slot after", right=True), Column(title="m/s", right=True)]
    heads += [Column(title="kg left", right=True)] if wide and weighed else []
    rows = []
    for part in first.craft:
        cut_off_s = part.cut_off_period_s
        way = way_text(part)
        heading_words = heading_text(part)
        from_pad = f"from {part.pad} " if part.pad and len(outcome.scenario.pads) > 1 else ""
        if part.carrier is not None:
            way = way_text(part)  # when and on which azimuth the carrier lifts off is said with the carrier
        elif not wide and part.launch_s is not None:
            off = f"lifts off {from_pad}{_moment(outcome, part.launch_s)}"
            way = ", ".join(filter(None, [off, heading_words, way]))
        elif heading_words or from_pad:
            way = ", ".join(filter(None, [from_pad.strip(), heading_words, way]))
        row = [part.craft, *([f"{part.plane}"] if several else []), f"{part.slot}"]
        row += ["" if part.launch_s is None else when(part.launch_s)] if wide and launched else []
        row += [way, "-" if cut_off_s is None else clock(cut_off_s)]
        row += [when(part.ring_arrival_s)] if wide and not crowded else []
        row += [when(part.in_slot_s), plain(part.delta_v_m_s)]
        if wide and weighed:
            row.append("" if part.propellant_left_kg is None else plain(part.propellant_left_kg))
        rows.append(row)
    return [*heading("What to fly", width), *columns(heads, rows, width), *_cannot_wait(first, width)]


def _cannot_wait(first: Plan, width: int) -> list[str]:
    """Which burns cannot wait for a second pass, and what speaks for free-form flights."""
    lines: list[str] = []
    must = [part.craft for part in first.craft if part.must_burn and part.free_form is None]
    dive = [part.craft for part in first.craft if part.must_burn and part.free_form is not None]
    if dive:
        lines += paragraph(
            f"{listed(dive)}: the coast ends below the lowest altitude allowed, and so may the orbits between the "
            "burns (the sheet says which): a burn that is left out then leaves the craft there.",
            width,
            indent="  ",
        )
    if must:
        lines += paragraph(
            f"{listed(must)}: the first burn at the ring cannot wait for a second pass. The coast ends below the "
            f"lowest altitude allowed, so the burn must come on the first arrival and lift the orbit at once.",
            width,
            indent="  ",
        )
    for part in first.craft:
        if part.free_form is not None:
            lines += paragraph(_evidence_text(part, part.free_form), width, indent="  ")
    return lines


def _evidence_text(part: CraftPlan, evidence: FreeForm) -> str:
    """What speaks for a free-form flight, and what it takes to fly it."""
    excess = f"exceeds one by {evidence.primer_excess:.2%} at most" if evidence.primer_excess > 5e-5 else "keeps to one"
    return (
        f"{part.craft} flies free-form: {count(len(part.burns), 'burn')} by attitude and clock, with no period to read "
        f"on the way. Its primer vector (the direction in which a burn would save most) {excess}, as along a local "
        f"optimum; the motion linearized about the slot gives an estimate of {plain(evidence.linear_estimate_m_s)} "
        "m/s, which proves nothing."
    )


def room_of(margin: Margin) -> float:
    """Room under a limit, SI units; negative where it is broken."""
    return margin.value - margin.allowed if margin.sense == "at least" else margin.allowed - margin.value


def _shapes(outcome: Outcome, first: Plan, width: int) -> list[str]:
    counted = [margin for margin in first.margins if math.isfinite(margin.allowed)]
    lines = heading("What shapes it", width)
    if not counted:
        return [*lines, *paragraph("No limit of the scenario touches this plan.", width, indent="  ")]
    counted.sort(key=lambda margin: room_of(margin) / max(abs(margin.allowed), abs(margin.value), 1e-12))
    rows = []
    for margin in counted:
        room = room_of(margin)
        if room < 0:
            left = f"OVER by {limit_amount(margin.limit, -room)}"
        elif room <= 1e-3 * max(abs(margin.allowed), abs(margin.value)):
            left = "none: at the limit"
        else:
            left = limit_amount(margin.limit, room)
        value = limit_amount(margin.limit, margin.value)
        words = f"{limit_words(margin.limit).words} ({margin.craft})"
        rows.append([words, value, f"{margin.sense} {limit_amount(margin.limit, margin.allowed)}", left])
    heads = [
        Column(title="limit (who comes closest)", wraps=True),
        Column(title=f"plan {first.rank}", right=True),
        Column(title="allowed"),
        Column(title="room", right=True),
    ]
    return [*lines, *columns(heads, rows, width)]


def _remarks(outcome: Outcome, width: int) -> list[str]:
    remarks = remark_texts(outcome)
    if not remarks:
        return []
    lines = heading("To know", width)
    for text in remarks:
        lines += paragraph(text, width, indent="  ", hang="    ")
    return lines


def remark_texts(outcome: Outcome) -> list[str]:
    """What there is to know besides: how the ring's phase was chosen, what is missing, what was noted."""
    remarks = [sentence(outcome.phase_rule)] if outcome.phase_rule else []
    if outcome.unfinished and outcome.plans:
        remarks.append(sentence(f"The search ended early: {outcome.unfinished}"))
    remarks += [sentence(note) for note in (*outcome.notes, *outcome.scenario.warnings)]
    return folded(remarks)
