"""The application: pages over one served folder, behind the gate."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fastapi import FastAPI
from fastapi.responses import FileResponse, PlainTextResponse, Response
from nicegui import app as pages
from nicegui import ui

from plumbstone.cli.page.compare_view import CompareView
from plumbstone.cli.page.desk import Desk
from plumbstone.cli.page.folder import Folder
from plumbstone.cli.page.gate import Gate
from plumbstone.cli.page.start_view import StartView
from plumbstone.cli.page.tank_forms import TankForms
from plumbstone.cli.page.tank_view import TankView
from plumbstone.cli.page.thumbnail import thumbnail_by_size
from plumbstone.cli.page.weigh_view import SHOWN, WeighView
from plumbstone.cli.page.widgets import button, element, page, telling
from plumbstone.cli.wording.page import BROKEN, EMPTY_STOCK, NO_TANK, PRICE
from plumbstone.cli.wording.report import money_words
from plumbstone.cli.wording.units import Units, mass_words, show_length
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.plan import Plan

RECONNECT = 60.0  # a phone that sleeps, or a machine that is busy, may be away so long [s]
ORDERS: dict[str, Callable[[Any], Any]] = {
    "lightest": lambda kept: kept.kilograms[1],
    "heaviest": lambda kept: -kept.kilograms[1],
    "by rock": lambda kept: (kept.material, kept.name),
}


def application(
    folder: Folder, asked: Units | None, hosts: frozenset[str], secret: str | None = None
) -> Gate:
    """Build the application for one folder; a tank is told in its own units if none are asked."""
    desks: dict[str, Desk] = {}
    units = asked or Units.METRIC
    # No page of interactive documentation: it would load parts from elsewhere.
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)

    def desk(name: str) -> Desk:
        folder.scape(name)
        return desks.setdefault(name, Desk(folder, name))

    @ui.page("/")
    def weigh() -> None:
        WeighView(folder, asked)

    @ui.page("/stock")
    def stock(order: str = "heaviest", rock: str = "") -> None:
        _stock_page(folder, units, order, rock)

    @ui.page("/tanks")
    def tanks() -> None:
        _tanks_page(folder)

    @ui.page("/tank/{name}")
    def tank(name: str) -> None:
        shown_in = asked or folder.units_of(name)
        TankView(desk(name), shown_in, lambda tab, place: TankForms(tab, place).refresh).build()

    @ui.page("/start")
    def start() -> None:
        StartView(folder, units)

    @ui.page("/compare")
    def compare(one: str = "", other: str = "") -> None:
        CompareView(folder, desk, asked, one, other)

    _add_files(app, folder, desk)
    for door in (app, pages):  # what is mounted answers for itself
        door.add_exception_handler(PlumbstoneError, _plain)
        door.add_exception_handler(404, _absent)
        door.add_exception_handler(Exception, _broken)
    ui.run_with(
        app,
        title="plumbstone",
        dark=None,
        tailwind=False,
        show_welcome_message=False,
        language="en-US",
        reconnect_timeout=RECONNECT,
    )
    return Gate(app, hosts, secret)


def _add_files(app: FastAPI, folder: Folder, desk: Callable[[str], Desk]) -> None:
    """Let an application answer for what pages show and link to."""

    @app.get("/scene/{name}")
    async def scene(name: str) -> Response:
        seen = desk(name).seen
        if seen is None:
            return PlainTextResponse("Not laid out yet.", 404)
        data = await asyncio.to_thread(_without_glass, seen.plan)
        return Response(data, media_type="model/gltf-binary")

    @app.get("/scan/{key}")
    def scan(key: str) -> Response:
        seen = SHOWN.get(key)
        if seen is None:
            return PlainTextResponse("No such scan.", 404)
        return Response(seen, media_type="model/gltf-binary")

    @app.get("/picture/{name}")
    def picture(name: str) -> Response:
        if path := folder.picture_of(name):
            return FileResponse(path)
        size, colour = next(((k.size, k.colour) for k in folder.kept() if k.name == name), ((), ""))
        if len(size) != 3:
            return PlainTextResponse("No picture.", 404)
        return Response(thumbnail_by_size(size, colour), media_type="image/png")

    @app.get("/result/{name}/{file}")
    def result(name: str, file: str) -> Response:
        path = folder.result_of(name, file)
        # Whatever stands in the file, it is shown as a foreign page and cannot act as this one.
        shut = {"content-security-policy": "sandbox allow-scripts allow-modals allow-downloads"}
        return FileResponse(path, headers=shut) if path else PlainTextResponse("No result.", 404)


async def _plain(_request: Any, error: Exception) -> Response:
    return PlainTextResponse(f"{error}\n", 404)


async def _absent(_request: Any, _error: Exception) -> Response:
    return PlainTextResponse("There is no such page.\n", 404)


async def _broken(_request: Any, _error: Exception) -> Response:
    return PlainTextResponse(f"{BROKEN}\n", 500)


def _without_glass(plan: Plan) -> bytes:
    """Give the scene of a plan; its water and its edges are drawn by the page."""
    from plumbstone.cli.pictures.scene import glb_bytes
    from plumbstone.cli.pictures.sight import look_at

    dry = replace(plan.scape.tank, water_line=None, glass=None)
    return glb_bytes(look_at(replace(plan, scape=replace(plan.scape, tank=dry))))


def _stock_page(folder: Folder, units: Units, order: str, rock: str) -> None:
    """Show cards of what was kept."""
    with page("Stock", "/stock", narrow=False) as wrong:
        kept = sorted(folder.kept(), key=ORDERS.get(order, ORDERS["heaviest"]))
        if not kept:
            element("p", "", EMPTY_STOCK)
            return
        with element("div", "acts"):
            for words in ORDERS:
                _pick(words, f"/stock?order={words}&rock={rock}", here=words == order)
            for material in sorted({one.material for one in kept}):
                only = "" if rock == material else material
                _pick(f"only {material}", f"/stock?order={order}&rock={only}", here=not only)
        shown = [(i, one) for i, one in enumerate(kept, 1) if rock in ("", one.material)]
        masses = [(Range(*one.kilograms), one.price) for _, one in shown]
        costs = [mass.times(price) for mass, price in masses if price is not None]
        if len(shown) > 1:
            told = f"Together {mass_words(Range.alike(mass for mass, _ in masses), units)}"
            some = "" if len(costs) == len(shown) else " of what has one"
            told += f"; price {money_words(Range.alike(costs))}{some}" if costs else ""
            element("p", "mid", f"{told}.")
        with element("ul", "cards"):
            for number, one in shown:
                with element("li", "card"):
                    if one.size or one.scan:
                        element("img", "", src=f"/picture/{one.name}", alt="", loading="lazy")
                    element("h2", "", f"{number}. {one.name}")
                    mass = Range(*one.kilograms)
                    element("p", "mid", mass_words(mass, units))
                    if one.price is not None:
                        element("p", "", PRICE.format(money_words(mass.times(one.price))))
                    sides = " × ".join(show_length(side, units) for side in one.size)
                    element("p", "soft", ", ".join(filter(None, (one.material, sides))))

                    async def drop(name: str = one.name) -> None:
                        folder.drop(name)
                        ui.navigate.reload()

                    button("Take off the list", telling(wrong, drop), "small")


def _pick(text: str, address: str, *, here: bool) -> None:
    """Make a link that sorts or filters; it stands out while it holds."""
    now = {"aria_current": "true"} if here else {}
    element("a", "pick", text, href=address, **now)


def _tanks_page(folder: Folder) -> None:
    """List the scape files, and start a new one."""
    with page("Tanks", "/tanks"):
        names = folder.scapes()
        if not names:
            element("p", "", NO_TANK)
        with element("ul", "cards"):
            for name in names:
                with element("li", "card"):
                    element("a", "mid", name.removesuffix(".toml"), href=f"/tank/{name}")

        with element("p", "acts"):
            element("a", "b main", "Start a new tank in four steps", href="/start")
            if len(names) > 1:
                element("a", "b", "Compare two", href="/compare")
