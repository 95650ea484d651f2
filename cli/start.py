"""Where the program begins: Ctrl-C ends it quietly while all else is still being loaded."""

import sys


def run() -> None:
    """Load the program and run it as it is typed."""
    try:
        from plumbstone.cli.main import run as run_loaded

        run_loaded()
    except KeyboardInterrupt:
        sys.exit(130)
