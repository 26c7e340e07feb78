"""Orbit Ephemeris Messages (CCSDS 502.0-B-3, section 5): the flight of a craft as positions and velocities.

A burn ends a segment and begins the next, so that no reader interpolates across it. Covariances are those of a craft
that is flown as planned, without a correction.
"""

from __future__ import annotations

import numpy as np

from ...models.arrays import Array
from ...models.errors import FlightError, InputError
from ...optimizer.outcome import Outcome, Plan
from ...optimizer.robustness.spread import SETTLING_S, covered, spread
from .ephemeris import AIM_M, DEGREE, Stretch, Track, further_forces
from .orbit_message import Setting, about, comments, fixed, floating, frame_comments, header, plan_remarks

COVARIANCES_MAX = 100
"""Covariances in one segment, spread evenly over it."""

SPREAD_MAX = 0.05
"""Standard deviation of the position as a share of the radius up to which a linear model is trusted."""

APART_SAID_M = 1.0
"""From here on it is said that this flight is off the one that the plan was made of."""

POSITION_PLACES, VELOCITY_PLACES = 9, 12
"""Decimals of kilometers and of km/s: a micrometer, a nanometer a second."""


def oem_text(outcome: Outcome, plan: Plan, track: Track, setting: Setting) -> str:
    """The message of one craft or carrier.

    Args:
        outcome: of planning; its scenario has an epoch, around a built-in body.
    """
    spreads, why_not = _spreads(outcome, track)
    frame = frame_comments(outcome.scenario, setting, further_forces(outcome, plan))
    lines = header("OEM", setting, [*remarks(outcome, plan, track), *frame, why_not])
    for stretch, (times, covariances) in zip(track.stretches, spreads, strict=True):
        lines += _segment(track, stretch, setting)
        if times.size:
            lines += _covariances(setting, times, covariances)
        lines.append("")
    return "\n".join(lines)


def remarks(outcome: Outcome, plan: Plan, track: Track) -> list[str]:
    """What the flight is, and how exact its interpolation."""
    found = plan_remarks(outcome, plan)
    found.append(
        f"Interpolated positions are within {AIM_M:g} m of the flight: examined three times between every two lines."
        if track.off_m <= AIM_M
        else f"Interpolated positions are up to {track.off_m:.1f} m off the flight, examined three times between "
        "every two lines."
    )
    if track.apart_m > APART_SAID_M:
        drifts = track.part is not None and track.part.route == "drift"
        how = ", which followed the months of waiting from node to node" if drifts else ""
        found.append(
            f"Flown in one piece; at its burns within {track.apart_m:.1f} m of the flight that the plan was made "
            f"of{how}."
        )
    return found


def stretch_words(stretch: Stretch, count: int) -> str:
    """What a stretch is: which burns it lies between."""
    if stretch.burn is not None:
        return f"Arc of burn {stretch.burn + 1} of {count}."
    if count == 0:
        return "No burn."
    if stretch.after == 0:
        return f"Coast to burn 1 of {count}."
    if stretch.after == count:
        return f"After the last burn, {count} of {count}."
    return f"From burn {stretch.after} to burn {stretch.after + 1} of {count}."


def _segment(track: Track, stretch: Stretch, setting: Setting) -> list[str]:
    first, last = setting.time(float(stretch.times_s[0])), setting.time(float(stretch.times_s[-1]))
    lines = ["META_START", *comments(stretch_words(stretch, len(track.flight.itinerary.impulses)))]
    lines += about(track.name, setting)
    lines += [f"START_TIME = {first}", f"USEABLE_START_TIME = {first}"]
    lines += [f"USEABLE_STOP_TIME = {last}", f"STOP_TIME = {last}"]
    lines += ["INTERPOLATION = HERMITE", f"INTERPOLATION_DEGREE = {DEGREE}", "META_STOP", ""]
    for time_s, state in zip(stretch.times_s.tolist(), setting.turned(stretch.states).tolist(), strict=True):
        numbers = [fixed(x, POSITION_PLACES) for x in state[:3]] + [fixed(v, VELOCITY_PLACES) for v in state[3:]]
        lines.append(" ".join([setting.time(time_s), *numbers]))
    return lines


def _spreads(outcome: Outcome, track: Track) -> tuple[list[tuple[Array, Array]], str]:
    """For each stretch the moments and covariances to write, and what has to be said about them."""
    none = (np.zeros(0), np.zeros((0, 6, 6)))
    nothing = [none for _ in track.stretches]
    if track.part is None:
        return nothing, "No covariances: errors of carriers are not stated."
    why = covered(outcome.scenario, track.part)
    if why:
        return nothing, f"No covariances: {why}."
    moments = [_moments(stretch) for stretch in track.stretches]
    try:
        found = spread(outcome.scenario, outcome.ring, track.part, track.flight, np.concatenate(moments))
    except (FlightError, InputError) as fault:
        return nothing, f"No covariances: a flight a little off cannot be flown ({fault})."
    spreads, left_out, at = [], 0, 0
    for stretch, times in zip(track.stretches, moments, strict=True):
        own = found[at : at + times.size]
        at += times.size
        radius = np.linalg.norm(stretch.states[np.searchsorted(stretch.times_s, times), :3], axis=1)
        sigma = np.sqrt(np.linalg.eigvalsh(own[:, :3, :3])[:, -1].clip(0.0)) if times.size else np.zeros(0)
        trusted = sigma <= SPREAD_MAX * radius
        left_out += int(np.count_nonzero(~trusted))
        kept = trusted & (sigma > 0.0)
        spreads.append((times[kept], own[kept]))
    words = (
        "Covariances: the standard deviations of launch and burns that the scenario states, carried along linearly for "
        "a craft that is flown as planned without a correction; what budgets correct is still in them. A state that is "
        "given in space is taken as exact, so that there are none before the first burn."
    )
    if left_out:
        words += (
            f" {left_out} are left out where the spread is above {100.0 * SPREAD_MAX:.0f} % of the radius, too "
            "much for that."
        )
    return spreads, words


def _moments(stretch: Stretch) -> Array:
    """Nodes of a coast at which covariances are given."""
    if stretch.burn is not None:
        return np.zeros(0)
    nodes: Array = stretch.times_s[stretch.times_s >= stretch.times_s[0] + SETTLING_S]
    if nodes.size <= COVARIANCES_MAX:
        return nodes
    chosen = np.unique(np.linspace(0, nodes.size - 1, COVARIANCES_MAX).round().astype(np.intp))
    return np.asarray(nodes[chosen])


def _covariances(setting: Setting, times: Array, covariances: Array) -> list[str]:
    lines = ["COVARIANCE_START"]
    for time_s, matrix in zip(times.tolist(), (covariances * 1e-6).tolist(), strict=True):
        lines += [f"EPOCH = {setting.time(time_s)}", "COV_REF_FRAME = RTN"]
        lines += [" ".join(floating(value) for value in row[: k + 1]) for k, row in enumerate(matrix)]
    return [*lines, "COVARIANCE_STOP"]
