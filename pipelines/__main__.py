"""The command `deckslab`, and `python -m pipelines`: nothing is imported before Ctrl-C is met."""

import atexit
import gc
import os
import sys

# Exit status of what Ctrl-C ended, as shells have it: 128 and the signal's number.
STOPPED = 130


# Cycles of objects are looked for after so many new ones, not after 700 as is usual: modules stay
# to the end, and going through them again and again is a seventh of the start of a run.
SELDOM = (50_000, 20, 20)


def collect_seldom() -> None:
    """Look for cycles of objects as seldom as suits a process that ends with its job, and at its
    end among none of those that are there: the system takes back the memory of all at once."""
    gc.set_threshold(*SELDOM)
    atexit.register(gc.freeze)


def main() -> int:
    """Run the command line; returns its exit status. Ctrl-C, while modules are imported too, is
    told in one line."""
    collect_seldom()
    try:
        from pipelines.cli.main import main as command_line

        return command_line()
    except KeyboardInterrupt:
        print("deckslab: stopped", file=sys.stderr, flush=True)
        # A plain end waits for threads at work, and dies of the signal where it came within `exec`.
        os._exit(STOPPED)


if __name__ == "__main__":
    sys.exit(main())
