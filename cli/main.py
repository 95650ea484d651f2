"""The program `plumbstone`: one command a module, each imported light."""

import sys

import typer

app = typer.Typer(
    name="plumbstone",
    help="Weights, litres, bags and buoyancy for a planted tank, from rough 3D shapes.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def run() -> None:
    """Run the program; the last guard against a traceback on Ctrl-C or a closed pipe."""
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
