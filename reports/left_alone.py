"""How long orbits last that nobody burns in any more: in words, and as fields of the result."""

from __future__ import annotations

import math
from typing import Any

from ..models.bodies import body_names, body_origins
from ..models.readouts import plain
from ..models.surroundings import AREA_M2_KG
from ..optimizer.outcome import Outcome, Plan
from ..optimizer.standing import LeftAlone
from .layout import heading, note, paragraph
from .wording import capital, listed, rough_span

SHOWN = 6
"""Most phasing orbits that are listed on the screen; all are in the result."""


def left_alone_lines(outcome: Outcome, plan: Plan, width: int) -> list[str]:
    """Lines for the screen; none where nothing was followed, or for another plan than the first."""
    if not outcome.left_alone or plan.rank != 1:
        return []
    lines = heading("Left alone", width)
    lines += note(_assumed(outcome), width)
    phasing = [one for one in outcome.left_alone if one.what == "phasing"]
    shown = [one for one in outcome.left_alone if one not in phasing[SHOWN:]]
    endings = dict.fromkeys((one.what, _how_long(outcome, one)) for one in shown)
    for ending in endings:
        alike = [one for one in shown if (one.what, _how_long(outcome, one)) == ending]
        lines += paragraph(f"- {lasts_text(outcome, *alike)}", width, indent="  ", hang="    ")
    if len(phasing) > SHOWN:
        lines += paragraph(
            f"- {len(phasing) - SHOWN} more phasing orbits are in the JSON.", width, indent="  ", hang="    "
        )
    return lines


def lasts_text(outcome: Outcome, *alike: LeftAlone) -> str:
    """How long orbits of one kind last that last alike, in a sentence."""
    what, several = alike[0].what, len(alike) > 1
    if what == "ring":
        whole = len({_how_long(outcome, one) for one in outcome.left_alone if one.what == "ring"}) == 1
        who = listed([name for one in alike for name in one.who])
        named = "the ring's orbit" if whole else f"the ring's orbit ({who})"
    else:
        kind = {"phasing": "the phasing orbit", "carrier": "the carrier", "stage": "the launcher's last stage"}[what]
        of = "" if what == "carrier" else " of"
        named = f"{kind}{'s' if several else ''}{of} {listed([_where(outcome, one) for one in alike])}"
    return f"{capital(named)}: {_how_long(outcome, alike[0])}."


def ring_lasts_text(outcome: Outcome, one: LeftAlone) -> str:
    """How long the orbit of one craft in the ring lasts, and by which forces, in a sentence."""
    by = listed(list(one.forces)) or "no force known here"
    return f"The ring's orbit left alone: {_how_long(outcome, one)} (an estimate by {by})."


def _where(outcome: Outcome, one: LeftAlone) -> str:
    radius_m = outcome.scenario.body.radius_m
    low, high = ((end - radius_m) * 1e-3 for end in (one.periapsis_m, one.apoapsis_m))
    return f"{listed(list(one.who))} ({plain(low, 0)} to {plain(high, 0)} km)"


def _how_long(outcome: Outcome, one: LeftAlone) -> str:
    if one.lasts_s == 0.0:
        return f"{_comes(outcome)} on its first turn"
    if not math.isfinite(one.lasts_s):
        return f"still up after {rough_span(one.looked_s)}, as far as it was followed"
    grown = f", its eccentricity grown to {plain(one.eccentricity, 2)}" if "drag" not in one.forces else ""
    return f"{_comes(outcome)} after about {rough_span(one.lasts_s)}{grown}"


def _comes(outcome: Outcome) -> str:
    return "re-enters" if outcome.scenario.body.atmosphere_top_m > 0.0 else "strikes the ground"


def _assumed(outcome: Outcome) -> str:
    """What the figures stand on."""
    body = outcome.scenario.body
    end = "meets the top of the atmosphere" if body.atmosphere_top_m > 0.0 else "meets the ground"
    under = outcome.under
    held = under is not None and under.hold is not None and under.hold.lost is not None
    flown = () if under is None else under.chosen.flown
    own = [one for one in outcome.left_alone if not (held and one.forces == flown)]
    forces = list(dict.fromkeys(name for one in own or outcome.left_alone for name in one.forces))
    by = listed(forces) if forces else "no force known here"
    said = [
        f"Estimates of how long orbits last without another burn, until the periapsis {end}: by {by}, on mean orbits, "
        "sunlight and the uneven field over longitudes left out."
    ]
    if held:
        said.append("The craft of the ring that comes down first does so by the forces of its spacing, as said above.")
    if "drag" in forces:
        said.append(air_text(outcome))
    elif "drag" in outcome.scenario.turned_off and body.air:
        said.append("Drag is left out, as the table forces says, though there is air.")
    if any(one.what in ("carrier", "stage") for one in outcome.left_alone):
        said.append(f"Carriers and stages are taken to have 1 square meter for each {plain(1.0 / AREA_M2_KG, 0)} kg.")
    said.append("What becomes of each, and where it comes down, is for the operator.")
    return " ".join(said)


def air_text(outcome: Outcome) -> str:
    """Which density of the air is assumed, and what it is worth."""
    scenario, body = outcome.scenario, outcome.scenario.body
    factor = scenario.air_factor
    known = body.name.lower() in body_names()
    source = body_origins(body.name).air.partition(" (")[0] if known else "body.atmosphere of the scenario"
    times = "" if factor == 1.0 else f", {plain(factor, 2)} times"
    return (
        f"Density of the air, steady: {source}{times}; with an active or a quiet Sun it differs by a factor of two and "
        "more, and lifetimes with it."
    )


def left_alone_of(outcome: Outcome) -> dict[str, Any]:
    """``left_alone`` of plan 1; nothing where nothing was followed."""
    radius_m = outcome.scenario.body.radius_m
    if not outcome.left_alone:
        return {}
    return {
        "left_alone": [
            {
                "what": one.what,
                "who": list(one.who),
                "periapsis_km": round((one.periapsis_m - radius_m) * 1e-3, 3),
                "apoapsis_km": round((one.apoapsis_m - radius_m) * 1e-3, 3),
                "lasts_s": round(one.lasts_s, 0) if math.isfinite(one.lasts_s) else None,
                "followed_s": round(one.looked_s, 0),
                "eccentricity_reached": round(one.eccentricity, 6),
                "forces": list(one.forces),
            }
            for one in outcome.left_alone
        ]
    }
