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

ULP_REL = 1e-15
"""One operation: half of the last bit and a rounding."""
COPIED_REL = 1e-13
"""Numbers written with fifteen digits and read again."""
TURNS_REL = 1e-11
"""A flight of many turns against the same flight in other steps."""
NINE_DIGITS_REL = 1e-08
"""Constants printed with nine digits, and slopes by differences."""
EIGHT_DIGITS_REL = 1e-07
"""Results write radii to a millimeter: eight digits or better of those of orbits."""
FIVE_DIGITS_REL = 0.0001
"""Sources with five digits, and what an average over a turn leaves of terms within it."""
SQUARED_REL = 0.001
"""A formula of first order in something of a few hundredths: what it leaves out is of its square."""
TWO_SQUARED_REL = 0.002
"""The same with two such terms."""
FIRST_ORDER_REL = 0.01
"""A formula of first order in something of a tenth."""
TWO_FIRST_ORDER_REL = 0.02
"""The same with two such terms, or a quantile of some ten thousand samples."""
THREE_FIRST_ORDER_REL = 0.03
"""The same with three such terms."""
SAMPLED_REL = 0.05
"""A deviation from some thousand samples."""
SLOPE_REL = 0.06
"""A slope written with two digits."""
LEADING_REL = 0.1
"""The leading term of a series whose next one is ten times smaller."""
ESTIMATED_REL = 0.15
"""An estimate by the leading term alone, over a span that is not small."""

FLOAT_KM_S = 1e-08
"""Speeds written in km/s with eleven decimals."""
HALF_WRITTEN_M_S = 5e-07
"""Half of what results write speeds to."""
TWO_MILLIMETERS_M_S = 0.002
"""Burns as messages give them, against those of a plan from a state a little off."""
HUNDREDTH_M_S = 0.01
"""What cannot be seen of a corrected burn: a tenth of the printed digit."""
TWO_DIGITS_M_S = 0.02
"""What the corrector leaves of several burns; the last digit of two decimals, twice."""
SHOWN_M_S = 0.051
"""Half of the tenth that is shown, and a rounding."""
DIGIT_M_S = 0.1
"""The digit that is printed."""

FLOAT_S = 1e-09
"""The same sum of times in another order."""
SUMMED_S = 1e-05
"""Sums of a few times, each written to a microsecond."""
CENTISECOND_S = 0.01
"""Times that a root gives, or that are read off a flight at rest."""
SECOND_S = 1.0
"""Times printed in whole seconds; what correcting a flight moves."""
TWO_SECONDS_S = 2.0
"""Two of these."""
MOVED_S = 5.0
"""What correcting the rest of a plan again moves its end by."""
HOUR_S = 3600.0
"""What waits of months are moved by when they are corrected in the flight."""

TEN_DIGITS_RAD = 2e-10
"""Angles by published series of ten decimals."""
COSINE_RAD = 1e-08
"""An arc cosine near its end."""
REACHED_RAD = 1e-07
"""Planes out of states, and slots read off flights of some turns."""
FIRST_ORDER_RAD = 0.0001
"""What first order leaves of angles of a few hundredths."""

TEN_DIGITS_DEG = 1e-10
"""The last digit of a published angle."""
SERIES_DEG = 1e-08
"""Angles of thousands of turns by published series."""
HALF_SLOT_DEG = 0.0005
"""Half of the thousandth of a degree that is printed."""
HALF_THOUSANDTH_DEG = 0.00051
"""Half of the last of three decimals, and a rounding."""
OFF_DEG = 0.01
"""How far a plan that was not corrected may be off."""
TENTH_DEG = 0.1
"""The last digit of one decimal."""
HALF_DEG = 0.5
"""Directions of orbits that are nearly circles."""

MILLIMETER_M = 0.001
"""Positions as results and messages write them."""
CENTIMETER_M = 0.01
"""Radii out of a state: a part in a thousand million."""
DECIMETER_M = 0.1
"""A flight of some turns by another integrator."""
METER_M = 1.0
"""What a file rounds radii to, and what a flight of days leaves."""

WRITTEN_KG = 1e-06
"""Results write masses to a milligram."""
SUMMED_KG = 0.0001
"""Sums of burns, each written to a milligram, by the rocket equation."""
GRAM_KG = 0.001
"""Masses out of speeds that are written to a millimeter a second."""

