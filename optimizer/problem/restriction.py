"""Which options are wanted: a filter asked before any pruning, for strategies and for alternatives of another kind."""

from __future__ import annotations

from dataclasses import dataclass, replace

from .phasing import Among, Touch, Wanted


@dataclass(frozen=True, kw_only=True)
class Restriction:
    """Which options are wanted, asked before any pruning. None means no restriction of that kind.

    ``slots`` are those that it applies to (None: all); ``sides`` of -1 below, 0 level, 1 above.
    """

    slots: frozenset[int] | None = None
    sides: frozenset[int] | None = None
    revolutions: frozenset[int] | None = None
    routes: frozenset[str] | None = None
    ways: frozenset[int] | None = None

    def applies(self, slot: int) -> bool:
        """Whether options of that slot are restricted."""
        return self.slots is None or slot in self.slots

    def touch(self, touch: Touch) -> Touch:
        """The touch with its limits drawn in so that only the wanted sides remain."""
        if self.sides is None:
            return touch
        radius = touch.ring.radius_m
        low, high = touch.floor_m if -1 in self.sides else radius, touch.ceiling_m if 1 in self.sides else radius
        return replace(touch, floor_m=low, ceiling_m=high)

    def wanted(self) -> Wanted | None:
        """The filter on (k, m)."""
        if self.sides is None and self.revolutions is None:
            return None
        return Among(revolutions=self.revolutions, level=self.sides is None or 0 in self.sides)


NO_RESTRICTION = Restriction()


def route_wanted(restriction: Restriction, route: str, way: int) -> bool:
    """Whether a restriction leaves a route by a way up (its index)."""
    return (restriction.routes is None or route in restriction.routes) and (
        restriction.ways is None or way in restriction.ways
    )
