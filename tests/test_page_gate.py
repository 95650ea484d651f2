"""Nobody comes in: each way that a stranger could try, tried."""

import http.client
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from test_page import DEMO, Server, browser, opened  # noqa: F401

pytest.importorskip("nicegui")


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
    running = Server(served, "--phone")
    yield running
    running.kill()


def ask(
    server: Server, path: str, method: str = "GET", body: bytes | None = None, **headers: str
) -> tuple[int, str, dict[str, str]]:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=60)
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
    connection = socket.create_connection(("127.0.0.1", phone.port), timeout=30)
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


def test_this_machine_alone_is_served_unless_asked(tmp_path: Path) -> None:
    here = Server(tmp_path)
    try:
        listening = subprocess.run(
            ["cat", "/proc/net/tcp"], capture_output=True, text=True, check=True
        ).stdout
        at = [row.split()[1] for row in listening.splitlines() if f":{here.port:04X} " in row]
        assert at
        assert all(address.startswith("0100007F") for address in at if ":" in address)
        assert ask(here, "/", host=f"evil.example:{here.port}")[0] == 421
        assert handshake(here, origin="http://evil.example") == 403
    finally:
        here.kill()


@pytest.mark.parametrize(
    "path",
    ["/etc/passwd", "/tank/..%2F..%2Foutside.txt", "/tank/linked.toml", "/scene/..%2Foutside.txt",
     "/picture/..%2F..%2Foutside", "/static/", "/stock/", "/docs", "/openapi.json"],
)  # fmt: skip
def test_no_path_leads_out_of_the_folder(phone: Server, path: str) -> None:
    status, text, _ = ask(phone, path, cookie=passed(phone))
    assert "private" not in text
    assert "root:" not in text
    assert "Traceback" not in text
    assert status in (404, 307, 500) or "There is no such tank" in text or "404" in text


def test_too_large_an_upload(phone: Server) -> None:
    cookie = passed(phone)
    connection = http.client.HTTPConnection("127.0.0.1", phone.port, timeout=60)
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


def test_a_scape_file_cannot_read_another_file(browser: object, phone: Server) -> None:  # noqa: F811
    tab, _ = opened(browser, phone.link)
    tab.goto(f"{phone.link.split('/in/')[0]}/tank/away.toml")
    alert = tab.get_by_role("alert")
    alert.get_by_text("neither beside nor below").wait_for()
    assert "private" not in tab.content()
