"""The one small family of errors.

Bad input is an :class:`InputError` and ends with exit status 2. That no plan fits the limits is an answer, not an
error (see ``optimizer/outcome.py``). A :class:`FlightError` makes an option one that cannot be flown: it reaches no
user. Any other exception is a fault of ours: one sentence and exit status 1.
"""

from __future__ import annotations


class RingwrightError(Exception):
    """Root of the family; never raised itself."""


class InputError(RingwrightError):
    """What the user gave cannot be used.

    The message is one paragraph that says what is wrong, where, the value, and what would be accepted.

    Args:
        problem: the sentence, with value and remedy, ending in a period.
        where: file, line, key or craft, as the reader of the message would look for it; empty where there is no file.
    """

    def __init__(self, problem: str, *, where: str = "") -> None:
        self.problem = problem
        self.where = where
        super().__init__(f"{where}: {problem}" if where else problem)


class FlightError(RingwrightError):
    """A flight that cannot be integrated or measured: it falls into the body, or does not come round the ring."""
