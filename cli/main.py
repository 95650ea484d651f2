"""The program `plumbstone`: one command a module, imported only where it is asked for."""

import errno
import gc
import os
import sys
import warnings
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated

import typer

from plumbstone.cli.options import TrustOption, limits_factor
from plumbstone.cli.terminal import set_terminal
from plumbstone.meshes.limits import VARIABLE

# name → what it does; the module `cli/<name>.py` has a function of that name
COMMANDS = {
    "new": "Write a commented scape file that runs as it is.",
    "weigh": "Say how many litres and kilograms a stone or a piece of wood has, and its price.",
    "bed": "Say how many litres, kilograms and bags each layer takes.",
    "hold": "Say whether wood stays down, and how many grams of stone it needs.",
    "plan": "Compute everything from a scape file; --out writes it into a folder.",
    "show": "Show the tank from above and write its pictures; or set two scapes side by side.",
    "mat": "Write a mat of tags: print it at 100 %, put the stone on it, scan both with texture.",
    "materials": "List materials: densities, angles of repose, grain sizes, and their sources.",
    "serve": "Open a page in the browser: weigh in the shop, lay out at the desk.",
    "demo": "Weigh a made-up stone in the shop and lay out a made-up tank with it, into a folder.",
}


def program(words: Sequence[str]) -> typer.Typer:
    """Make the program with the command that is asked for; the others are named alone."""
    app = typer.Typer(
        name="plumbstone",
        help="Weights, litres, bags and buoyancy for a planted tank, from rough 3D shapes.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
    )
    app.callback()(options)
    for name, summary in COMMANDS.items():
        if name in words:
            app.command(name)(getattr(import_module(f"plumbstone.cli.{name}"), name))
        else:
            app.command(name, help=summary)(_not_asked_for)
    return app


def _not_asked_for() -> None:
    """Stand for a command that this run does not use."""


def _tell_version(asked: bool) -> None:
    """Print the version and end."""
    if asked:
        from importlib.metadata import version

        typer.echo(f"plumbstone {version('plumbstone')}")
        raise typer.Exit


def options(
    limits: Annotated[
        float | None,
        typer.Option(
            "--limits",
            parser=limits_factor,
            metavar="<number>",
            help="Raise the limits on file size, faces and grid cells by this factor.",
        ),
    ] = None,
    _trust: TrustOption = None,
    _version: Annotated[
        bool,
        typer.Option(
            "--version", help="Say which plumbstone this is.", is_eager=True, callback=_tell_version
        ),
    ] = False,
) -> None:
    """Set what holds for every command."""
    gc.enable()
    if limits is not None:
        os.environ[VARIABLE] = str(limits)


def _set_limits(words: Sequence[str]) -> None:
    """Look for --limits before any word is parsed, for the process that watches too."""
    for word, following in zip(words, (*words[1:], ""), strict=True):
        name, _, value = word.partition("=")
        if name == "--limits":
            os.environ[VARIABLE] = (value or following).replace(",", ".")


def run() -> None:
    """Run the program as it is typed, in a process of its own that is watched."""
    words = sys.argv[1:]
    # Our matrices are small: threads of BLAS would spin more than they compute.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if words and "--help" not in words:
        from plumbstone.cli.workers import supervise

        _set_limits(words)
        code = supervise()
        if code is not None:
            sys.exit(code)
    answer(words)


def answer(words: Sequence[str]) -> None:
    """Do what was typed; the last guard against a traceback, on Ctrl-C or a closed pipe too.

    Raises
    ------
    SystemExit
        Always, with the exit code.
    """
    set_terminal()
    warnings.simplefilter("ignore")  # libraries warn developers; people get our own words
    try:
        program(words)(list(words), prog_name="plumbstone")
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except Exception as error:  # a fault of ours; people get a line, not a traceback
        if isinstance(error, OSError) and error.errno == errno.ENOSPC:
            typer.echo("plumbstone: the disk is full; make room, and run it again.", err=True)
            sys.exit(1)
        reason = f"{type(error).__name__}: {error}".splitlines()[0]
        typer.echo(f"plumbstone: a fault of the program itself ({reason}); report it.", err=True)
        sys.exit(3)
