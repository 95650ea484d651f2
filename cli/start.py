"""Where the program begins: Ctrl-C ends it quietly while all else is still being loaded."""

import gc
import sys


def run() -> None:
    """Load the program and run it as it is typed."""
    gc.disable()  # nothing that is loaded is garbage; `options` puts it on again
    try:
        from plumbstone.cli.main import run as run_loaded

        run_loaded()
    except KeyboardInterrupt:
        sys.exit(130)
