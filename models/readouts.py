"""Quantities as people read and type them: clock times, instants, spans, numbers with spaced thousands, degrees.

Pure functions between text and SI units; nothing here knows what a quantity is for.
"""

from __future__ import annotations

import math
import re
from datetime import datetime, timedelta

_CLOCK = re.compile(r"([+-]?)(\d+):(\d\d):(\d\d(?:\.\d+)?)")
_TWO_PARTS = re.compile(r"[+-]?(\d+):(\d\d(?:\.\d+)?)")
MINUTE, DAY = 60.0, 86400.0


def clock(seconds: float, places: int = 1) -> str:
    """Write a duration as instruments show it, h:mm:ss with decimals.

    >>> clock(18249.15, 2), clock(59.96), clock(-61.0, 0), clock(3599.9999)
    ('5:04:09.15', '0:01:00.0', '-0:01:01', '1:00:00.0')
    """
    ticks = round(abs(seconds) * 10**places)
    whole, part = divmod(ticks, 10**places)
    text = f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    sign = "-" if seconds < 0 and ticks else ""
    return f"{sign}{text}.{part:0{places}d}" if places else sign + text


def days_and_clock(seconds: float, places: int = 1) -> str:
    """Write a duration as instruments show it, from ten days on with its days before it.

    >>> days_and_clock(18249.15, 2), days_and_clock(863999.9), days_and_clock(29241046.8)
    ('5:04:09.15', '239:59:59.9', '338 d 10:30:46.8')
    """
    if abs(seconds) < 10.0 * DAY:
        return clock(seconds, places)
    days = math.floor(round(abs(seconds), places) / DAY)
    return f"{'-' if seconds < 0 else ''}{days} d {clock(abs(seconds) - days * DAY, places)}"


def clock_seconds(text: str) -> float:
    """Read a duration written h:mm:ss, with decimals of a second if wanted, and nothing shorter.

    Raises:
        ValueError: anything else; where two readings are possible, the message names both.

    >>> clock_seconds("5:04:09.15"), clock_seconds("-0:01:01")
    (18249.15, -61.0)
    >>> clock_seconds("5:04")
    Traceback (most recent call last):
    ValueError: can be read as 5 h 04 min or as 5 min 04 s: write "5:04:00" or "0:05:04"
    """
    given = text.strip()
    match = _CLOCK.fullmatch(given)
    if match:
        sign, hours, minutes, seconds = match.groups()
        if int(minutes) < 60 and float(seconds) < 60.0:
            value = (int(hours) * 60 + int(minutes)) * 60 + float(seconds)
            return -value if sign == "-" else value
        raise ValueError("has 60 or more minutes or seconds: write h:mm:ss, each of the last two below 60")
    short = _TWO_PARTS.fullmatch(given)
    if short:
        first, second = short.groups()
        if "." in second:
            raise ValueError(f'is short of a part: write "0:{int(first):02d}:{second}" for {first} min {second} s')
        raise ValueError(
            f"can be read as {first} h {second} min or as {first} min {second} s: "
            f'write "{first}:{second}:00" or "0:{int(first):02d}:{second}"'
        )
    raise ValueError('is no duration: write it as h:mm:ss, such as "5:04:09.15", or as a number with a unit in the key')


