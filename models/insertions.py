"""Where launchers let go: one insertion, or a range of them from which a plan chooses."""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass, field

STEPS = 8
"""A range is first looked at in about so many steps."""

FINE_M = 1e4
"""Ranges narrower than this are named by their altitudes to a decimeter, others to 100 m."""

Payload = tuple[tuple[float, float], ...]
"""Periapsis radius, m, and the greatest mass that the launcher brings there, kg; upward, empty where none is given."""


@dataclass(frozen=True, kw_only=True)
class Insertion:
    """Where the launcher lets go, on the way up: apsides and the radius of the insertion point itself.

    Args:
        name: of the insertion; of one out of a range with its periapsis altitude.
        periapsis_m, apoapsis_m, radius_m: radii.
        payload: what the launcher brings there, by periapsis.
        given: which table of the site it comes from, counted from 0.
        out_of: the range that it was taken out of; None for one that the scenario gives as it is.
    """

    name: str
    periapsis_m: float
    apoapsis_m: float
    radius_m: float
    payload: Payload = ()
    given: int = field(default=0, compare=False)
    out_of: InsertionRange | None = field(default=None, repr=False)

    @property
    def circular(self) -> bool:
        """A parking orbit: both apsides alike to a meter."""
        return abs(self.apoapsis_m - self.periapsis_m) <= 1.0

    @property
    def payload_kg(self) -> float:
        """Greatest mass that the launcher brings there, kg, in proportion between rows; infinite without any."""
        if not self.payload:
            return math.inf
        radii = [radius for radius, _ in self.payload]
        above = min(max(bisect.bisect_left(radii, self.periapsis_m), 1), len(radii) - 1) if len(radii) > 1 else 0
        if above == 0:
            return self.payload[0][1]
        (low, less), (high, more) = self.payload[above - 1], self.payload[above]
        return less + (more - less) * (self.periapsis_m - low) / (high - low)


@dataclass(frozen=True, kw_only=True)
class InsertionRange:
    """Insertions from one to another: both apsides go from the least to the most together.

    Args:
        name: of the insertion, may be empty.
        periapsis_m, apoapsis_m: least and most, radii.
        body_radius_m: from which altitudes count.
        altitude_m: of the insertion point, None where it is the periapsis.
        payload, given: as of :class:`Insertion`.
    """

    name: str
    periapsis_m: tuple[float, float]
    apoapsis_m: tuple[float, float]
    body_radius_m: float
    altitude_m: float | None = None
    payload: Payload = ()
    given: int = 0

    def at(self, share: float) -> Insertion:
        """The insertion at a share of the way from the least to the most.

        >>> spread = InsertionRange(name="", periapsis_m=(6.6e6, 7.0e6), apoapsis_m=(9e6, 9e6), body_radius_m=6.4e6)
        >>> spread.at(0.25).name, spread.at(0.25).periapsis_m
        ('periapsis 300 km', 6700000.0)
        """
        periapsis, apoapsis = (low + share * (high - low) for low, high in (self.periapsis_m, self.apoapsis_m))
        altitude_km = (periapsis - self.body_radius_m) * 1e-3
        return Insertion(
            name=f"{self.name or 'periapsis'} {round(altitude_km, 1 if self.width_m > FINE_M else 4):.9g} km",
            periapsis_m=periapsis,
            apoapsis_m=apoapsis,
            radius_m=periapsis if self.altitude_m is None else self.body_radius_m + self.altitude_m,
            payload=self.payload,
            given=self.given,
            out_of=self,
        )

    @property
    def grid(self) -> tuple[Insertion, ...]:
        """Some insertions out of the range: both ends, and round altitudes between them, some `STEPS` apart.

        >>> spread = InsertionRange(name="", periapsis_m=(6.58e6, 7e6), apoapsis_m=(9e6, 9e6), body_radius_m=6.4e6)
        >>> [one.name.split()[1] for one in spread.grid]
        ['180', '200', '250', '300', '350', '400', '450', '500', '550', '600']
        """
        low, high = self.leading_m
        rough = (high - low) / STEPS
        power = 10.0 ** math.floor(math.log10(rough))
        step = power * next(part for part in (1.0, 2.0, 5.0, 10.0) if part * power >= rough * 0.8)
        first = math.floor((low - self.body_radius_m) / step + 1e-6) + 1
        last = math.ceil((high - self.body_radius_m) / step - 1e-6) - 1
        rounds = (self.body_radius_m + number * step for number in range(first, last + 1))
        return tuple(self.at((radius - low) / (high - low)) for radius in (low, *rounds, high))

    def share_of(self, one: Insertion) -> float:
        """Where one of its insertions lies, from 0 to 1."""
        value = one.periapsis_m if self.leading_m is self.periapsis_m else one.apoapsis_m
        return (value - self.leading_m[0]) / (self.leading_m[1] - self.leading_m[0])

    @property
    def leading_m(self) -> tuple[float, float]:
        """Least and most radius of the periapsis, or of the apoapsis where the periapsis is one number, m."""
        return self.periapsis_m if self.periapsis_m[0] < self.periapsis_m[1] else self.apoapsis_m

    @property
    def width_m(self) -> float:
        """From the least to the most, by the periapsis, or the apoapsis where the periapsis is one number, m."""
        return self.leading_m[1] - self.leading_m[0]