NOTHING = 1e-300
"""Zero itself."""
EXACT = 1e-12
"""Numbers of about one by a few operations."""
FLOAT = 1e-09
"""Numbers of about one by another road, which loses some digits."""
INTEGRATED = 1e-07
"""Numbers of about one by a flight of some turns."""
SIX_DECIMALS = 1e-06
"""As results are written, and what a minimum found by slopes leaves."""
SOLVED = 1e-05
"""What the solver proves a choice to."""
FOUR_DECIMALS = 0.0001
"""The last digit of four decimals."""
HALF_THIRD_DECIMAL = 0.0005
"""Half of the last of three decimals."""
HALF_THIRD_DIGIT = 0.00051
"""Half of the last of three decimals, and a rounding."""
THREE_DECIMALS = 0.001
"""The last digit of three decimals."""
TWO_DECIMALS = 0.01
"""The last digit of two decimals, and values named in such steps."""
HALF_DIGIT = 0.0501
"""Half of the last digit, and a rounding."""
ONE_DECIMAL = 0.1
"""The last digit of one decimal; what chance leaves of a share."""

BY_UNIT: dict[str, dict[float, str]] = {
    "rel": {
        1e-15: "ULP_REL",
        1e-14: "FLOAT_REL",
        1e-13: "COPIED_REL",
        1e-12: "CHAIN_REL",
        1e-11: "TURNS_REL",
        1e-09: "ROADS_REL",
        1e-08: "NINE_DIGITS_REL",
        1e-07: "EIGHT_DIGITS_REL",
        1e-06: "FLOWN_REL",
        0.0001: "FIVE_DIGITS_REL",
        0.001: "SQUARED_REL",
        0.002: "TWO_SQUARED_REL",
        0.01: "FIRST_ORDER_REL",
        0.02: "TWO_FIRST_ORDER_REL",
        0.03: "THREE_FIRST_ORDER_REL",
        0.05: "SAMPLED_REL",
        0.06: "SLOPE_REL",
        0.1: "LEADING_REL",
        0.15: "ESTIMATED_REL",
    },
    "m_s": {
        1e-09: "FLOAT_M_S",
        1e-08: "FLOAT_KM_S",
        5e-07: "HALF_WRITTEN_M_S",
        1e-06: "WRITTEN_M_S",
        1e-05: "SUMMED_M_S",
        0.0001: "UNSEEN_M_S",
        0.001: "MILLIMETER_M_S",
        0.002: "TWO_MILLIMETERS_M_S",
        0.01: "HUNDREDTH_M_S",
        0.02: "TWO_DIGITS_M_S",
        0.05: "SCREEN_M_S",
        0.051: "SHOWN_M_S",
        0.1: "DIGIT_M_S",
    },
    "s": {
        1e-09: "FLOAT_S",
        1e-06: "WRITTEN_S",
        1e-05: "SUMMED_S",
        0.001: "MILLISECOND_S",
        0.01: "CENTISECOND_S",
        0.051: "CLOCK_S",
        0.1: "TENTH_S",
        1.0: "SECOND_S",
        2.0: "TWO_SECONDS_S",
        5.0: "MOVED_S",
        3600.0: "HOUR_S",
    },
    "rad": {
        1e-12: "EXACT_RAD",
        2e-10: "TEN_DIGITS_RAD",
        1e-09: "FLOAT_RAD",
        1e-08: "COSINE_RAD",
        1e-07: "REACHED_RAD",
        1e-06: "WRITTEN_RAD",
        0.0001: "FIRST_ORDER_RAD",
    },
    "deg": {
        1e-10: "TEN_DIGITS_DEG",
        1e-09: "FLOAT_DEG",
        1e-08: "SERIES_DEG",
        1e-06: "WRITTEN_DEG",
        0.0001: "PRINTED_DEG",
        0.0005: "HALF_SLOT_DEG",
        0.00051: "HALF_THOUSANDTH_DEG",
        0.001: "SLOT_DEG",
        0.01: "OFF_DEG",
        0.1: "TENTH_DEG",
        0.5: "HALF_DEG",
    },
    "": {
        1e-300: "NOTHING",
        1e-12: "EXACT",
        1e-09: "FLOAT",
        1e-07: "INTEGRATED",
        1e-06: "SIX_DECIMALS",
        1e-05: "SOLVED",
        0.0001: "FOUR_DECIMALS",
        0.0005: "HALF_THIRD_DECIMAL",
        0.00051: "HALF_THIRD_DIGIT",
        0.001: "THREE_DECIMALS",
        0.01: "TWO_DECIMALS",
        0.0501: "HALF_DIGIT",
        0.1: "ONE_DECIMAL",
    },
    "m": {0.001: "MILLIMETER_M", 0.01: "CENTIMETER_M", 0.1: "DECIMETER_M", 1.0: "METER_M"},
    "kg": {1e-06: "WRITTEN_KG", 0.0001: "SUMMED_KG", 0.001: "GRAM_KG"},
}
"""The names by unit and value, for the test that finds bare ones."""
