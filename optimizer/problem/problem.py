"""The planning problem behind a scenario: the ring with its phase, who stays, who moves, which ways lead up."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models import frames, launch
from ...models.flight.gravity import Gravity, gravity_around
from ...models.ring import Ring
from ...models.scenario import Carrier, Craft, Scenario
from ..outcome import Kept
from .in_space import Standing
from .options import F, I, Options
from .phasing import Touch
from .timed_flight import TimedFlight


@dataclass(frozen=True, kw_only=True)
class CraftClass:
    """Craft that are alike in everything that planning looks at; ``start`` is None while they wait on the ground."""

    names: tuple[str, ...]
    craft: Craft
    start: Standing | None
    delta_v_allowed_m_s: float

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.names)


@dataclass(frozen=True, kw_only=True)
class KeptCraft:
    """A craft that stays in the ring: its slot, counted through the planes, and its angle at time 0."""

    name: str
    slot: int
    angle_rad: float


@dataclass(frozen=True, kw_only=True)
class Aboard:
    """A carrier and the craft on it, those that can pay least first: class and most delta-v of each."""

    carrier: Carrier
    craft_class: I
    allowed_m_s: F
    ready_s: float


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One ring phase of a scenario, ready to be planned.

    ``launches`` is how many craft go up from the ground; ``ways`` every pad's every insertion; ``timed`` the free-form
    flights that were looked for, ``timed_missing`` for how many pairs of craft and slot they were not.
    """

    scenario: Scenario
    ring: Ring
    phase_rule: str
    classes: tuple[CraftClass, ...]
    kept: tuple[KeptCraft, ...]
    free_slots: tuple[int, ...]
    ways: tuple[launch.Ascent, ...]
    notes: tuple[str, ...] = ()
    timed: tuple[TimedFlight, ...] = ()
    timed_missing: int = 0

    @property
    def launches(self) -> int:
        """Craft that wait on the ground."""
        return sum(c.count for c in self.classes if c.start is None)

    @property
    def aboard(self) -> tuple[Aboard, ...]:
        """The carriers, each with the craft aboard."""
        found = []
        for carrier in self.scenario.carriers:
            ground = [(i, c) for i, c in enumerate(self.classes) if c.start is None]
            on = [i for i, c in ground if c.craft.carrier == carrier.name for _ in c.names]
            on.sort(key=lambda i: self.classes[i].delta_v_allowed_m_s)
            found.append(
                Aboard(
                    carrier=carrier,
                    craft_class=np.array(on, dtype=np.int64),
                    allowed_m_s=np.array([self.classes[i].delta_v_allowed_m_s for i in on], dtype=np.float64),
                    ready_s=max((self.classes[i].craft.ready_s for i in on), default=0.0),
                )
            )
        return tuple(a for a in found if a.craft_class.size == len(a.carrier.craft))

    @property
    def kept_angle_rad(self) -> F:
        """Angles of the craft that stay, at time 0."""
        return np.array([k.angle_rad for k in self.kept], dtype=np.float64)

    @property
    def kept_plane(self) -> I:
        """Their planes."""
        return np.array([k.slot // self.ring.slots for k in self.kept], dtype=np.int64)

    @property
    def left_free(self) -> frozenset[int]:
        """Slots that are not filled now, counted through the planes."""
        ring = self.ring
        return frozenset(p * ring.slots + s for p in range(ring.planes) for s in self.scenario.ring.leave_free)

    @property
    def phase_given(self) -> bool:
        """Whether the scenario says where the ring stands, so that no rule has to."""
        spec = self.scenario.ring
        return spec.slot0_rad is not None or any(
            one.slot is not None and one.angle_rad is not None for one in spec.occupied
        )

    @property
    def oblate(self) -> bool:
        """Whether plans are flown over an oblate body, and corrected by that flight."""
        return self.scenario.body.j2 != 0.0

    @property
    def gravity(self) -> Gravity:
        """What every plan is flown with."""
        return gravity_around(self.scenario.body)

    @property
    def wobble_m(self) -> float:
        """Room that phasing orbits keep from floor and ceiling for what oblateness does within a revolution, m.

        3/2 J2 Re^2 / a, with the least semi-major axis that a phasing orbit over the floor can have: the size of the
        short-period terms (Kozai 1959). Zero in point-mass gravity.
        """
        body = self.scenario.body
        least = 0.5 * (min(self.scenario.floor_m, self.ring.radius_m) + self.ring.radius_m)
        return 1.5 * body.j2 * body.j2_radius_m**2 / least

    def touch(self, arrival_speed_m_s: float) -> Touch:
        """The limits of the scenario on phasing from a touch of the ring."""
        limits = self.scenario.limits
        return Touch(
            ring=self.ring,
            arrival_speed_m_s=arrival_speed_m_s,
            floor_m=self.scenario.floor_m + self.wobble_m,
            ceiling_m=limits.apoapsis_max_m - self.wobble_m,
            revolutions_max=limits.revolutions_max,
            wait_within_s=limits.wait_within_s,
        )

    def arrival_speed(self, options: Options) -> F:
        """Speed on the orbit from which each option first burns at the ring: its own, or its carrier's."""
        up = np.array([w.arrival_speed_m_s for w in self.ways] + [math.nan])
        there = np.array([math.nan if c.start is None else c.start.speed_m_s for c in self.classes] + [math.nan])
        own = np.where(options.way >= 0, up[options.way], there[options.craft_class])
        for rows, table in options.detailed():
            other = table.arrival_speed_m_s()
            if other is not None:
                own[rows] = other
        return own

    def starts_on_ring(self, craft_class: I) -> np.ndarray:
        """Mask of options whose craft starts on the ring itself."""
        there = np.array([c.start is not None and c.start.on_ring for c in self.classes] + [False])
        return np.asarray(there[craft_class])


def kept_errors(problem: Problem) -> tuple[Kept, ...]:
    """Each craft that stays with its error against its slot, rad, in (-pi, pi]."""
    return tuple(
        Kept(
            craft=k.name,
            slot=k.slot % problem.ring.slots,
            plane=k.slot // problem.ring.slots,
            error_rad=float(frames.wrap(k.angle_rad - float(problem.ring.phase(0.0, k.slot)))),
        )
        for k in problem.kept
    )
