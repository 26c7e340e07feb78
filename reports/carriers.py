"""What each carrier of a plan does: its burns, whom it drops when, and what is left to decide about it."""

from __future__ import annotations

from ..models.readouts import clock, instant, plain
from ..optimizer.craft_plan import CarrierPlan
from ..optimizer.outcome import Outcome, Plan
from .burn_table import burn_table
from .layout import figures, heading, note, table, words
from .left_alone import lasts_text
from .wording import listed


def carriers_sum(plan: Plan) -> str:
    """A sentence on what carriers burn beside the craft; empty where there is none."""
    burning = [c for c in plan.carriers if c.delta_v_m_s > 0.05]
    if not burning:
        return ""
    burned = listed([f"{c.carrier} {plain(c.delta_v_m_s)} m/s" for c in burning])
    return f" The carriers burn in addition: {burned}."


def carrier_lines(outcome: Outcome, plan: Plan, width: int) -> list[str]:
    """Lines on the carriers of a plan, in the order of liftoff; none without carriers."""
    lines: list[str] = []
    for carrier in plan.carriers:
        lines += heading(f"Carrier {carrier.carrier}", width)
        lines += note(_launch(outcome, carrier), width)
        if carrier.burns:
            lines += burn_table(outcome, carrier.burns, width)
        lines += _drops(outcome, plan, carrier, width)
        lines += note(_orbit(outcome, carrier), width)
        lines += note(duty_text(outcome, carrier), width)
        lasts = next((one for one in outcome.left_alone if one.what == "carrier" and carrier.carrier in one.who), None)
        if lasts is not None and plan.rank == 1:
            lines += note(f"An estimate, see Left alone. {lasts_text(outcome, lasts)}", width)
    return lines


def _launch(outcome: Outcome, carrier: CarrierPlan) -> str:
    epoch = outcome.scenario.epoch
    by = f" ({carrier.insertion})" if carrier.insertion else ""
    where = (
        f"at the ring at {instant(epoch, carrier.first_pass_s)}"
        if carrier.parks_in is None
        else f"lets all craft go there, in the parking orbit in plane {carrier.parks_in}"
    )
    return (
        f"Liftoff from {carrier.pad} at {instant(epoch, carrier.launch_s)}, insertion at "
        f"{instant(epoch, carrier.insertion_s)}{by}; {where}. "
        f"Burns {plain(carrier.delta_v_m_s)} m/s of the {plain(carrier.allowed_m_s)} m/s that it carries, not counted "
        "in the sums of the craft."
    )


def _drops(outcome: Outcome, plan: Plan, carrier: CarrierPlan, width: int) -> list[str]:
    by_name = {part.craft: part for part in plan.craft}
    parts, several = [by_name[drop.craft] for drop in carrier.drops], outcome.ring.planes > 1
    slots = [f"{part.plane}, {part.slot}" if several else str(part.slot) for part in parts]
    touches = figures("touch", cells=[str(drop.number + 1) for drop in carrier.drops])
    filled = [
        *([] if carrier.parks_in is not None else [touches]),
        words("drop at", [instant(outcome.scenario.epoch, drop.time_s, 1) for drop in carrier.drops], wraps=True),
        words("craft", [drop.craft for drop in carrier.drops]),
        figures("plane, slot" if several else "slot", cells=slots),
        figures("it pays m/s", cells=[plain(part.delta_v_m_s, 2) for part in parts]),
    ]
    return table(filled, width)


def _orbit(outcome: Outcome, carrier: CarrierPlan) -> str:
    radius_m = outcome.scenario.body.radius_m
    low, high = ((r - radius_m) * 1e-3 for r in (carrier.periapsis_m, carrier.apoapsis_m))
    shown = f"Drop orbit: {plain(low)} km to {plain(high)} km, period {clock(carrier.period_s)}"
    shown = f"{shown}, a touch every {clock(carrier.pass_every_s)}." if carrier.pass_every_s else f"{shown}."
    if carrier.then is None:
        return shown
    low, high = ((r - radius_m) * 1e-3 for r in (carrier.then.periapsis_m, carrier.then.apoapsis_m))
    return (
        f"{shown} From touch {carrier.then.number + 1} on: {plain(low)} km to {plain(high)} km, period "
        f"{clock(carrier.then.period_s)}, a touch every {clock(carrier.then.pass_every_s)}; who leaves on that touch "
        "leaves after the burn."
    )


def duty_text(outcome: Outcome, carrier: CarrierPlan) -> str:
    """What is left to decide about a carrier when the last craft is off."""
    if not carrier.periapsis_safe:
        body = outcome.scenario.body
        above_m = carrier.periapsis_m - body.radius_m - body.atmosphere_top_m
        if above_m >= 0.0:
            return (
                "Open: what becomes of the carrier. Left alone it comes down below the lowest altitude allowed at its "
                f"next periapsis, to {plain(above_m * 1e-3)} km above the {_top(outcome)}: its disposal is for the "
                "operator."
            )
        comes = "re-enters" if body.atmosphere_top_m > 0.0 else "strikes the ground"
        return (
            f"Open: what becomes of the carrier. Its orbit dips below the {_top(outcome)}, so it {comes} before its "
            "next pass of the ring unless it burns: where it comes down is for the operator to decide and to answer "
            "for."
        )
    if carrier.parks_in is not None:
        return "Open: what becomes of the carrier. It stays in the parking orbit: its disposal is for the operator."
    what = "Open: what becomes of the carrier. Left alone it keeps touching the ring"
    if carrier.meets_s is None:
        return f"{what}, though in the passes examined it meets no filled slot; its disposal is for the operator."
    at = instant(outcome.scenario.epoch, carrier.meets_s)
    return f"{what} and comes back to where {carrier.meets} is at {at}: its disposal before that is for the operator."


def _top(outcome: Outcome) -> str:
    """What is met first on the way down."""
    return "top of the atmosphere" if outcome.scenario.body.atmosphere_top_m > 0.0 else "ground"
