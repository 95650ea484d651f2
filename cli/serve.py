"""`plumbstone serve`: the page for the shop and the desk."""

import secrets
import socket
import time
from pathlib import Path
from typing import Annotated

import typer

from plumbstone.cli.output import ScapeUnitsOption, plain_errors, tell
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.errors import PlumbstoneError

HERE = ("127.0.0.1", "localhost")
LET_GO = 5.0  # [s] for a page that was just ended to let go of its port


def serve(
    folder: Annotated[Path, typer.Argument(help="Folder with scape files and stock.")] = Path(),
    phone: Annotated[
        bool, typer.Option("--phone", help="Also let a phone in this network in, by a secret link.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=1024, max=65535)] = 8470,
    open_page: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the page in a browser.")
    ] = True,
    units: ScapeUnitsOption = None,
) -> None:
    """Open a page in the browser: weigh in the shop, lay out at the desk."""
    from plumbstone.cli.page.gate import LINK

    with plain_errors():
        if folder.is_file():
            raise PlumbstoneError(
                f"{folder}: name the folder it lies in: plumbstone serve {folder.parent}"
            )
        if not folder.is_dir():
            raise PlumbstoneError(f"{folder}: is no folder; make it first.")
        outside = _own_address() if phone else None
        listening = _listening("0.0.0.0" if phone else HERE[0], port)
        secret = secrets.token_urlsafe(24) if phone else None
    link = f"http://{outside or HERE[0]}:{port}{LINK + secret if secret else '/'}"
    typer.echo(f"The page is at {link}")
    if secret is not None:
        import segno

        segno.make(link, micro=False).terminal(compact=True)
        tell(
            "Who has this link can read and change this folder; the network can listen in. "
            "Use it in a network you trust."
        )
    typer.echo("End it with Ctrl-C.")
    hosts = frozenset(f"{name}:{port}" for name in (*HERE, outside) if name)
    _run(folder, units, hosts, secret, listening, link if open_page else None)


def _run(
    folder: Path,
    units: Units | None,
    hosts: frozenset[str],
    secret: str | None,
    listening: socket.socket,
    link: str | None,
) -> None:
    """Serve until it is stopped; open the link in a browser, if there is one."""
    import uvicorn

    from plumbstone.cli.page.app import application
    from plumbstone.cli.page.folder import Folder
    from plumbstone.cli.workers import end_time_limit

    end_time_limit()  # it waits for people; each scan that is sent has limits of its own
    gate = application(Folder(folder.resolve()), units, hosts, secret)
    if link:
        typer.launch(link)
    settings = uvicorn.Config(
        gate,
        log_level="error",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=2,
        ws_max_size=1_000_000,
    )
    uvicorn.Server(settings).run(sockets=[listening])


def _listening(host: str, port: int) -> socket.socket:
    """Take the port; a browser that comes before the page is ready waits for it."""
    end = time.monotonic() + LET_GO
    while True:
        try:
            return socket.create_server((host, port))
        except OSError:
            if time.monotonic() > end:
                raise PlumbstoneError(f"Port {port} is taken; name another with --port.") from None
            time.sleep(0.1)


def _own_address() -> str:
    """Find the address of this machine in its network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        try:
            trial.connect(("192.0.2.1", 9))  # an address set aside for examples, RFC 5737
            found: str = trial.getsockname()[0]
        except OSError:
            raise PlumbstoneError("This machine is in no network; join one first.") from None
    return found
