"""Orbit Parameter Messages (CCSDS 502.0-B-3, section 3): where a craft starts, and its burns as maneuver blocks."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...models import frames
from ...models.arrays import Array
from ...models.flight.flown import Flight
from ...models.flight.stepping import land
from ...models.scenario import Craft
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome, Plan
from ..burn_table import burn_words
from .ephemeris import Track, further_forces
from .oem import POSITION_PLACES, VELOCITY_PLACES
from .orbit_message import Setting, about, comments, fixed, frame_comments, header, plan_remarks


class _Maneuver(NamedTuple):
    """One burn: ignition, s, length, s, velocity increment, m/s, in which frame, and the change of mass, kg."""

    ignition_s: float
    duration_s: float
    parts_m_s: Array
    frame: str
    mass_kg: float


def opm_text(outcome: Outcome, plan: Plan, track: Track, setting: Setting) -> str:
    """The message of one craft.

    Burns that were flown as impulses stand in RTN, radial, along and across as the plan prints them, with a duration of
    zero; the direction of a burn that takes time is held to the stars, so that it stands in the frame of the state.
    Maneuver blocks need masses: where the scenario gives none, the burns are comments.
    """
    part = track.part
    if part is None:
        raise ValueError("a carrier has no message of its start")
    craft = next(one for one in outcome.scenario.craft if one.name == part.craft)
    start_s, state = start_of(track.flight)
    frame = frame_comments(outcome.scenario, setting, further_forces(outcome, plan))
    lines = header("OPM", setting, [*plan_remarks(outcome, plan), *frame])
    lines += [*about(track.name, setting), ""]
    lines += comments(_start_words(part))
    x, y, z, vx, vy, vz = setting.turned(state[np.newaxis])[0].tolist()
    lines.append(f"EPOCH = {setting.time(start_s)}")
    lines += [f"{key} = {fixed(value, POSITION_PLACES)} [km]" for key, value in (("X", x), ("Y", y), ("Z", z))]
    velocity = (("X_DOT", vx), ("Y_DOT", vy), ("Z_DOT", vz))
    lines += [f"{key} = {fixed(value, VELOCITY_PLACES)} [km/s]" for key, value in velocity]
    return "\n".join([*lines, "", *_craft_lines(craft, part), *_burn_lines(track, part, setting), ""])


def _start_words(part: CraftPlan) -> str:
    if part.carrier is not None:
        return "State at the drop from the carrier."
    return "State at the start of the plan." if part.insertion_s is None else "State at the insertion."


def start_of(flight: Flight) -> tuple[float, Array]:
    """When a flight starts, and the state then; a first burn that is lit before the start comes after this."""
    item = flight.itinerary
    if flight.ignition_s.size and float(flight.ignition_s[0]) < item.start_s:
        time_s, state = float(flight.ignition_s[0]), flight.before[0].copy()
    else:
        time_s, state = item.start_s, np.concatenate([item.position, item.velocity])
    # to the microsecond that is written
    state[:3] += state[3:] * (round(time_s * 1e6) * 1e-6 - time_s)
    return time_s, state


def mass_at_start_kg(craft: Craft, part: CraftPlan) -> float | None:
    """Mass with what the plan loads, kg; None where the scenario gives no masses."""
    if craft.dry_mass_kg is None or part.propellant_kg is None or part.propellant_left_kg is None:
        return None
    return craft.dry_mass_kg + part.propellant_kg + part.propellant_left_kg


def _craft_lines(craft: Craft, part: CraftPlan) -> list[str]:
    mass = mass_at_start_kg(craft, part)
    lines = [] if mass is None else [f"MASS = {fixed(mass, 6)} [kg]"]
    if craft.area_m2 is not None:
        lines += [f"SOLAR_RAD_AREA = {fixed(craft.area_m2, 6)} [m**2]"]
        lines += [f"SOLAR_RAD_COEFF = {fixed(craft.reflectivity, 6)}"]
        lines += [f"DRAG_AREA = {fixed(craft.area_m2, 6)} [m**2]", f"DRAG_COEFF = {fixed(craft.drag_coefficient, 6)}"]
    if mass is None and part.burns:
        said = "Burns, not as maneuver blocks, for which the standard needs a mass, and the scenario gives none:"
        parts = [f"{number}: {burn_words(burn)}" for number, burn in enumerate(part.burns, start=1)]
        return [*comments(f"{said} {'; '.join(parts)}."), *lines]
    return [*lines, ""] if lines else []


def _burn_lines(track: Track, part: CraftPlan, setting: Setting) -> list[str]:
    if part.propellant_kg is None:
        return []
    lines: list[str] = []
    for index, burn in enumerate(part.burns):
        one = _maneuver(track, part, index, setting)
        words = f"Burn {index + 1} of {len(part.burns)}: {burn_words(burn)}"
        if burn.by_stage_m_s > 0.0:
            words += f"; {burn.by_stage_m_s:.2f} m/s of it by the upper stage, whose mass is not counted"
        if one.duration_s == 0.0 and burn.duration_s:
            words += f"; flown as an impulse, its length of {burn.duration_s:.1f} s left out"
        lines += comments(f"{words}.")
        lines += [
            f"MAN_EPOCH_IGNITION = {setting.time(one.ignition_s)}",
            f"MAN_DURATION = {fixed(one.duration_s, 6)} [s]",
            f"MAN_DELTA_MASS = {fixed(one.mass_kg, 9)} [kg]",
            f"MAN_REF_FRAME = {one.frame}",
        ]
        increments = enumerate((one.parts_m_s * 1e-3).tolist(), start=1)
        lines += [f"MAN_DV_{axis} = {fixed(value, VELOCITY_PLACES)} [km/s]" for axis, value in increments]
        lines.append("")
    return lines


def _maneuver(track: Track, part: CraftPlan, index: int, setting: Setting) -> _Maneuver:
    burn, flight = part.burns[index], track.flight
    full = (part.propellant_kg or 0.0) + (part.propellant_left_kg or 0.0)
    before = full if index == 0 else part.burns[index - 1].propellant_after_kg
    mass = min((burn.propellant_after_kg or 0.0) - (before or 0.0), 0.0)
    parts = np.array([burn.radial_m_s, burn.along_m_s, burn.cross_m_s])
    at = len(flight.ignition_s) - len(part.burns) + index
    ignition, lasts = float(flight.ignition_s[at]), float(flight.cutoff_s[at] - flight.ignition_s[at])
    if lasts == 0.0:
        return _Maneuver(burn.time_s, 0.0, parts, "RTN", mass)
    # the direction is that of the impulse where the craft would be at its moment without the burn
    middle = land(flight.gravity, flight.before[at][:, np.newaxis], np.array([0.5 * lasts]))[:, 0]
    inertial = frames.from_local(middle[:3], middle[3:], parts)
    return _Maneuver(ignition, lasts, inertial @ setting.axes, setting.frame, mass)
