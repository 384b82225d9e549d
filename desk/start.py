"""Where the program begins, so that it can be stopped at any moment, its own start included.

Little is imported here: whatever is imported before ``main`` runs ends in a traceback at Ctrl-C.
"""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType

STOPPED = (
    "Stopped. What was said to be written or kept is whole and stays; "
    "what was still being worked on is not kept."
)


def main() -> None:
    """Run the command; one that is stopped, by Ctrl-C or by the system, says what is kept.

    The exit code is then 128 and the signal's number, as shells have it.
    """
    open_streams()
    codes = {128 + number for number in (signal.SIGINT, signal.SIGTERM)}
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:  # as `nohup` wants it
            signal.signal(number, stop)
    try:
        from desk.cli import main as run

        run()
    except KeyboardInterrupt:
        end(128 + signal.SIGINT)
    except SystemExit as ended:
        if ended.code in codes:
            end(int(ended.code))
        raise
    finally:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_DFL)  # what Python still tidies up ends at once


def open_streams() -> None:
    """Let streams that were closed lead nowhere: else the next files to be opened would have their
    numbers, and what libraries complain of would be written into them."""
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        os.set_inheritable(number, True)
    os.close(number)
    sys.stdin = sys.stdin or os.fdopen(0, closefd=False)
    sys.stdout = sys.stdout or os.fdopen(1, "w", closefd=False)
    sys.stderr = sys.stderr or os.fdopen(2, "w", closefd=False)


def stop(number: int, _frame: FrameType | None) -> None:
    """Unwind the command, so that no file is left half written; a second signal ends it at once."""
    signal.signal(number, signal.SIG_DFL)
    if number == signal.SIGINT:
        raise KeyboardInterrupt
    sys.exit(128 + number)


def end(code: int) -> None:
    """Say that the command was stopped, and end."""
    print(STOPPED, file=sys.stderr)
    sys.exit(code)


if __name__ == "__main__":
    main()
