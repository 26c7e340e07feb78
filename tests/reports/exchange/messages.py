"""What the tests of the exchange formats share: small plans, and a reader that shares nothing with the writer.

Orbit messages are read by ``ccsds-ndm``, whose classes are made from the schema of the standard (NDM/XML 4.0); what the
schema demands of each value stands in their metadata and is checked here.
"""

from __future__ import annotations

import dataclasses
import re
from dataclasses import replace
from datetime import UTC, datetime
from enum import Enum
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ringwright.optimizer.outcome import Outcome, Plan
from ringwright.tests.planned import outcome_of, scenario_of

Array = NDArray[np.float64]
EPOCH = datetime(2031, 5, 1, 6, tzinfo=UTC)

EARTH = """\
title = "One of two over the Earth"
epoch = 2031-05-01T06:00:00Z
body = { name = "earth" }
ring = { altitude_km = 10000, slots = 2, inclination_deg = 40, node_deg = 30, slot0_deg = 0 }
limits = { revolutions_max = 3 }
[[craft]]
name = "Umber"
dry_mass_kg = 100
propellant_kg = 30
isp_s = 300
orbit = { altitude_km = 10000, angle_deg = -60 }
"""
ENGINE = EARTH.replace("isp_s = 300\n", "isp_s = 300\nthrust_n = 40\n")
GROUND = """\
title = "Up from the equator"
epoch = 2031-05-01T06:00:00Z
body = { name = "earth" }
ring = { altitude_km = 2000, slots = 2, slot0_deg = 0 }
limits = { revolutions_max = 3, finish_within_d = 2 }
craft = [{ name = "Teal" }]
[launch]
latitude_deg = 0
longitude_deg = -150
ascent_min = 9
downrange_deg = 18
insertion = { periapsis_km = -200, apoapsis_km = 2000, altitude_km = 190 }
"""
MARS = """\
title = "One of two around Mars"
epoch = 2031-05-01T06:00:00Z
body = { name = "mars" }
ring = { altitude_km = 9000, slots = 2, slot0_deg = 0 }
limits = { revolutions_max = 2 }
forces = { further = false }
[[craft]]
name = "Flint"
orbit = { altitude_km = 9000, angle_deg = -60 }
"""
CARRIER = GROUND.replace("longitude_deg = -150\n", "longitude_deg = -150\nuntil_h = 0\nturnaround_h = 30\n").replace(
    'craft = [{ name = "Teal" }]',
    'carrier = [{ name = "Pannier", craft = ["Teal", "Coot"], delta_v_m_s = 400 }]\n'
    'craft = [{ name = "Teal" }, { name = "Coot" }]',
)
OWN = MARS.replace('name = "mars"', 'name = "Quill", gm_km3_s2 = 5200, radius_km = 1500').replace("9000", "2500")


@lru_cache
def planned(text: str) -> Outcome:
    """Each text is planned once."""
    outcome = outcome_of(scenario_of(text))
    assert outcome.plans
    return outcome


def best(outcome: Outcome) -> Plan:
    return min(outcome.plans, key=lambda plan: plan.rank)


def renamed(outcome: Outcome, name: str) -> Outcome:
    """The same plan with its one craft, and the scenario, with other names: past every check of the reader."""
    scenario = outcome.scenario
    [craft] = scenario.craft
    plans = tuple(replace(p, craft=tuple(replace(part, craft=name) for part in p.craft)) for p in outcome.plans)
    return replace(outcome, scenario=replace(scenario, title=name, craft=(replace(craft, name=name),)), plans=plans)


def read(path: Path) -> Any:
    """A message as the library reads it, each value within what the schema allows."""
    # not there where `make compat` runs the tests of the models
    from ccsds_ndm.ndm_io import NdmIo

    found = NdmIo().from_path(path)
    check_schema(found)
    return found


def check_schema(value: Any, at: str = "") -> None:
    """Walk the values of a message: required ones are there, patterns and bounds of the schema hold."""
    if isinstance(value, list):
        for index, one in enumerate(value):
            check_schema(one, f"{at}[{index}]")
        return
    if not dataclasses.is_dataclass(value):
        return
    for field in dataclasses.fields(value):
        own, rules, name = getattr(value, field.name), field.metadata, f"{at}.{field.name}"
        if own is None:
            assert not rules.get("required"), name
            continue
        if isinstance(own, list):
            assert len(own) >= rules.get("min_occurs", 0), name
        for one in own if isinstance(own, list) else [own]:
            simple = one.value if isinstance(one, Enum) else one
            if isinstance(simple, float | int):
                assert simple >= rules.get("min_inclusive", -np.inf), name
                assert simple <= rules.get("max_inclusive", np.inf), name
            if isinstance(simple, str):
                assert len(simple) >= rules.get("min_length", 0), name
                assert not rules.get("pattern") or re.fullmatch(rules["pattern"].replace(r"\-", "-"), simple), name
        check_schema(own, name)


def ephemeris(segment: Any) -> tuple[Array, Array]:
    """Times, s from the epoch, and states, km and km/s, of a segment of an OEM."""
    rows = segment.data.state_vector
    times = np.array([(moment(row.epoch) - EPOCH).total_seconds() for row in rows])
    keys = ("x", "y", "z", "x_dot", "y_dot", "z_dot")
    return times, np.array([[float(getattr(row, key).value) for key in keys] for row in rows])


def moment(text: str) -> datetime:
    return datetime.fromisoformat(str(text)).replace(tzinfo=UTC)
