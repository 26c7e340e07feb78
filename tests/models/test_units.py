"""Units: splitting keys, factors, and conversion there and back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from ringwright.models.keys import TABLES
from ringwright.models.units import STANDARD_GRAVITY_M_S2, UNITS, from_si, printed_unit, split_unit, to_si
from ringwright.tests.tolerances import NOTHING, ULP_REL

PAIRS = [(kind, unit) for kind, units in UNITS.items() for unit in units]


@pytest.mark.parametrize(
    ("key", "parts"),
    [
        ("speed_km_s", ("speed", "km_s")),
        ("reserve_m_s", ("reserve", "m_s")),
        ("gm_m3_s2", ("gm", "m3_s2")),
        ("at_s", ("at", "s")),
        ("turnaround_min", ("turnaround", "min")),
        ("dry_mass_kg", ("dry_mass", "kg")),
        ("thrust_kn", ("thrust", "kn")),
        ("revolutions_max", ("revolutions_max", "")),
        ("_km", ("_km", "")),
        ("km", ("km", "")),
        ("", ("", "")),
    ],
)
def test_longest_unit_is_split_off(key: str, parts: tuple[str, str]) -> None:
    assert split_unit(key) == parts


@pytest.mark.parametrize("pair", PAIRS)
@settings(derandomize=True, deadline=None, max_examples=40, database=None)
@given(value=st.floats(-1e12, 1e12))
def test_there_and_back(pair: tuple[str, str], value: float) -> None:
    kind, unit = pair
    assert from_si(to_si(value, kind, unit), kind, unit) == pytest.approx(value, rel=ULP_REL, abs=NOTHING)


def test_factors_against_scipy_constants() -> None:
    """scipy.constants, the general-purpose table."""
    assert UNITS["time"] == {
        "s": 1.0,
        "min": constants.minute,
        "h": constants.hour,
        "d": constants.day,
    }
    assert UNITS["angle"]["deg"] == constants.degree
    assert UNITS["length"]["km"] == constants.kilo
    assert UNITS["gm"]["km3_s2"] == constants.kilo**3
    assert constants.g == STANDARD_GRAVITY_M_S2


@settings(derandomize=True, deadline=None, max_examples=100, database=None)
@given(st.floats(-1e4, 1e4))
def test_degrees_as_the_standard_library_has_them(value: float) -> None:
    assert to_si(value, "angle", "deg") == pytest.approx(math.radians(value), rel=ULP_REL, abs=NOTHING)


def test_unit_of_another_kind_is_an_error() -> None:
    with pytest.raises(KeyError):
        to_si(1.0, "length", "deg")


def test_every_spelling_leads_back_to_its_key() -> None:
    for keys in TABLES.values():
        spellings = [spelling for key in keys for spelling in key.spellings]
        assert len(spellings) == len(set(spellings))
        assert keys
        for key in keys:
            assert key.spellings
            for spelling in key.spellings:
                stem, unit = split_unit(spelling)
                assert spelling == key.spelled or (stem == key.spelled and unit in UNITS[key.kind])


def test_printed_units() -> None:
    assert [printed_unit(unit) for unit in ("m_s", "kn", "km", "m3_s2")] == ["m/s", "kN", "km", "m^3/s^2"]
