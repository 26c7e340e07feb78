"""How craft stand after a second flight under further forces (see ``robustness/under_forces.py``): values only."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ..models.arrays import Array
from ..models.flight.averaged import MeanOrbits
from ..models.force_choice import Chosen
from ..models.ring import Ring
from ..models.synchronous import StableLongitude
from ..models.units import YEAR_S


@dataclass(frozen=True, kw_only=True)
class Trim:
    """One trim: craft, when, and its burn along the track, m/s, positive forward."""

    craft: str
    time_s: float
    along_m_s: float


@dataclass(frozen=True, kw_only=True)
class Standing:
    """One craft after the flight: against its slot with the common shift taken off, and its period against the ring's.

    Both None for a craft that came down, or that did not come round in a turn's time.
    """

    craft: str
    spacing_rad: float | None
    period_error_s: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class ForcedHold:
    """How long the spacing holds by the forces of the second flight, and what keeps it longer.

    Args:
        craft: who leaves its slot or comes down first, None where no craft does in the time examined.
        leaves_s: when, s after ``begin_s``; infinite where none does.
        down: whether that craft comes down before any has left its slot.
        looked_s: how far ahead was looked, s.
        lost: who comes down at the end of that, without another burn; None where all stay up.
        begin_s: moment from which it is counted, from the epoch: the middle of the span of the means.
        names: of all craft, those that move first.
        times_s, spacing_rad: (m,) from the epoch and (m, n), without trims.
        kept_times_s, kept_rad: the same with the trims (and drag made up for where that is asked).
        band_rad: dead band of the trims.
        trims: of all craft, in order of time.
        trim_m_s_year, make_up_m_s_year: the most that one craft trims, and makes up for drag, m/s a year.
        eccentricity: the largest that any orbit reaches.
        oval_s, low_s: when the first orbit is too oval for the tolerance, and when its periapsis is below the lowest
            radius allowed, s after ``begin_s``; infinite where that does not happen.
        start: mean orbits of all craft at ``begin_s``.
        stable: the longitudes that are stable, for a ring fixed to the ground under an uneven field.
    """

    craft: str | None
    leaves_s: float
    down: bool
    looked_s: float
    lost: str | None
    begin_s: float
    names: tuple[str, ...]
    times_s: Array
    spacing_rad: Array
    kept_times_s: Array
    kept_rad: Array
    band_rad: float
    trims: tuple[Trim, ...]
    trim_m_s_year: float
    make_up_m_s_year: float
    eccentricity: float
    oval_s: float
    low_s: float
    start: MeanOrbits
    stable: tuple[StableLongitude, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CraftKeeping:
    """What keeping one craft in its slot takes.

    Args:
        craft: its name.
        from_s: when it is in its slot, from the epoch: from then on it is kept.
        moved: whether the plan brings it there; else it is there already.
        drag_m_s_year: to make up for drag, m/s a year.
        east_west_m_s_year: to hold its longitude.
        north_south_m_s_year: to hold its plane.
        trims_m_s: trims of its rate by the forecast, until the ring need hold no longer; None where they are not known.
    """

    craft: str
    from_s: float
    moved: bool
    drag_m_s_year: float
    east_west_m_s_year: float
    north_south_m_s_year: float
    trims_m_s: float | None = None

    @property
    def steady_m_s_year(self) -> float:
        """All but the trims of its rate, m/s a year."""
        return self.drag_m_s_year + self.east_west_m_s_year + self.north_south_m_s_year


@dataclass(frozen=True, kw_only=True)
class Keeping:
    """What keeping a ring takes: each craft from its arrival on, until the ring has held as long as it is to.

    Args:
        craft: those that move, then those that stay.
        done_s: when the ring is complete, from the epoch.
        hold_s: how long it is to hold from then on.
        keeps_plane: whether the plane is to be kept.
        pole_drift_rad_year: how fast other bodies turn it; None where it is not kept, or none of them is known.
        band_rad: dead band for that.
        drag: whether drag is among the forces and made up for.
    """

    craft: tuple[CraftKeeping, ...]
    done_s: float
    hold_s: float
    keeps_plane: bool
    pole_drift_rad_year: float | None
    band_rad: float
    drag: bool

    @property
    def steady_m_s_year(self) -> float:
        """Of all craft, without trims of their rates, m/s a year."""
        return math.fsum(one.steady_m_s_year for one in self.craft)

    @property
    def steady_m_s(self) -> float:
        """The same over the time that each is kept."""
        return math.fsum(one.steady_m_s_year * self.years(one) for one in self.craft)

    def years(self, one: CraftKeeping) -> float:
        """How long a craft is kept, in years of 365.25 days."""
        return (self.done_s + self.hold_s - one.from_s) / YEAR_S

    def steady_of_m_s(self, one: CraftKeeping) -> float:
        """What keeping a craft takes in all, m/s, without trims of its rate."""
        return one.steady_m_s_year * self.years(one)

    def all_of_m_s(self, one: CraftKeeping) -> float:
        """What keeping a craft takes in all, m/s, with trims of its rate as far as they are known."""
        return self.steady_of_m_s(one) + (one.trims_m_s or 0.0)


@dataclass(frozen=True, kw_only=True)
class Frozen:
    """An orbit of the ring's size and plane that keeps its shape under the zonal harmonics.

    Args:
        eccentricity: of it.
        ahead: whether its periapsis is a quarter of a turn ahead of the node, or behind it.
        moves, circle_grows: how far its eccentricity and that of a circle move within ``over_s``, followed.
    """

    eccentricity: float
    ahead: bool
    moves: float
    circle_grows: float
    over_s: float


@dataclass(frozen=True, kw_only=True)
class LeftAlone:
    """How long an orbit lasts in which nobody burns any more: an estimate (see ``robustness/left_alone.py``).

    Args:
        what: the ring, a phasing orbit, a carrier's drop orbit, or where the launcher's last stage is left.
        who: craft that are in it, or the carrier, or the craft that the stage brought up.
        periapsis_m, apoapsis_m: radii.
        lasts_s: until it meets the air, or the ground where there is none; infinite where it had not by ``looked_s``.
        looked_s: how far it was followed.
        eccentricity: the largest that it had until then.
        forces: names of what it was followed under.
    """

    what: Literal["ring", "phasing", "carrier", "stage"]
    who: tuple[str, ...]
    periapsis_m: float
    apoapsis_m: float
    lasts_s: float
    looked_s: float
    eccentricity: float
    forces: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class UnderForces:
    """What came of the second flight.

    Args:
        chosen: the forces flown and those left out.
        craft: those that move, then those that stay; empty where the plan is as it was made: too long to be flown
            again, or ``breaks`` says why.
        common_shift_rad: by which all craft are elsewhere; 0 where none came through.
        at_s, span_s: beginning and length of the span over which the means were taken.
        slots: the ring as it is there under the forces; None where nothing was flown.
        hold: how long the spacing holds; None where a craft did not come through.
        corrected: whether the plan's burns are those for these forces.
        missed: craft whose correction did not reach its aim.
        breaks: craft and limits that the plan would break if it were corrected, and keeps as it was made.
        added_m_s: what the correction adds to the plan's delta-v.
        frozen: the orbit that keeps its shape where circles do not; None where there is none.
    """

    chosen: Chosen
    craft: tuple[Standing, ...]
    common_shift_rad: float
    at_s: float
    span_s: float
    slots: Ring | None = None
    hold: ForcedHold | None = None
    corrected: bool = False
    missed: tuple[str, ...] = ()
    breaks: tuple[tuple[str, str], ...] = ()
    added_m_s: float = 0.0
    frozen: Frozen | None = None
