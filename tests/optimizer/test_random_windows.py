"""Random scenarios with inclined rings, several planes and sites anywhere: every plan checked by another road."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ..independent.plan_checker import check
from ..independent.scenario_maker import Draft, make, write_toml
from ..planned import planned


def inclined(number: int) -> Draft:
    """A random scenario with launches, its ring tilted, its planes multiplied, its site moved off the equator."""
    draft = make(number, craft=("ground", "any")[number % 2], crowd=3)
    rng = np.random.default_rng([7, number])
    body, ring = draft["body"], draft["ring"]
    if "launch" not in draft:
        return draft
    if math.isinf(body["sidereal_day_s"]):
        body["sidereal_day_s"] = 50_000.0
    if rng.random() < 0.4:
        body["sidereal_day_s"] = -abs(body["sidereal_day_s"])
    ring["inclination_deg"] = float(np.round(rng.uniform(15.0, 165.0), 2))
    reach = min(ring["inclination_deg"], 180.0 - ring["inclination_deg"])
    pad = draft["launch"]
    pad["latitude_deg"] = float(np.round(rng.uniform(-1.02, 1.02) * reach, 2))
    if rng.random() < 0.6:
        pad["plane_tolerance_deg"] = float(np.round(rng.uniform(0.2, 3.0), 2))
    if rng.random() < 0.5:
        ring["tilt_tolerance_deg"] = float(np.round(rng.uniform(0.05, 1.0), 2))
    if rng.random() < 0.3:
        first = float(np.round(rng.uniform(0.0, 360.0), 1))
        pad["azimuth_from_deg"], pad["azimuth_to_deg"] = first, first + 200.0
    if rng.random() < 0.4:
        ring["planes"] = int(rng.integers(2, 4))
        ring["phasing"] = int(rng.integers(0, ring["planes"]))
        for one in draft["craft"]:
            if "orbit" in one:
                one["orbit"]["plane"] = int(rng.integers(ring["planes"]))
    day = abs(body["sidereal_day_s"])
    draft["limits"]["finish_within_s"] = float(np.round(draft["limits"]["finish_within_s"] + 2.0 * day))
    return draft


def judged(number: int) -> bool:
    """Check a random scenario; whether it has plans."""
    text = write_toml(inclined(number))
    result = planned(text)
    assert check(text, result) == []
    if not result["plans"]:
        assert result["infeasible"]["reason"] or result["infeasible"]["binds"]
    return bool(result["plans"])


@pytest.mark.parametrize("number", [11, 15, 18, 63])
def test_plans_keep_every_limit(number: int) -> None:
    judged(number)


@pytest.mark.soak
@pytest.mark.parametrize("block", range(8))
def test_campaign(block: int) -> None:
    assert sum(judged(number) for number in range(100 + 20 * block, 120 + 20 * block)) > 4
