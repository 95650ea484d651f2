"""Nobody comes in: each way that a stranger could try, tried."""

import http.client
import itertools
import re
import socket
import subprocess
from collections.abc import Iterator
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from pages import Browser, Server, opened

from plumbstone.cli.page.folder import Folder, FolderError


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("phone")
    (folder / "outside.txt").write_text("private", encoding="utf-8")
    served = folder / "served"
    served.mkdir()
    (served / "away.toml").write_text(
        '[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\n[[piece]]\nname = "A"\nkind = "stone"\n'
        'material = "granite"\nscan = "../outside.txt"\n',
        encoding="utf-8",
    )
    (served / "linked.toml").symlink_to(folder / "outside.txt")
    (folder / "outside.stl").write_text("solid private\nendsolid private\n", encoding="utf-8")
    (served / "near.stl").symlink_to(folder / "outside.stl")
    away = (served / "away.toml").read_text(encoding="utf-8")
    (served / "near.toml").write_text(away.replace("../outside.txt", "near.stl"), encoding="utf-8")
    (served / "away-plan").symlink_to(folder)
    (folder / "build-sheet.html").write_text("private", encoding="utf-8")
    running = Server(served, "--phone")
    yield running
    running.kill()


def ask(
    server: Server, path: str, method: str = "GET", body: bytes | None = None, **headers: str
) -> tuple[int, str, dict[str, str]]:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=120)
    named = {key.replace("_", "-"): value for key, value in headers.items()}
    connection.request(method, path, body, named)
    answer = connection.getresponse()
    text = answer.read().decode(errors="replace")
    given = {key.lower(): value for key, value in answer.getheaders()}
    connection.close()
    return answer.status, text, given


