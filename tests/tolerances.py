"""How near two numbers have to be, by quantity, and why. Values as a source prints them have its last digit instead.

Named after the unit of what is compared; shares of the value end in ``_REL``.
"""

from __future__ import annotations

FLOAT_REL = 1e-14
"""The same formula in another order: some tens of roundings of double precision, 2.2e-16 each."""
CHAIN_REL = 1e-12
"""A closed formula by another road: some thousand roundings, or a difference that loses two digits."""
ROADS_REL = 1e-9
"""Two roads of which one iterates: roots and series are followed to a part in 10^10 or better."""
FLOWN_REL = 1e-6
"""A flight that is integrated against a formula, or what a result writes in six decimals against what it writes of."""

FLOAT_M_S = 1e-9
"""Speeds of kilometers a second by the same formula: a part in 10^12 of them."""
WRITTEN_M_S = 1e-6
"""Results write speeds to a micrometer a second."""
SUMMED_M_S = 1e-5
"""Sums of a few speeds each written to a micrometer a second, and costs to which the solver proves a choice."""
UNSEEN_M_S = 1e-4
"""A thousandth of the digit that is printed: no reader sees it, and no choice is made by it."""
MILLIMETER_M_S = 1e-3
"""A hundredth of the digit that is printed; what the corrector leaves of a burn over an oblate body."""
SCREEN_M_S = 0.05
"""Half of the digit that the screen prints."""

WRITTEN_S = 1e-6
"""Results write times to a microsecond."""
MILLISECOND_S = 1e-3
"""A hundredth of what sheets print: 8 m along a low orbit around the Earth, far within a slot's tolerance."""
CLOCK_S = 0.051
"""Half of the tenth of a second that clocks print, and a rounding."""
TENTH_S = 0.1
"""What clocks print."""

EXACT_RAD = 1e-12
"""Angles of about one by a few trigonometric functions."""
FLOAT_RAD = 1e-9
"""Angles out of a difference or an arc cosine, which loses digits near its ends: a centimeter at 10 000 km."""
WRITTEN_RAD = 1e-6
"""6e-5 deg: below the last of the four decimals of a degree that are printed."""

FLOAT_DEG = 1e-9
"""The same angle by another road."""
WRITTEN_DEG = 1e-6
"""Results write angles to a millionth of a degree."""
PRINTED_DEG = 1e-4
"""The last of the four decimals of a degree that are printed."""
SLOT_DEG = 1e-3
"""The corrector stops at a thousandth of a degree from the slot, and from the plane."""

BY_UNIT = {
    "rel": {1e-14: "FLOAT_REL", 1e-12: "CHAIN_REL", 1e-9: "ROADS_REL", 1e-6: "FLOWN_REL"},
    "m_s": {
        1e-9: "FLOAT_M_S",
        1e-6: "WRITTEN_M_S",
        1e-5: "SUMMED_M_S",
        1e-4: "UNSEEN_M_S",
        1e-3: "MILLIMETER_M_S",
        0.05: "SCREEN_M_S",
    },
    "s": {1e-6: "WRITTEN_S", 1e-3: "MILLISECOND_S", 0.051: "CLOCK_S", 0.1: "TENTH_S"},
    "rad": {1e-12: "EXACT_RAD", 1e-9: "FLOAT_RAD", 1e-6: "WRITTEN_RAD"},
    "deg": {1e-9: "FLOAT_DEG", 1e-6: "WRITTEN_DEG", 1e-4: "PRINTED_DEG", 1e-3: "SLOT_DEG"},
}
"""The names by unit and value, for the test that finds bare ones."""