def span(seconds: float) -> str:
    """Say a length of time to the minute, below ten minutes to the second.

    >>> span(7800.0), span(1.402717 * 86400), span(42.4), span(3599.9), span(259.0)
    ('2 h 10 min', '1 d 9 h 40 min', '42 s', '1 h', '4 min 19 s')
    """
    if seconds < 0:
        return "-" + span(-seconds)
    if math.isinf(seconds):
        return "without end"
    if seconds < 59.5:
        return f"{plain(seconds, 1 if seconds % 1 >= 0.05 and seconds < 10 else 0)} s"
    if round(seconds) < 600:
        parts = [(round(seconds) // 60, "min"), (round(seconds) % 60, "s")]
    else:
        minutes = round(seconds / MINUTE)
        parts = [(minutes // 1440, "d"), (minutes // 60 % 24, "h"), (minutes % 60, "min")]
    return " ".join(f"{size} {unit}" for size, unit in parts if size)


def instant(epoch: datetime | None, time_s: float, places: int = 0) -> str:
    """Write an instant: a date with clock where there is an epoch, else the time from the start.

    >>> instant(None, 93784.2), instant(None, -30.0)
    ('1 d 2:03:04', '-0:00:30')
    >>> from datetime import UTC
    >>> instant(datetime(2031, 5, 1, tzinfo=UTC), 61.5, 1)
    '2031-05-01 00:01:01.5 UTC'
    """
    if epoch is None:
        days, rest = divmod(round(abs(time_s), places), DAY)
        sign = "-" if time_s < 0 else ""
        return f"{sign}{days:.0f} d {clock(rest, places)}" if days else clock(time_s, places)
    exact = epoch + timedelta(seconds=round(time_s, places))
    text = exact.strftime("%Y-%m-%d %H:%M:%S")
    if places:
        text += f".{exact.microsecond // 10 ** (6 - places):0{places}d}"
    return text + (" UTC" if exact.utcoffset() == timedelta(0) else exact.strftime(" %z"))


def plain(value: float, places: int = 1) -> str:
    """Write a number with its thousands set apart by a space, and never as minus zero.

    >>> plain(48542.04, 0), plain(-0.04), plain(1710.09, 1)
    ('48 542', '0.0', '1 710.1')
    """
    return f"{round(value, places) + 0.0:,.{places}f}".replace(",", " ")


def brief(value: float, digits: int = 7) -> str:
    """Write a number as briefly as its digits allow, thousands set apart by a space, no trailing zeros.

    >>> brief(42164.0), brief(0.5), brief(398600.43550702266, 9), brief(1e-6), brief(math.inf), brief(6.02e23)
    ('42 164', '0.5', '398 600.436', '0.000001', 'inf', '6.02e+23')
    """
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if not -7 < size < 15:
        return f"{value:.{digits}g}"
    text = plain(value, max(0, digits - 1 - size))
    return text.rstrip("0").rstrip(".") if "." in text else text


def no_less(value: float, digits: int = 7) -> str:
    """Write a number as `brief` does, rounded up where it is rounded: a least value that is accepted as printed.

    >>> no_less(102.42204), no_less(102.42), no_more(2515.86949), no_more(-0.12345678)
    ('102.4221', '102.42', '2 515.869', '-0.1234568')
    """
    return _bound(value, digits, 1.0)


def no_more(value: float, digits: int = 7) -> str:
    """Write a number as `brief` does, rounded down where it is rounded: a greatest value, accepted as printed."""
    return _bound(value, digits, -1.0)


def _bound(value: float, digits: int, sign: float) -> str:
    text = brief(value, digits)
    if math.isinf(value) or sign * (float(text.replace(" ", "")) - value) >= 0.0:
        return text
    return brief(value + sign * 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1), digits)


def degrees(angle_rad: float, places: int = 1) -> str:
    """Write an angle in degrees.

    >>> degrees(math.pi / 2), degrees(-0.01, 2)
    ('90.0 deg', '-0.57 deg')
    """
    return f"{plain(math.degrees(angle_rad), places)} deg"


def turned(angle_rad: float) -> float:
    """Bring an angle into (-pi, pi], rad.

    >>> round(math.degrees(turned(math.radians(275.0)))), turned(-math.pi) == math.pi
    (-85, True)
    """
    return math.pi - (math.pi - angle_rad) % (2.0 * math.pi)


def listed(names: list[str]) -> str:
    """Join names as in a sentence.

    >>> listed(["Birch", "Cedar", "Hazel"])
    'Birch, Cedar and Hazel'
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""
