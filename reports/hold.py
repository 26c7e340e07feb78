"""How long the ring keeps its spacing, in words."""

from __future__ import annotations

import math
from datetime import timedelta

from ..models.bodies import body_origins
from ..models.missing_forces import DRAG
from ..models.readouts import clock, plain, span
from ..models.surroundings import AREA_M2_KG
from ..models.units import YEAR_S
from ..optimizer.outcome import Hold, Outcome, Plan
from ..optimizer.robustness.hold import trim_m_s
from ..optimizer.standing import ForcedHold, Trim
from .flown_words import GRAVITY_WORDS, gravity_of
from .layout import heading, note
from .wording import capital, listed, rough_span, small

OVAL = 0.02
"""Eccentricity from which on it is said that orbits do not stay circles: the angle then swings by 2 deg in a turn."""

NO_RING = 0.1
"""From which on the ring is called none: the angle then swings by 11 deg either way."""

SHOWN = 4
"""Most trims that are listed on the screen; all are in the result."""

LONG_S = 100.0 * YEAR_S
"""Beyond this other bodies and drag have long decided."""


def hold_lines(outcome: Outcome, plan: Plan, width: int) -> list[str]:
    """Lines on how long the ring holds, and how well periods must match; none where no craft is in it."""
    forced = forced_hold(outcome, plan)
    if forced is not None:
        head = "Keeps its slot" if is_alone(outcome, forced) else "Keeps its spacing"
        return [*heading(head, width), *note(forced_text(outcome, forced), width)]
    if plan.hold is None or (outcome.under is not None and outcome.under.corrected and plan.rank == 1):
        return []
    return [*heading("Keeps its spacing", width), *note(hold_text(outcome, plan.hold), width)]


def forced_hold(outcome: Outcome, plan: Plan) -> ForcedHold | None:
    """How long a plan holds by further forces; None where that was not found."""
    return outcome.under.hold if outcome.under is not None and plan.rank == 1 else None


def is_alone(outcome: Outcome, hold: ForcedHold) -> bool:
    """Whether a hold is that of one craft against its slot."""
    return len(hold.names) == 1 and outcome.scenario.ring.longitude_rad is None


def forced_text(outcome: Outcome, hold: ForcedHold) -> str:
    """How long a ring holds by the forces it was flown under, in sentences, and what keeps it longer."""
    assert outcome.under is not None
    tolerance = f"{plain(math.degrees(outcome.scenario.ring.tolerance_rad), 2)} deg"
    by = f"by {listed(list(outcome.under.chosen.flown))}, without another burn"
    alone = is_alone(outcome, hold)
    kept = "its slot" if alone else "its spacing"
    kept = kept if outcome.scenario.ring.longitude_rad is None else "its longitudes"
    if hold.leaves_s <= 0.0:
        said = [f"{hold.craft} is outside the tolerance of {tolerance} from the beginning."]
    elif hold.craft is None:
        said = [f"Keeps {kept} for at least {years_text(hold.looked_s)} {by}, within {tolerance}."]
    else:
        leaves = f"{hold.craft} {'comes down' if hold.down else 'leaves'}{_first(hold)}"
        said = [f"Keeps {kept} for {years_text(hold.leaves_s)} {by}, within {tolerance}: {leaves}."]
    said += [_nominal(outcome)] if alone else []
    air = ", drag by a steady atmosphere" if "drag" in outcome.under.chosen.flown else ""
    said.append(f"Mean orbits, followed by averaged equations from the rates flown{air}.")
    sooner = min(outcome.under.chosen.left_out, key=lambda one: one.spoils_s, default=None)
    if sooner is not None and sooner.spoils_s < min(hold.leaves_s, hold.looked_s):
        said.append(f"{capital(_missing_words(outcome, sooner.name, sooner.spoils_s))}: sooner than that.")
    if hold.eccentricity > OVAL:
        short = hold.eccentricity > NO_RING or math.isfinite(hold.low_s)
        swings = f"; the angle swings by more than the tolerance in a turn after {years_text(hold.oval_s)}"
        low = f"; the periapsis is below the lowest altitude allowed after {years_text(hold.low_s)}"
        said.append(
            f"The orbits do not stay circles{', so that THIS IS NO RING FOR LONG' if short else ''}: their "
            f"eccentricity comes to {plain(hold.eccentricity, 2)} by then{swings if math.isfinite(hold.oval_s) else ''}"
            f"{low if math.isfinite(hold.low_s) else ''}."
        )
    if hold.lost is not None and not hold.down:
        said.append(f"{hold.lost} comes down{_first(hold)} after {years_text(hold.looked_s)} without burns.")
    said += [one for one in (_upkeep(outcome, hold), _stable(hold)) if one]
    return " ".join(said)


