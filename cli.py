"""The command line: parses what was typed, runs the command, and turns every end into an exit status.

Exit status: 0 a plan that keeps every limit; 2 bad input; 3 no plan within the limits; 4 ended by a limit of time or
memory before any plan was flown, or anything asked about it was known; 130 stopped before that, or ended by SIGTERM;
1 a fault of ours, or standard output that does not take the text.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

TRACEBACK = "RINGWRIGHT_TRACEBACK"
"""Environment variable with which an unexpected exception is shown with its traceback."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit status. ``arguments`` default to those of the process."""
    # our matrices are small: the threads that NumPy's library would start for them only spin
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        return _ended(arguments)
    except KeyboardInterrupt:
        # while modules were loaded, or once more while the first one was answered
        if sys.stderr is not None:
            sys.stderr.write("ringwright: interrupted.\n")
        return 130


def _ended(arguments: Sequence[str] | None) -> int:
    """Run a command and say how it ended."""
    # inside the function: Ctrl-C while they are loaded is one as well
    from .models.errors import InputError
    from .reports.console import Ended, OutputLostError, complain, ending_in_order, give_up, kept_words
    from .reports.files import kept_files

    with kept_files() as kept, ending_in_order():
        from .reports.commands.planned import BAD_INPUT, INTERRUPTED, LOST, UNDECIDED
        from .reports.run_limits import UndecidedError

        try:
            return _command(arguments)
        except InputError as error:
            complain(f"ringwright: {error}")
            return BAD_INPUT
        except OutputLostError as fault:
            give_up()
            complain(f"ringwright: {fault}; {kept_words(kept)}.")
            return LOST
        except UndecidedError as fault:
            complain(f"ringwright: {fault}")
            return INTERRUPTED if fault.stopped else UNDECIDED
        except KeyboardInterrupt as fault:
            how = f"ended by {fault}" if isinstance(fault, Ended) else "interrupted"
            complain(f"ringwright: {how}; {kept_words(kept)}.")
            return INTERRUPTED
        except Exception as fault:
            if os.environ.get(TRACEBACK):
                raise
            complain(
                f"ringwright: a fault of ours ({type(fault).__name__}), not of your input; nothing that was printed "
                f"before this line is a whole answer. Run the same command with {TRACEBACK}=1 set to see where it "
                "happened, and send us that with the file."
            )
            return LOST


def _command(arguments: Sequence[str] | None) -> int:
    """Run a command, to the last character that it prints."""
    from .reports.commands.parser import parser
    from .reports.console import colored, flush

    try:
        typed = sys.argv[1:] if arguments is None else list(arguments)
        parsed = parser(typed).parse_args(typed)
        run: Callable[[argparse.Namespace], int] = parsed.run
        with colored(parsed.color):
            return _answered(run, parsed)
    finally:
        # what a buffer still holds can fail as well as what was printed, a help page included
        flush()


def _answered(run: Callable[[argparse.Namespace], int], parsed: argparse.Namespace) -> int:
    """Run a command; where there is no plan that it could go on from, that is the answer."""
    from .reports.commands.deliver import next_text
    from .reports.commands.planned import NoPlanError, without_plan
    from .reports.console import show, width

    try:
        return run(parsed)
    except NoPlanError as none:
        from .reports.no_plan import infeasible_text

        show(infeasible_text(none.outcome, width()))
        show(next_text(without_plan(parsed, none.outcome), width()))
        return none.status


if __name__ == "__main__":
    sys.exit(main())
