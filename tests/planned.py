"""The planner as its tests call it: the text of a scenario in, the machine-readable result out."""

from __future__ import annotations

import hashlib
import json
import os
import pickle
import re
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ringwright.models.reading.scenario_reader import parse_scenario, read_scenario
from ringwright.models.scenario import Scenario, Source
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.reports.result import result_text

SCENARIOS = Path(__file__).parents[1] / "scenarios"
FOLDER = "RINGWRIGHT_TEST_PLANS"
"""The variable that names the folder of the plans of one run."""
BULGE_ALONE = "forces.further=false"
"""A setting of a scenario: by this the commands plan that fly no further forces."""

_KEPT: dict[str, Outcome] = {}


def scenario_of(text: str) -> Scenario:
    """The validated scenario; by the bulge alone unless the text is about further forces, or how long a ring holds.

    Most tests compare with closed forms and flights of two bodies, or of the bulge.
    """
    asked = re.search(r"^\[forces\]|^forces =|hold_for", text, re.MULTILINE)
    return parse_scenario(text, settings=[] if asked else [BULGE_ALONE])


def outcome_of(scenario: Scenario, *, price: bool = False) -> Outcome:
    """Plan it. Each scenario is planned once in a run of the tests, by whichever of its processes asks first.

    The others read what it left in the folder that ``conftest.py`` made for the run.
    """
    # where a value was read bears on no plan
    key = hashlib.sha256(f"{price} {replace(scenario, source=Source())!r}".encode()).hexdigest()
    folder = os.environ.get(FOLDER)
    place = Path(folder, key) if folder else None
    if key not in _KEPT and place is not None and place.exists():
        _KEPT[key] = pickle.loads(place.read_bytes())
    if key not in _KEPT:
        _KEPT[key] = make_plan(scenario, price=price)
        if place is not None:
            part = place.with_suffix(f".{os.getpid()}")
            part.write_bytes(pickle.dumps(_KEPT[key]))
            part.replace(place)
    return _KEPT[key] if _KEPT[key].scenario is scenario else replace(_KEPT[key], scenario=scenario)


def shared_plan(scenario: Scenario, _: object = None, *, price: bool = False, **others: Any) -> Outcome:
    """In the place of ``make_plan``, for the commands that only show a plan: :func:`outcome_of` where that serves."""
    asked = {name for name, value in others.items() if value is not False}
    return outcome_of(scenario, price=price) if asked <= {"left_s"} else make_plan(scenario, price=price, **others)


def bundled_outcome(name: str, *settings: str) -> Outcome:
    """The plan of a bundled scenario, planned once."""
    return outcome_of(read_scenario(SCENARIOS / f"{name}.toml", list(settings)))


@lru_cache(maxsize=256)
def _planned(text: str) -> str:
    return result_text(outcome_of(scenario_of(text)))


def planned(text: str) -> dict[str, Any]:
    """Plan it, by way of the JSON text; each text is planned once."""
    result: dict[str, Any] = json.loads(_planned(text))
    return result


def as_read(name: str, state: NDArray[np.float64]) -> str:
    """One craft of a file of observations, read as a state: m and m/s, six numbers."""
    keys = ("x_m", "y_m", "z_m", "vx_m_s", "vy_m_s", "vz_m_s")
    values = ", ".join(f"{key} = {value!r}" for key, value in zip(keys, state.tolist(), strict=True))
    return f'[[craft]]\nname = "{name}"\nstate = {{ {values} }}\n'