def _first(hold: ForcedHold) -> str:
    return "" if len(hold.names) == 1 else " first"


def _nominal(outcome: Outcome) -> str:
    """What the slot of a craft that is alone is taken from."""
    assert outcome.under is not None
    flown, sinks = outcome.under.chosen.flown, outcome.scenario.ring.with_drag == "together"
    without = [] if sinks else [name for name in flown if name in ("drag", "sunlight")]
    return (
        "It is alone: its slot goes where a nominal craft in it flies by the same forces"
        f"{f', without {listed(without)}' if without else ''}."
    )


def _stable(hold: ForcedHold) -> str:
    """The longitudes at which craft over the ground stay; empty for other rings."""
    if not hold.stable:
        return ""
    places = [f"{plain(math.degrees(one.longitude_rad) % 360.0, 1)} deg" for one in hold.stable]
    swings = [f"{plain(one.swing_s / 86_400.0, 0)} d" for one in hold.stable]
    return (
        f"By the uneven field alone craft stay over {listed(places)} east, and swing about these places in "
        f"{listed(swings)}; elsewhere they drift towards them."
    )


def _upkeep(outcome: Outcome, hold: ForcedHold) -> str:
    """The trims by a forecast, and what drag costs; empty where neither is needed."""
    years = (float(hold.kept_times_s[-1]) - hold.begin_s) / YEAR_S if hold.kept_times_s.size > 1 else 0.0
    said = []
    if hold.trims and years > 0.0:
        shown = [f"{one.craft} {_trim_words(outcome, one)}" for one in hold.trims[:SHOWN]]
        every = hold.names[0] if len(hold.names) == 1 else "every craft"
        more = f" and {plain(len(hold.trims) - SHOWN, 0)} more" if len(hold.trims) > SHOWN else ""
        said.append(
            f"Trims by this forecast keep {every} within {plain(math.degrees(hold.band_rad), 2)} deg of its slot"
            f"{' on the mean of a turn' if hold.stable else ''} "
            f"for {years_text(years * YEAR_S)}, at most {small(hold.trim_m_s_year)} m/s a year and craft: "
            f"{'; '.join(shown)}{more}."
        )
    if hold.make_up_m_s_year > 0.0:
        held = " (with it the trims)" if said else ""
        said.append(
            f"To keep its altitude against drag{held} a craft burns {small(hold.make_up_m_s_year)} m/s a year at most."
        )
    return " ".join(said)


def own_trims_text(outcome: Outcome, hold: ForcedHold, craft: str) -> str:
    """The trims of one craft by the forecast; empty where it has none."""
    own = [one for one in hold.trims if one.craft == craft]
    if not own:
        return ""
    more = f"; and {plain(len(own) - SHOWN, 0)} more, all in the JSON" if len(own) > SHOWN else ""
    shown = "; ".join(_trim_words(outcome, one) for one in own[:SHOWN])
    return f"Its trims by the forecast, along the track: {shown}{more}. Replan each from what is read before it."


def _trim_words(outcome: Outcome, trim: Trim) -> str:
    way = "forward" if trim.along_m_s > 0.0 else "back"
    return f"{plain(1000.0 * abs(trim.along_m_s), 2)} mm/s {way} {_when(outcome, trim.time_s)}"


def _when(outcome: Outcome, time_s: float) -> str:
    """A date where there is an epoch, else the time since the start."""
    epoch = outcome.scenario.epoch
    return f"after {span(time_s)}" if epoch is None else f"on {(epoch + timedelta(seconds=time_s)):%Y-%m-%d}"


