"""The command `deckslab`, and `python -m pipelines`: nothing is imported before Ctrl-C is met."""

import os
import sys

# Exit status of what Ctrl-C ended, as shells have it: 128 and the signal's number.
STOPPED = 130


def main() -> int:
    """Run the command line; returns its exit status. Ctrl-C, while modules are imported too, is
    told in one line."""
    try:
        from pipelines.cli.main import main as command_line

        return command_line()
    except KeyboardInterrupt:
        print("deckslab: stopped", file=sys.stderr, flush=True)
        # A plain end waits for threads at work, and dies of the signal where it came within `exec`.
        os._exit(STOPPED)


if __name__ == "__main__":
    sys.exit(main())
