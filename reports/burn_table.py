"""Burns in words and as a table of the console."""

from __future__ import annotations

from collections.abc import Sequence

from ..models.readouts import clock, instant, plain
from ..optimizer.craft_plan import Burn
from ..optimizer.outcome import Outcome
from .layout import Column, columns, paragraph


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


def burn_table(outcome: Outcome, burns: Sequence[Burn], width: int) -> list[str]:
    """Lines with a row for each burn: when, how much and which way, how long, and what an instrument shows then."""
    radius_m = outcome.scenario.body.radius_m
    long = any(burn.duration_s for burn in burns)
    epoch = outcome.scenario.epoch
    utc = epoch is not None and instant(epoch, 0.0).endswith(" UTC")
    at = Column(title="at (UTC)" if utc else "at", wraps=True)
    heads = [Column(title="burn", right=True), at, Column(title="give", wraps=True)]
    heads += [Column(title="for", right=True)] if long else []
    heads += [
        Column(title="at cut-off", right=True),
        Column(title="low km", right=True),
        Column(title="high km", right=True),
    ]
    rows = []
    for index, burn in enumerate(burns, start=1):
        give = burn_words(burn)
        if burn.by_stage_m_s > 0.0:
            whole = burn.own_m_s < 0.005
            give += "; by the upper stage" if whole else f"; {plain(burn.by_stage_m_s, 2)} of it by the upper stage"
        row = [str(index), instant(epoch, burn.time_s, 1).removesuffix(" UTC"), give]
        row += [f"{burn.duration_s or 0.0:.1f} s"] if long else []
        row.append(clock(burn.period_after_s))
        row.append(plain((burn.periapsis_after_m - radius_m) * 1e-3))
        row.append(plain((burn.apoapsis_after_m - radius_m) * 1e-3))
        rows.append(row)
    lines = columns(heads, rows, width)
    lines += paragraph(
        "At cut-off: the period that an instrument reads then; low and high: altitudes of periapsis and apoapsis.",
        width,
        indent="  ",
    )
    return lines
