"""The planner as its tests call it: the text of a scenario in, the machine-readable result out."""

from __future__ import annotations

import copy
import json
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import Scenario
from ringwright.optimizer.plan import make_plan
from ringwright.reports.result import result_text


def scenario_of(text: str) -> Scenario:
    """The validated scenario."""
    return parse_scenario(text)


@lru_cache(maxsize=256)
def _planned(text: str) -> str:
    return result_text(make_plan(scenario_of(text)))


def planned(text: str) -> dict[str, Any]:
    """Plan it, by way of the JSON text; each text is planned once."""
    result: dict[str, Any] = copy.deepcopy(json.loads(_planned(text)))
    return result


def as_read(name: str, state: NDArray[np.float64]) -> str:
    """One craft of a file of observations, read as a state: m and m/s, six numbers."""
    keys = ("x_m", "y_m", "z_m", "vx_m_s", "vy_m_s", "vz_m_s")
    values = ", ".join(f"{key} = {value!r}" for key, value in zip(keys, state.tolist(), strict=True))
    return f'[[craft]]\nname = "{name}"\nstate = {{ {values} }}\n'