def passed(server: Server) -> str:
    """Go through the link; give the cookie."""
    secret = server.link.rsplit("/", 1)[1]
    status, _, given = ask(server, f"/in/{secret}")
    assert status == 200
    cookie = given["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert secret not in cookie
    return cookie.split(";")[0]


def handshake(server: Server, **headers: str) -> int:
    """Ask for a socket; give the status."""
    status, _, _ = ask(
        server,
        "/_nicegui_ws/socket.io/?EIO=4&transport=websocket",
        Connection="Upgrade",
        Upgrade="websocket",
        Sec_WebSocket_Version="13",
        Sec_WebSocket_Key="dGhlIHNhbXBsZSBub25jZQ==",
        **headers,
    )
    return status


def test_a_phone_needs_the_secret(phone: Server) -> None:
    for path in ("/", "/tanks", "/stock", "/_nicegui/static/nicegui.css", "/in/wrong", "/in/"):
        assert ask(phone, path)[0] == 401
    assert ask(phone, "/", cookie="plumbstone=guess")[0] == 401
    assert ask(phone, "/", cookie=passed(phone))[0] == 200
    assert len(phone.link.rsplit("/", 1)[1]) >= 32  # 24 bytes of the system's own dice


def test_a_socket_needs_the_secret_and_the_page(phone: Server) -> None:
    cookie = passed(phone)
    assert handshake(phone, origin=phone.home) == 403  # no cookie
    assert handshake(phone, cookie=cookie) == 403  # no origin
    assert handshake(phone, cookie=cookie, origin="http://evil.example") == 403
    connection = socket.create_connection(("127.0.0.1", phone.port), timeout=120)
    connection.sendall(
        f"GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1\r\n"
        f"Host: 127.0.0.1:{phone.port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
        f"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
        f"Cookie: {cookie}\r\nOrigin: {phone.home}\r\n\r\n".encode()
    )
    assert b"101" in connection.recv(200).split(b"\r\n")[0]
    connection.close()


def test_another_site_can_neither_post_nor_point_its_name_here(phone: Server) -> None:
    cookie = passed(phone)
    assert ask(phone, "/", cookie=cookie, host=f"evil.example:{phone.port}")[0] == 421
    assert ask(phone, "/", "POST", b"", cookie=cookie, origin="http://evil.example")[0] == 403
    assert ask(phone, "/", "POST", b"", cookie=cookie)[0] == 403
    assert ask(phone, "/", cookie=cookie, origin="null")[0] == 403


def test_this_machine_alone_is_served_unless_asked(server: Server) -> None:
    listening = subprocess.run(
        ["cat", "/proc/net/tcp"], capture_output=True, text=True, check=True
    ).stdout
    at = [row.split()[1] for row in listening.splitlines() if f":{server.port:04X} " in row]
    assert at
    assert all(address.startswith("0100007F") for address in at if ":" in address)
    assert ask(server, "/", host=f"evil.example:{server.port}")[0] == 421
    assert handshake(server, origin="http://evil.example") == 403


OWN = f"/_nicegui/{version('nicegui')}"
UP = "..%2F..%2F..%2F..%2F..%2F..%2F..%2F..%2F..%2F..%2Fetc%2Fpasswd"


@pytest.mark.parametrize(
    "path",
    ["/etc/passwd", "/tank/..%2F..%2Foutside.txt", "/tank/linked.toml", "/scene/..%2Foutside.txt",
     "/picture/..%2F..%2Foutside", "/scan/..%2Foutside", "/result/away.toml/build-sheet.html",
     "/result/away.toml/..%2F..%2Foutside.txt", "/result/..%2F/plan.json", "/static/", "/docs",
     "/openapi.json", "/served/", "/stock/stock.toml", f"{OWN}/static/{UP}", f"{OWN}/static/",
     f"{OWN}/libraries/{UP}", f"{OWN}/components/{UP}", f"{OWN}/resources/x/{UP}",
     f"{OWN}/esm/nicegui-scene/{UP}", f"{OWN}/dynamic_resources/{UP}", "/_nicegui/auto/static/"],
)  # fmt: skip
def test_no_path_leads_out_of_the_folder(phone: Server, path: str) -> None:
    status, text, _ = ask(phone, path, cookie=passed(phone))
    assert status in (403, 404)
    for secret in ("private", "root:", "Traceback", str(phone.folder), "site-packages"):
        assert secret not in text


def test_a_fault_in_a_page_is_told_without_its_inside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fastapi.testclient import TestClient

    from plumbstone.cli.page.app import application
    from plumbstone.cli.page.folder import Folder
    from plumbstone.cli.wording.units import Units

    def broken(_self: Folder) -> None:
        raise RuntimeError(f"inside of {tmp_path}")

    monkeypatch.setattr(Folder, "kept", broken)
    gate = application(Folder(tmp_path), Units.METRIC, frozenset(["testserver"]))
    with TestClient(gate, raise_server_exceptions=False) as client:
        for path in ("/stock", "/picture/x"):
            answer = client.get(path)
            assert answer.status_code == 500
            assert answer.text.startswith("Something went wrong in the program itself")
            assert str(tmp_path) not in answer.text


def test_letters_of_the_page_follow_the_size_that_its_reader_chose() -> None:
    # WCAG 2.2, 1.4.4 Resize Text: sizes in pixels would stay as they are.
    css = (files("plumbstone.cli.page") / "page.css").read_text("utf-8")
    assert re.findall(r"font(?:-size)?:[^;]*\dpx[^;]*", css) == []


def test_a_strangers_stock_reads_nothing_else(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "stock.toml").write_text('[[kept]]\nname = "private"\n', encoding="utf-8")
    served = Folder(tmp_path / "served")
    served.root.mkdir()
    (served.root / "stock").symlink_to(outside)
    row = {"name": "x", "material": "granite", "kilograms": [1, 2, 3], "litres": [1, 1, 1]}
    for act in (served.kept, lambda: served.keep(row, None), lambda: served.picture_of("x")):
        with pytest.raises(FolderError, match="is a link"):
            act()
    assert len(list(outside.iterdir())) == 1
    (served.root / "stock").unlink()
    (served.root / "stock").mkdir()
    (served.root / "stock" / "stock.toml").symlink_to(outside / "stock.toml")
    with pytest.raises(FolderError, match="is a link"):
        served.kept()
    (served.root / "stock" / "stock.toml").unlink()
    (served.root / "stock" / "stock.toml").write_text('[[kept]]\nname = "half"\n', "utf-8")
    with pytest.raises(FolderError, match="not whole; mend it"):
        served.kept()


def test_too_large_an_upload(phone: Server) -> None:
    cookie = passed(phone)
    connection = http.client.HTTPConnection("127.0.0.1", phone.port, timeout=120)
    connection.putrequest("POST", "/_nicegui/client/x/upload/1")
    connection.putheader("Content-Length", str(200_000_000))
    connection.putheader("Cookie", cookie)
    connection.putheader("Origin", phone.home)
    connection.endheaders()
    answer = connection.getresponse()
    assert answer.status == 413
    assert "80 MB" in answer.read().decode()


def test_no_foreign_part_can_be_loaded(phone: Server) -> None:
    _, text, given = ask(phone, "/", cookie=passed(phone))
    assert "default-src 'self'" in given["content-security-policy"]
    assert given["x-frame-options"] == "DENY"
    assert given["referrer-policy"] == "no-referrer"
    for scheme in ("https://", "http://"):
        links = [part for part in text.split('"') if part.startswith(scheme)]
        assert all(link.startswith(phone.home) for link in links), links


def test_a_scape_file_cannot_read_another_file(browser: Browser, phone: Server) -> None:
    tab, _ = opened(browser, phone.link)
    for name in ("away.toml", "near.toml"):  # by its path, and by a link beside it
        tab.goto(f"{phone.link.split('/in/')[0]}/tank/{name}")
        alert = tab.get_by_role("alert")
        alert.get_by_text("neither beside nor below").wait_for()
        assert "private" not in tab.content()


def test_the_code_in_the_terminal_is_the_link(phone: Server) -> None:
    cv2 = pytest.importorskip("cv2")
    assert phone.process.stdout is not None
    rows = list(itertools.takewhile(lambda row: "Who has" not in row, phone.process.stdout))
    halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    inside = [re.sub(r"\x1b\[[0-9;]*m", "", row).rstrip("\n") for row in rows]
    wide = max(map(len, inside))
    light = [[halves[c][half] for c in row.ljust(wide)] for row in inside if row for half in (0, 1)]
    picture = np.kron(np.array(light, np.uint8) * 255, np.ones((8, 8), np.uint8))
    picture = np.pad(picture, 40, constant_values=255)
    read, *_ = cv2.QRCodeDetectorAruco().detectAndDecode(picture)  # the other misreads 2 % of links
    assert read == phone.link
