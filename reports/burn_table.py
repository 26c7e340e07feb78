"""Burns in words and as a table of the console."""

from __future__ import annotations

from collections.abc import Sequence

from ..models.readouts import clock, instant, plain
from ..optimizer.craft_plan import Burn
from ..optimizer.outcome import Outcome
from .layout import figures, note, table, words


def burn_words(burn: Burn) -> str:
    """Say size and direction of a burn: forward or back, out or in, left or right of track.

    Parts below a centimeter a second are left unsaid where a larger part is said.
    """
    parts = [
        (abs(burn.along_m_s), "forward" if burn.along_m_s >= 0 else "back"),
        (abs(burn.radial_m_s), "out" if burn.radial_m_s >= 0 else "in"),
        (abs(burn.cross_m_s), "left" if burn.cross_m_s >= 0 else "right"),
    ]
    large = [(size, name) for size, name in parts if size >= 0.01]
    if not large:
        return f"{burn.delta_v_m_s:.3f} m/s"
    if len(large) == 1:
        return f"{plain(large[0][0], 2)} m/s {large[0][1]}"
    pieces = ", ".join(f"{plain(size, 2)} {name}" for size, name in large)
    return f"{plain(burn.delta_v_m_s, 2)} m/s: {pieces}"


def _give(burn: Burn) -> str:
    """The same, and what of it the upper stage gives."""
    if burn.by_stage_m_s <= 0.0:
        return burn_words(burn)
    part = "" if burn.own_m_s < 0.005 else f"{plain(burn.by_stage_m_s, 2)} of it "
    return f"{burn_words(burn)}; {part}by the upper stage"


def burn_table(outcome: Outcome, burns: Sequence[Burn], width: int) -> list[str]:
    """Lines with a row for each burn: when, how much and which way, how long, and what an instrument shows then."""
    radius_m = outcome.scenario.body.radius_m
    long = any(burn.duration_s for burn in burns)
    epoch = outcome.scenario.epoch
    utc = epoch is not None and instant(epoch, 0.0).endswith(" UTC")
    at = [instant(epoch, burn.time_s, 1).removesuffix(" UTC") for burn in burns]
    filled = [
        figures("burn", cells=[str(index) for index in range(1, len(burns) + 1)]),
        words("at (UTC)" if utc else "at", at, wraps=True),
        words("give", [_give(burn) for burn in burns], wraps=True),
        figures("for", cells=[f"{burn.duration_s or 0.0:.1f} s" for burn in burns]) if long else None,
        figures("at cut-off", cells=[clock(burn.period_after_s) for burn in burns]),
        figures("low km", cells=[plain((burn.periapsis_after_m - radius_m) * 1e-3) for burn in burns]),
        figures("high km", cells=[plain((burn.apoapsis_after_m - radius_m) * 1e-3) for burn in burns]),
    ]
    said = "At cut-off: the period that an instrument reads then; low and high: altitudes of periapsis and apoapsis."
    return [*table(filled, width), *note(said, width)]
