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

NODE_OF_A_YEAR_DEG = 0.01
"""What rates of second order in J2 leave of a node in a year: a third-order term, and a reading over a hundred days."""

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

# flights
CORRECTED_REL = 1e-5
"""What the corrector leaves of the ring's period, once a craft is within a thousandth of a degree of its slot."""
CROSSED_REL = 0.2
"""When an edge is crossed, by averages and by a flight: it is crossed slowly, and swings within turns decide."""
AVERAGED_DEG = 0.003
"""A mean over one turn against a slot, by an integrator that stops at other moments."""
LINEAR_REL = 0.05
"""A linear law for errors of one in a hundred, against flights."""
TWO_RULES_REL = 0.25
"""Reserves for 99 in 100 by two planners that trim by other rules."""
TRIMMED_REL = 0.1
"""What one trim, made for a mean over many turns, leaves of the error in two turns of flight."""
SECOND_ORDER_FACTOR = 10.0
"""The order of magnitude of terms of second order: their factors are of a few."""
DAY_OF_FLIGHT_M = 0.5
"""A day under several forces by two codes that interpolate positions of Sun and planets in their own ways."""
DRAGGED_M = 5.0
"""Two days with drag: the air is looked up in layers, and the way along grows with the square of time."""
MONTHS_M = 2.0
"""A hundred days by returns to the node, in one piece and in two."""
NEXT_TERM_M = 30.0
"""The next term of a wobble within a turn: oblateness squared times the radius."""
SECOND_ORDER_M = 100.0
"""Terms of second order in oblateness, of a radius of thousands of kilometers."""
MEAN_OF_STATE_M = 5.0
"""A mean radius out of one state: terms of second order within a turn."""
TWO_CENTIMETERS_M = 0.02
"""Two integrators that both stop at the edges of the shadow, over turns of it."""
METERS_TO_M_S = 0.02
"""An interpolation that is off by some meters over a step of minutes is off by this share of them in m/s."""
TWO_REACHED_RAD = 2e-7
"""A smoothed mean over many turns, of two ends."""
AND_BACK_RAD = 1e-5
"""Months of averaged drift and back again: the steps are chosen again on the way back."""
SHADOW_REL = 3e-4
"""A sum over steps of a turn with an edge of the shadow between two of them."""
SLOPE_OF_REL = 1e-7
"""A slope by differences of a potential."""
HARMONIC_REL = 1e-10
"""A field of degree 2 by recursion against its closed form, after the far larger term is taken off both."""
FLOAT_M_S2 = 1e-14
"""Sums of pulls of about one meter a second squared, in another order."""
STEP_REL = 0.2
"""The last moment that an integrator asks for is within a step of the end."""

# published and printed digits
WHOLE_S = 0.51
"""Half of a whole second, and a rounding."""
DIFFERENCE_M_S = 0.06
"""Half of the printed digit, and a difference of two corrected plans."""
TWICE_SLOT_DEG = 2e-3
"""Twice what the corrector stops at, by another integrator under the same forces."""
FOUR_DAYS_D = 4.0
"""The third digit of 130 days, read at the nearest of steps of days."""
FACT_SHEET_REL = 3e-6
"""Periods of fact sheets against rates of turn of another source, each with its last digit."""
THIRD_ORDER_REL = 4e-3
"""The next but one term of a series in a radius over a distance of some hundredths to a tenth."""
LIBRATION_DEG = 1.0
"""A mean longitude against leading terms of a pole: what their further terms come to."""
NINE_DECIMALS_S = 1e-8
"""The last of nine decimals, and the conversion from a rate with its own digits."""
SUMMED_DIGITS_S = 2e-3
"""The last of three decimals, from a rate with its own last digit."""
BY_SIZE_REL = 0.35
"""An estimate by size alone: how the Sun stands off the equator, the Moon's distance, the air that turns along."""
DEGREE_TWO_REL = 0.21
"""Degree 2 alone, where degree 3 comes to a fifth of it."""
HALF_NINTH_REL = 5.1e-9
"""Half of the last of nine digits, and a rounding."""
READ_OVER_A_DAY_S = 2e-5
"""Periods read off flights of a day under two fields, smoothed."""
ABOUT_DEG = 0.02
"""A value known as `about` to one decimal, computed once by hand with two."""
TWO_DIGITS_M = 20.0
"""Two of the last digit of a radius that is printed to ten meters."""
TENTH_KM = 0.11
"""The step in which a separation is named as serving, and a rounding."""
LOOSENED_DEG = 0.011
"""The step in which a tolerance is named as serving, and a rounding."""
SHARED_TURN_REL = 0.08
"""The turn that a drift of the node asks for, to first order, where burns of the phasing share it."""
AND_MORE_M_S = 3.0
"""What a drift of the node that begins on the right circle may add to the transfer between the circles."""
CLOCK_SYSTEMS_S = 2e-6
"""The difference of two Julian dates in two parts each, read to a microsecond."""
SHOWN_KM = 0.051
"""Half of the tenth that is shown, and a rounding."""
TEN_DIGITS_KM_S = 2e-10
"""Published totals of ten decimals."""
NINE_DECIMALS_MIN = 2e-9
"""Published waits of nine decimals."""
HALF_HUNDREDTH_DEG = 0.0051
"""Half of the last of two decimals, and a rounding."""
LAST_BIT_RAD = 1e-14
"""An angle written in degrees in full and read again."""
EIGHT_DECIMALS_D = 1e-8
"""Results write days to eight decimals or better."""
SIX_DIGITS_REL = 1e-5
"""Matrices in messages are written with six digits or more."""
HALF_OF_LAST = 0.51
"""Half of the last decimal, and a rounding; in units of that decimal."""

# counts and shares
BOTH_ENDS = 2.0
"""Trims at both ends of a span that whole cycles do not fill."""
ALONG_SHARE = 0.05
"""A burn along the track has so little of its error across, of one."""
TWO_WRITTEN = 2e-6
"""Two values each written in six decimals."""
LIFETIME_REL = 0.03
"""How long an orbit lasts in air, by averages and by a flight: the last turns, and what swings twice a turn."""
