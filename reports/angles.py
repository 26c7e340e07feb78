"""The angles of a scenario, counted from the node and from one named craft or site."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..models.launch import site_angle
from ..models.readouts import plain, turned
from ..models.scenario import Pad, Scenario
from .launch_windows import always_there
from .layout import figures, note, paragraph, table, words


@dataclass(frozen=True, kw_only=True)
class Reference:
    """Who the angles are counted from: its argument of latitude at the epoch."""

    words: str
    angle_rad: float


def reference(scenario: Scenario) -> Reference | None:
    """Who angles are counted from: the first craft with a known place in the ring, else in space, else the first site.

    None where no craft has a place yet.
    """
    for one in scenario.ring.occupied:
        if one.angle_rad is not None:
            return Reference(words=one.name, angle_rad=one.angle_rad)
    placed = [(craft.name, craft.orbit) for craft in scenario.craft if craft.orbit is not None]
    for name, orbit in placed:
        if orbit.circular:
            return Reference(words=name, angle_rad=orbit.angle_rad - _rate(scenario) * orbit.at_s)
    for name, orbit in placed:
        return Reference(words=f"the {orbit.at} of {name}", angle_rad=orbit.angle_rad)
    for pad in scenario.pads:
        if not always_there(scenario, pad):
            continue
        return Reference(words=pad.name, angle_rad=_site_rad(scenario, pad))
    return None


def angle_lines(scenario: Scenario, width: int) -> list[str]:
    """Every angle of the file twice: from the node, and from the reference, all at the epoch."""
    origin = reference(scenario)
    if origin is None:
        return []
    angles = _angles(scenario)
    heading = f"Angles at the epoch, counted from {origin.words}"
    filled = [
        words("", [what for what, _ in angles], wraps=True),
        figures("from the node", cells=[_from_node(angle) for _, angle in angles]),
        figures(f"from {origin.words}", cells=[_from(origin, angle) for _, angle in angles]),
    ]
    lines = ["", *paragraph(heading, width), "-" * min(len(heading), width), *table(filled, width)]
    start = "the ring's ascending node" if scenario.ring.inclination_rad else "the x axis"
    notes = [f"Angles count along the ring's motion, the first column from {start}."]
    if any(craft.orbit and not craft.orbit.circular for craft in scenario.craft):
        notes.append("An apsis stands still; the other places move with the ring.")
    if any(always_there(scenario, pad) for pad in scenario.pads):
        notes.append("A site moves with the body.")
    return [*lines, *note(" ".join(notes), width)]


def _angles(scenario: Scenario) -> list[tuple[str, float]]:
    ring = scenario.ring
    rows: list[tuple[str, float]] = []
    if ring.slot0_rad is not None:
        rows.append(("slot 0", ring.slot0_rad))
    rows += [(one.name, one.angle_rad) for one in ring.occupied if one.angle_rad is not None]
    for craft in scenario.craft:
        if craft.orbit is None:
            continue
        if craft.orbit.circular:
            rows.append((craft.name, craft.orbit.angle_rad - _rate(scenario) * craft.orbit.at_s))
        else:
            rows.append((f"{craft.orbit.at} of {craft.name}", craft.orbit.angle_rad))
    rows += [(pad.name, _site_rad(scenario, pad)) for pad in scenario.pads if always_there(scenario, pad)]
    return rows


def _from_node(angle_rad: float) -> str:
    degrees = math.degrees(angle_rad) % 360.0
    return f"{plain(0.0 if round(degrees, 3) == 360.0 else degrees, 3)} deg"


def _from(origin: Reference, angle_rad: float) -> str:
    ahead = math.degrees(turned(angle_rad - origin.angle_rad))
    if abs(ahead) < 5e-4:
        return "0.000 deg"
    return f"{plain(abs(ahead), 3)} deg {'ahead' if ahead > 0 else 'behind'}"


def _rate(scenario: Scenario) -> float:
    return math.sqrt(scenario.body.gm / scenario.ring.radius_m**3)


def _site_rad(scenario: Scenario, pad: Pad) -> float:
    return site_angle(scenario.body, pad, scenario.ring.inclination_rad, scenario.ring.node_rad)[0]
