"""The page where single requests fail, hang or are answered late: nothing typed is lost."""

from typing import Any

from pages import Browser, Server, at_tank, changed, computed, opened, piece, small_in, until

from plumbstone.cli.wording.page import LATE_VIEW, LOST_VIEW, UNSENT
from plumbstone.cli.wording.page_labels import TURN_IN_3D, USE_SCAN
from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes


def chosen(tab: Any, name: str, size: float) -> None:
    """Choose a file by keyboard."""
    stone = boulder((size, size * 0.8, size * 0.7), seed=7)
    with tab.expect_file_chooser() as asked:
        tab.locator("button.main").first.focus()  # its answer comes when the browser listens
        tab.keyboard.press("Enter")
    content = ply_bytes(stone.vertices, stone.faces)
    asked.value.set_files({"name": name, "mimeType": "model/ply", "buffer": content})


def test_a_scan_that_does_not_arrive_is_told_and_sent_again(
    browser: Browser, server: Server
) -> None:
    # It was told in no word, and the button that chooses a scan was dead from then on.
    for fail in (lambda route: route.fulfill(status=500), lambda route: route.abort()):
        tab, _ = opened(browser, server.home)
        tab.get_by_label("Length", exact=True).fill("28")
        tab.route("**/upload/**", fail)
        chosen(tab, "first.ply", 0.1)
        tab.get_by_role("alert").get_by_text(UNSENT).wait_for()
        assert tab.get_by_label("Length", exact=True).input_value() == "28"
        assert tab.get_by_role("button", name=USE_SCAN).is_visible()
        with tab.expect_request("**/upload/**"):
            chosen(tab, "again.ply", 0.1)
    tab.unroute("**/upload/**")
    chosen(tab, "second.ply", 0.11)
    tab.get_by_label("Answer").get_by_text("Trust").wait_for()
    assert "11.0 cm if m" in tab.get_by_label("Answer").inner_text()
    assert tab.get_by_role("alert").inner_text() == ""


def test_a_scan_that_hangs_makes_room_for_another(browser: Browser, server: Server) -> None:
    tab, _ = opened(browser, server.home)
    held: list[Any] = []
    tab.route("**/upload/**", lambda route: route.continue_() if held else held.append(route))
    chosen(tab, "hangs.ply", 0.2)
    until(tab, lambda: held)
    chosen(tab, "other.ply", 0.1)
    tab.get_by_label("Answer").get_by_text("Trust").wait_for()
    assert "10.0 cm if m" in tab.get_by_label("Answer").inner_text()
    assert tab.get_by_text("hangs.ply").count() == 0
    tab.unroute_all(behavior="ignoreErrors")


def test_a_view_that_fails_or_comes_late_is_no_picture_of_the_tank(
    browser: Browser, server: Server
) -> None:
    # Without its scene the view showed a tank that is empty but for water, and no word.
    file = small_in(server.folder, "wire.toml")
    tab, _ = at_tank(browser, server, file.name)
    tab.route("**/scene/**", lambda route: route.fulfill(status=500))
    fold = tab.get_by_text(TURN_IN_3D, exact=True)
    fold.click()
    tab.get_by_role("alert").get_by_text(LOST_VIEW).wait_for()
    fold.click()
    tab.get_by_text(LOST_VIEW).wait_for(state="detached")
    hung: list[Any] = []
    tab.unroute("**/scene/**")
    tab.route("**/scene/**", lambda route: hung.append(route))  # not answered yet
    fold.click()
    tab.get_by_role("status").get_by_text(LATE_VIEW).wait_for()
    hung[0].continue_()
    tab.get_by_text(LATE_VIEW).wait_for(state="detached")
    fold.click()
    held: list[Any] = []
    tab.unroute("**/scene/**")
    tab.route("**/scene/**", lambda route: route.continue_() if held else held.append(route))
    fold.click()
    until(tab, lambda: held)
    before = file.read_text(encoding="utf-8")
    piece(tab, "Stone").focus()
    with tab.expect_response("**/scene/**") as newest:
        tab.keyboard.press("ArrowUp")
        changed(file, before)
        computed(tab, "12.5 cm from the front")
    with tab.expect_response(held[0].request.url):
        held[0].continue_()  # the answer of before the change comes last
    tab.wait_for_timeout(500)
    assert newest.value.url != held[0].request.url
    tab.locator(".turning canvas").wait_for()
    assert tab.get_by_text(LOST_VIEW).count() == 0
    tab.unroute_all(behavior="ignoreErrors")


def test_a_lost_connection_is_read_aloud(browser: Browser, server: Server) -> None:
    tab, _ = opened(browser, server.home)
    tab.wait_for_function("window.socket?.connected")
    tab.evaluate("socket.disconnect()")
    tab.get_by_role("alert").get_by_text("Connection lost").wait_for()
