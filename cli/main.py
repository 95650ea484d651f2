"""The program `plumbstone`: one command a module, each imported light."""

import os
import sys
from typing import Annotated

import typer

from plumbstone.cli.bed import bed
from plumbstone.cli.demo import demo
from plumbstone.cli.hold import hold
from plumbstone.cli.materials import materials
from plumbstone.cli.new import new
from plumbstone.cli.output import TrustOption
from plumbstone.cli.plan import plan
from plumbstone.cli.show import show
from plumbstone.cli.terminal import set_terminal
from plumbstone.cli.weigh import weigh
from plumbstone.meshes.beside import trust as trust_folders
from plumbstone.meshes.limits import VARIABLE

app = typer.Typer(
    name="plumbstone",
    help="Weights, litres, bags and buoyancy for a planted tank, from rough 3D shapes.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
for command in (new, weigh, bed, hold, plan, show, materials, demo):
    app.command()(command)


@app.callback()
def options(
    limits: Annotated[
        float,
        typer.Option(
            "--limits",
            help="Raise the limits on file size, faces and grid cells by this factor.",
            min=1,
            max=1000,
        ),
    ] = 1.0,
    trust: TrustOption = None,
) -> None:
    """Set what holds for every command."""
    trust_folders(trust)
    if limits > 1:
        os.environ[VARIABLE] = str(limits)


def run() -> None:
    """Run the program; the last guard against a traceback on Ctrl-C or a closed pipe."""
    set_terminal()
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except Exception as error:  # a fault of ours; people get a line, not a traceback
        reason = f"{type(error).__name__}: {error}".splitlines()[0]
        typer.echo(f"plumbstone: a fault of the program itself ({reason}); report it.", err=True)
        sys.exit(3)
