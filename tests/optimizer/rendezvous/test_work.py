"""How much the search for free-form flights works on, by counts."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from ringwright.models.ring import Ring
from ringwright.optimizer.catalogue import free_form
from ringwright.optimizer.problem.timed_flight import Coast, TimedFlight
from ringwright.optimizer.rendezvous import multistart
from ringwright.optimizer.rendezvous.candidates import Best, Bests, Draft, Questions, moved_to
from ringwright.optimizer.rendezvous.optimum import State, least_delta_v_over_times
from ringwright.optimizer.routes import free_form as routes_free_form
from ringwright.optimizer.routes.free_form import Sought


def test_no_flight_is_tried_at_a_neighboring_time_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[tuple[Best, int]] = []

    def noted(questions: Questions, best: Bests, burns: int, pairs: list[tuple[int, int]]) -> list[Draft]:
        tried.extend((one, target) for source, target in pairs if (one := best[source]) is not None)
        return moved_to(questions, best, burns, pairs)

    monkeypatch.setattr(multistart, "moved_to", noted)
    start = State(position_m=(1.0, 0.0, 0.0), velocity_m_s=(0.0, 1.0, 0.0))
    allowed = [2.0 * math.pi * (0.8 + 0.2 * step) for step in range(12)]
    found = least_delta_v_over_times(start, gm=1.0, ring_radius_m=1.0, slot_lead_rad=0.5, allowed_s=allowed)
    assert all(one is not None for one in found)
    assert len(tried) > len(allowed)
    assert len({(id(one), target) for one, target in tried}) == len(tried)


def test_flights_of_several_craft_and_slots_are_looked_for_together(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def found(sought: Sequence[Sought]) -> tuple[tuple[TimedFlight, ...], ...]:
        asked.append(len(sought))
        return ((),) * len(sought)

    monkeypatch.setattr(routes_free_form, "find", found)
    ring = Ring(gm=1.0, radius_m=1.0, slots=6, rate_rad_s=1.0, slot0_rad=0.0)
    start = Coast(position=np.array([1.0, 0.0, 0.0]), velocity=np.array([0.0, 1.0, 0.0]), time_s=0.0, on_ring=True)
    each = [
        Sought(
            ring=ring,
            start=start,
            slot=slot,
            craft_class=0,
            finishes_s=[8.0 + step for step in range(9)],
            floor_m=0.0,
            ceiling_m=math.inf,
        )
        for slot in range(16)
    ]
    # three craft and a few slots each: one search, not one after another
    assert free_form._found(each, lambda _: None) == ([()] * 16, 0)
    assert asked == [16]
    asked.clear()
    free_form._found(each * 3, lambda _: None)
    assert max(asked) * 9 <= free_form.TOGETHER
    assert sum(asked) == 48