def hold_text(outcome: Outcome, hold: Hold) -> str:
    """The same in sentences: by which forces, as far as the largest force left out allows, and the trim to make."""
    said = [_figure(outcome, hold)]
    known, wanted = hold.period_known_to_s, years_text(hold.wanted_s)
    if known is not None and hold.known_s is not None and not hold.refused and hold.known_s < hold.missing_s:
        said.append(f"With periods known to {small(known)} s only, for {years_text(hold.known_s)}.")
    said.append(trim_text(outcome, hold))
    said.append(
        f"To hold for {wanted} by these forces alone the craft's periods must match the ring's to "
        f"{small(hold.match_s)} s, which is {small(trim_m_s(outcome.ring, hold.match_s))} m/s along the track."
    )
    if hold.trim_m_s_year is not None:
        said.append(
            f"Without that, trims at the edge of the tolerance take {small(hold.trim_m_s_year)} m/s a year for each "
            "craft, for the uncertainty of the periods alone."
        )
    return " ".join(one for one in said if one)


def _figure(outcome: Outcome, hold: Hold) -> str:
    """How long, and what the figure is worth."""
    tolerance = f"{plain(math.degrees(outcome.scenario.ring.tolerance_rad), 2)} deg"
    forces = GRAVITY_WORDS[gravity_of(outcome)]
    if hold.flown_s <= 0.0:
        return f"{hold.craft} is outside the tolerance of {tolerance} from the beginning."
    if hold.refused:
        return f"No figure for how long it keeps its spacing: {hold.refused}."
    forever = hold.flown_s > LONG_S
    by_forces = "over 100 years" if forever else years_text(hold.flown_s)
    first = "" if forever else f": {hold.craft} leaves first"
    if hold.missing_s < hold.flown_s:
        return (
            f"{capital(missing_text(outcome, hold))}, so no longer figure is given. The periods as flown would keep "
            f"it longer by {forces} alone{first}."
        )
    left_out = capital(missing_text(outcome, hold)) if hold.missing else "Other bodies and air are not known here"
    return (
        f"Keeps its spacing for {by_forces} by the periods as flown and {forces} alone, within {tolerance}{first}. "
        f"{left_out}."
    )


def missing_text(outcome: Outcome, hold: Hold) -> str:
    """The largest force left out and what it could do; empty where none is known here."""
    return _missing_words(outcome, hold.missing, hold.missing_s) if hold.missing else ""


def _missing_words(outcome: Outcome, missing: str, missing_s: float) -> str:
    tolerance = f"{plain(math.degrees(outcome.scenario.ring.tolerance_rad), 2)} deg"
    size = "over 100 years" if missing_s > LONG_S else f"about {rough_span(missing_s, 1.5)}"
    of_air = ""
    if missing == DRAG:
        air = body_origins(outcome.scenario.body.name).air.partition(" (")[0]
        of_air = f" ({air}; {plain(1.0 / AREA_M2_KG, 0)} kg a square meter)"
    return (
        f"{missing}{of_air}, left out, could use up the {tolerance} in {size} (an estimate, good to a factor of three)"
    )


def trim_text(outcome: Outcome, hold: Hold) -> str:
    """The burn that keeps the craft that leaves first; empty where none would hold the ring longer."""
    worth = hold.flown_s <= min(LONG_S, max(hold.missing_s, hold.wanted_s))
    if hold.refused or hold.period_error_s == 0.0 or not worth:
        return ""
    size = trim_m_s(outcome.ring, hold.period_error_s)
    way, off = ("back", "longer") if hold.period_error_s > 0.0 else ("forward", "shorter")
    return (
        f"Trim for {hold.craft}: {small(size)} m/s {way} along the track, to match the ring's mean period of "
        f"{clock(outcome.ring.period_s, 3)}; its own is {small(abs(hold.period_error_s))} s {off}."
    )


def years_text(seconds: float) -> str:
    """Years where there are some, else a span."""
    if seconds >= 2.0 * YEAR_S:
        return f"{plain(seconds / YEAR_S, 1)} years"
    return "a year" if abs(seconds - YEAR_S) < 1.0 else span(seconds)
