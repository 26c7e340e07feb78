"""Text from files and arguments, made fit to print: it moves no cursor, turns no line around, fills no screen."""

from __future__ import annotations


def printable(text: str, keep: str = "") -> str:
    """Write what is not plain print as its escape, as TOML and JSON write it.

    Control characters, those that change the direction of reading, invisible ones, spaces other than the common one
    and halves of characters go (Python's ``str.isprintable``, from the Unicode categories C and Z).

    Args:
        keep: characters that stay, such as a line feed.

    >>> print(printable("\\x1b[31mred, \\u202ebackwards, Größe"))
    \\u001b[31mred, \\u202ebackwards, Größe
    """
    if text.isprintable():
        return text
    return "".join(one if one.isprintable() or one in keep else escaped(one) for one in text)


_SHORT = {"\n": "\\n", "\t": "\\t", "\r": "\\r"}


def escaped(one: str) -> str:
    """One character as its escape."""
    if one in _SHORT:
        return _SHORT[one]
    code = ord(one)
    if code <= 0xFFFF:
        return f"\\u{code:04x}"
    # JSON knows four digits only: a pair of halves
    high, low = divmod(code - 0x10000, 0x400)
    return f"\\u{0xD800 + high:04x}\\u{0xDC00 + low:04x}"


def shortened(text: str, most: int) -> str:
    """Cut a long text in its middle, where it says how much was left out; its start and end stay.

    >>> shortened("a" * 40 + "b" * 1000, 60)
    'aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa...(980 characters left out)...bbbbbbbbbbbbbbbbbbbb'
    """
    if len(text) <= most:
        return text
    head = most * 2 // 3
    return f"{text[:head]}...({len(text) - most} characters left out)...{text[len(text) - most + head :]}"
