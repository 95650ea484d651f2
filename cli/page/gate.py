"""Who may come in: one gate before every request, socket and upload."""

import hmac
import secrets
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

COOKIE = "plumbstone"
LINK = "/in/"  # the secret stands behind it
LARGEST_BODY = 80_000_000  # [bytes] of one request
SECURITY = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (
        b"content-security-policy",
        b"default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; "
        b"style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        b"connect-src 'self'; worker-src 'self' blob:; frame-ancestors 'none'; base-uri 'self'; "
        b"form-action 'self'",
    ),
)
WELCOME = (
    "<!doctype html><meta charset=utf-8><meta http-equiv=refresh content='0;url=/'>"
    "<title>plumbstone</title><p><a href='/'>Go on</a></p>"
)
TURNED_AWAY = {
    401: "Open the link that the terminal shows, or scan its code.",
    403: "This request does not come from the page itself.",
    413: "This file is over 80 MB. Thin the scan out, or export only the stone.",
    421: "This name is not the one that the page is served under.",
}


@dataclass(slots=True)
class Gate:
    """An application behind a door (ASGI).

    Attributes
    ----------
    inside : callable
        The application.
    hosts : frozenset of str
        Names with port under which it is served; others are refused, so that no foreign
        name can be pointed at this machine.
    secret : str or None
        What the link must hold; None where only this machine can connect.
    """

    inside: Any
    hosts: frozenset[str]
    secret: str | None = None
    passes: set[str] = field(default_factory=set)  # cookies that were given out

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Let a request in or turn it away."""
        if scope["type"] == "lifespan":
            await self.inside(scope, receive, send)
            return
        headers = {k.decode("latin-1"): v.decode("latin-1") for k, v in scope["headers"]}
        if scope["type"] == "http" and self._is_link(scope, headers):
            await self._let_in(send)
            return
        fault = self._fault(scope, headers)
        if fault:
            await _turn_away(scope, send, fault)
        elif scope["type"] == "http":
            await self._pass(scope, receive, send)
        else:
            await self.inside(scope, receive, send)

    def _is_link(self, scope: Any, headers: dict[str, str]) -> bool:
        """Tell whether this is the link with the right secret."""
        path: str = scope["path"]
        if self.secret is None or not path.startswith(LINK):
            return False
        given = path[len(LINK) :].encode()
        return headers.get("host") in self.hosts and hmac.compare_digest(
            given, self.secret.encode()
        )

    def _fault(self, scope: Any, headers: dict[str, str]) -> int:
        """Give the status to turn a request away with; 0 to let it in."""
        if headers.get("host") not in self.hosts:
            return 421
        if self.secret is not None and not self._has_pass(headers):
            return 401
        asks_only = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        origin = headers.get("origin")
        own = asks_only if origin is None else origin in {f"http://{h}" for h in self.hosts}
        if not own:
            return 403
        length = headers.get("content-length", "0")
        return 413 if not length.isdigit() or int(length) > LARGEST_BODY else 0

    def _has_pass(self, headers: dict[str, str]) -> bool:
        """Tell whether the cookie is one that was given out."""
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return found is not None and any(
            hmac.compare_digest(found.value.encode(), known.encode()) for known in self.passes
        )

    async def _let_in(self, send: Any) -> None:
        """Give out a cookie, and lead on to the page without the secret in its address."""
        given = secrets.token_urlsafe(32)
        self.passes.add(given)
        cookie = f"{COOKIE}={given}; Path=/; HttpOnly; SameSite=Strict"
        await _answer(send, 200, WELCOME, [(b"set-cookie", cookie.encode())])

    async def _pass(self, scope: Any, receive: Any, send: Any) -> None:
        """Hand a request on: its body counted, its answer with the headers of a closed house."""
        seen = 0

        async def counted() -> Any:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            # A body without a length is cut off as if the other side had gone.
            return {"type": "http.disconnect"} if seen > LARGEST_BODY else message

        async def closed(message: Any) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *SECURITY]}
            await send(message)

        await self.inside(scope, counted, closed)


async def _turn_away(scope: Any, send: Any, status: int) -> None:
    """Refuse a request or a socket."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    await _answer(send, status, f"{TURNED_AWAY[status]}\n", [], "text/plain")


async def _answer(
    send: Any, status: int, text: str, headers: list[tuple[bytes, bytes]], kind: str = "text/html"
) -> None:
    """Send one short page."""
    start = [
        (b"content-type", f"{kind}; charset=utf-8".encode()),
        (b"cache-control", b"no-store"),
        (b"connection", b"close"),
        *SECURITY,
        *headers,
    ]
    await send({"type": "http.response.start", "status": status, "headers": start})
    await send({"type": "http.response.body", "body": text.encode()})
