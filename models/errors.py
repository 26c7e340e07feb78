"""The one small family of errors.

Bad input is an :class:`InputError` and ends with exit status 2. That no plan fits the limits is an answer, not an
error (see ``optimizer/outcome.py``). A :class:`FlightError` makes an option one that cannot be flown: it reaches no
user. Any other exception is a fault of ours: one sentence and exit status 1.
"""

from __future__ import annotations

from .printable import printable, shortened

LONGEST_WORD, LONGEST = 200, 1500
"""Characters that a word of a message, and the whole of it, may have: what was given may have any length."""


class RingwrightError(Exception):
    """Root of the family; never raised itself."""


class InputError(RingwrightError):
    """What the user gave cannot be used.

    The message is one paragraph that says what is wrong, where, the value, and what would be accepted. What came from
    files and arguments may stand in it as it came: control characters are escaped here, and what is long is cut.

    Args:
        problem: the sentence, with value and remedy, ending in a period.
        where: file, line, key or craft, as the reader of the message would look for it; empty where there is no file.
    """

    def __init__(self, problem: str, *, where: str = "") -> None:
        self.problem = _fit(problem)
        self.where = _fit(where)
        super().__init__(f"{self.where}: {self.problem}" if where else self.problem)


class FlightError(RingwrightError):
    """A flight that cannot be integrated or measured: it falls into the body, or does not come round the ring."""


def _fit(text: str) -> str:
    words = printable(text).split(" ")
    return shortened(" ".join(shortened(word, LONGEST_WORD) for word in words), LONGEST)
