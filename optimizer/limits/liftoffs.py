"""When a site lets craft lift off: from when until when, with which pauses, how far apart, and how near to the plane.

Moments of liftoff are chosen so that they keep these. Over an oblate body the flight moves them, by minutes at most;
what is judged is how they are flown.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from ...models.scenario import Pad, Scenario
from ..outcome import Broken
from .limit import Limit, PlanParts, in_unit
from .loosening import Loosening, long_enough, site_key, with_pad

MOVED_SLACK_S = 0.01
"""A liftoff nearer to the limits of its pad than this keeps them: corrections of a flight agree to a thousandth."""


@dataclass(frozen=True, kw_only=True)
class _Liftoffs(Limit):
    """Judged where the flight has moved liftoffs, for each craft that breaks anything of it."""

    def broken_by_moving(self, parts: PlanParts) -> Iterator[Broken]:
        """What liftoffs break that the flight has moved."""
        if not parts.moved or parts.scenario.body.j2 == 0.0:
            return
        for pad in parts.scenario.pads:
            yield from self._broken_on(parts, pad)

    def _broken_on(self, parts: PlanParts, pad: Pad) -> Iterator[Broken]:
        scenario, slack = parts.scenario, self.slack
        ready = {one.name: one.ready_s for one in scenario.craft}
        # those on one carrier go up together
        launches = {
            (one.launch_s, one.carrier or one.craft)
            for one in parts.craft
            if one.pad == pad.name and one.launch_s is not None
        }
        here = sorted(launches)
        for time, who in here:
            if time < pad.ready_s - slack:
                yield Broken(craft=who, limit=site_key(scenario, pad, "ready"), value=time, allowed=pad.ready_s)
            if time < ready.get(who, 0.0) - slack:
                yield Broken(craft=who, limit=f"craft.{who}.ready", value=time, allowed=ready[who])
            if time > pad.until_s + slack:
                yield Broken(craft=who, limit=site_key(scenario, pad, "until"), value=time, allowed=pad.until_s)
            for start, end in pad.blackouts_s:
                if start + slack < time < end - slack:
                    yield Broken(craft=who, limit=site_key(scenario, pad, "blackout"), value=time, allowed=end)
        key = site_key(scenario, pad, "turnaround")
        for (early, _), (late, who) in pairwise(here):
            if late - early < pad.turnaround_s - slack:
                yield Broken(craft=who, limit=key, value=late - early, allowed=pad.turnaround_s)

    def loosenings(self, scenario: Scenario) -> tuple[Loosening, ...]:
        """See `Limit`: the last date of each site."""
        return tuple(
            Loosening(
                key=site_key(scenario, pad, "until"),
                now=pad.until_s,
                most=long_enough(scenario),
                step=0.01,
                unit=self.words.per_unit,
                apply=with_pad(index, lambda pad, value: replace(pad, until_s=value)),
            )
            for index, pad in enumerate(scenario.pads)
            if math.isfinite(pad.until_s)
        )


LIMIT = _Liftoffs(
    key="launch.until",
    words=in_unit("h", "latest liftoff"),
    slack=MOVED_SLACK_S,
    also={
        "ready": in_unit("h", "earliest start", floor=True),
        "turnaround": in_unit("h", "between liftoffs", floor=True),
        "blackout": replace(in_unit("h", "liftoff not before the end of the blackout", floor=True), suffix=""),
        "plane_tolerance": in_unit("deg", "angle of the site from the ring plane at liftoff"),
        "azimuth_from": in_unit("deg", "first flight azimuth allowed", floor=True),
        "azimuth_to": in_unit("deg", "last flight azimuth allowed"),
        "launch.altitude": in_unit("km", "altitude of the insertion"),
    },
)
