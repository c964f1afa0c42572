"""Who may talk to the room, and how much they may send: checked before anything else runs.

The room holds photos of a person and runs on a machine that also shows pages from elsewhere.
So every request, and the websocket, must name this room as its host, carry the token of this
launch, and not come out of another page; whatever it sends is counted against a limit while it
comes in. What goes out says that nothing from elsewhere may be loaded or framed.
"""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, TypeAlias

__all__ = ["BEGINNING", "Guard", "enter_path"]

BEGINNING = "/begin"
"""The page that a browser sees first."""

_Scope: TypeAlias = MutableMapping[str, Any]
_Receive: TypeAlias = Callable[[], Awaitable[MutableMapping[str, Any]]]
_Send: TypeAlias = Callable[[MutableMapping[str, Any]], Awaitable[None]]
_App: TypeAlias = Callable[[_Scope, _Receive, _Send], Awaitable[None]]

_ANY_HOST = {"0.0.0.0", "::"}
_SMALL_BODY = 1 << 20
_DAY_S = 24 * 3600

# Vue compiles the templates of components in the browser, which takes 'unsafe-eval'.
_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self' {sockets}; worker-src 'self' blob:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
_HEADERS = {
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    b"referrer-policy": b"no-referrer",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(), microphone=(), geolocation=(), usb=(), payment=()",
}


def enter_path(token: str) -> str:
    """Return the path that lets a browser in for as long as the room is open."""
    return f"/enter/{token}"


class Guard:
    """ASGI application in front of the room's own.

    Parameters
    ----------
    app
        What answers those who may come in.
    token
        Secret of this launch.
    host, port
        What the room listens on. Listening on every address lets in requests that name it by
        any number or by one of ``names``: a page from elsewhere that has its name pointed here
        still names itself.
    names
        Host names by which it may be asked for.
    body_limits
        The most bytes that a request may send, by the beginning of its path; 1 MiB elsewhere.
    """

    def __init__(
        self,
        app: _App,
        *,
        token: str,
        host: str,
        port: int,
        names: Iterable[str] = (),
        body_limits: Mapping[str, int] | None = None,
    ) -> None:
        self._app = app
        self._token = token
        self._port = port
        self._any_number = host in _ANY_HOST
        self._names = {name.lower() for name in names} | {host.lower()}
        if host in {"127.0.0.1", "::1", "localhost"} | _ANY_HOST:
            self._names |= {"127.0.0.1", "::1", "localhost"}
        self._limits = dict(body_limits or {})
        self._cookie = f"fitkit-room-{port}"

    async def __call__(self, scope: _Scope, receive: _Receive, send: _Send) -> None:
        """Let a request through or answer it here."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = _Headers(scope)
        refusal = self._refusal(scope, headers)
        if scope["type"] == "websocket":
            if refusal or not headers.one("origin"):
                await send({"type": "websocket.close", "code": 1008})
                return
            await self._app(scope, receive, send)
            return
        sent = _Sent(send, headers.one("host"))
        if self._enters(scope, headers):
            await self._let_in(sent)
        elif refusal:
            await sent.words(403, refusal)
        else:
            await self._within_limit(scope, headers, receive, sent)

    # -- who -----------------------------------------------------------------------------

    def _refusal(self, scope: _Scope, headers: _Headers) -> str:
        """Return why a request is refused; empty when it may come in."""
        host = headers.one("host")
        if not self._is_this_room(host):
            return "This address is not the room's."
        if not self._knows_token(headers):
            return "Open the room by the whole address that 'fitkit room' printed."
        origin = headers.one("origin")
        changing = scope["type"] == "websocket" or scope["method"] not in {"GET", "HEAD"}
        if (origin or changing) and origin.lower() != f"http://{host}".lower():
            return "This comes from another page."
        if headers.one("sec-fetch-site") in {"cross-site", "same-site"}:
            return "This comes from another page."
        return ""

    def _is_this_room(self, host: str) -> bool:
        name, separator, port = host.rpartition(":")
        if not separator or port != str(self._port):
            return False
        name = name.removeprefix("[").removesuffix("]").lower()
        if name in self._names:
            return True
        if not self._any_number:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True

    def _knows_token(self, headers: _Headers) -> bool:
        try:
            cookie = SimpleCookie(headers.one("cookie")).get(self._cookie)
        except CookieError:
            return False
        return cookie is not None and self._is_token(cookie.value)

    def _is_token(self, text: str) -> bool:
        return secrets.compare_digest(text.encode(), self._token.encode())

    def _enters(self, scope: _Scope, headers: _Headers) -> bool:
        path = str(scope["path"])
        return (
            scope["method"] == "GET"
            and path.startswith(enter_path(""))
            and self._is_token(path.removeprefix(enter_path("")))
            and self._is_this_room(headers.one("host"))
        )

    async def _let_in(self, sent: _Sent) -> None:
        # A page of our own in place of a redirect: a strict cookie is not sent along a
        # redirect that began in another page, such as a terminal in a browser.
        cookie = (
            f"{self._cookie}={self._token}; HttpOnly; SameSite=Strict; Path=/; Max-Age={_DAY_S}"
        )
        await sent.page(
            '<!doctype html><html lang="en"><meta charset="utf-8"><title>fitting room</title>'
            f'<meta http-equiv="refresh" content="0;url={BEGINNING}">'
            f'<p><a href="{BEGINNING}">Into the room</a></p>',
            ((b"set-cookie", cookie.encode()),),
        )

    # -- how much ------------------------------------------------------------------------

    async def _within_limit(
        self, scope: _Scope, headers: _Headers, receive: _Receive, sent: _Sent
    ) -> None:
        path = str(scope["path"])
        limit = next(
            (limit for start, limit in self._limits.items() if path.startswith(start)), _SMALL_BODY
        )
        too_much = f"That is more than {limit / 1e6:.0f} MB."
        declared = headers.one("content-length")
        if declared and (not declared.isdigit() or int(declared) > limit):
            await sent.words(413, too_much)
            return
        received = 0

        async def counted() -> MutableMapping[str, Any]:
            nonlocal received
            message = await receive()
            if message["type"] == "http.request":
                received += len(message.get("body", b""))
                if received > limit:
                    await sent.words(413, too_much)
                    return {"type": "http.disconnect"}
            return message

        await self._app(scope, counted, sent)


class _Headers:
    """Request headers; one that must be single and is not counts as not there."""

    def __init__(self, scope: _Scope) -> None:
        self._rows: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            self._rows.setdefault(name.lower(), []).append(value)

    def one(self, name: str) -> str:
        values = self._rows.get(name.encode(), [])
        return values[0].decode("latin-1") if len(values) == 1 else ""


class _Sent:
    """Sends answers with the room's headers; after one of our own the application is not heard."""

    def __init__(self, send: _Send, host: str) -> None:
        self._send = send
        self._sockets = f"ws://{host}"
        self._begun = False
        self._ours = False

    async def __call__(self, message: MutableMapping[str, Any]) -> None:
        if self._ours:
            return
        if message["type"] == "http.response.start":
            self._begun = True
            message = {**message, "headers": self._headers(message.get("headers", ()))}
        await self._send(message)

    async def words(self, status: int, words: str) -> None:
        await self._answer(status, words.encode(), b"text/plain; charset=utf-8", ())

    async def page(self, html: str, headers: Iterable[tuple[bytes, bytes]]) -> None:
        await self._answer(200, html.encode(), b"text/html; charset=utf-8", headers)

    async def _answer(
        self, status: int, body: bytes, kind: bytes, headers: Iterable[tuple[bytes, bytes]]
    ) -> None:
        if self._ours:
            return
        self._ours = True
        if self._begun:
            return
        rows = [(b"content-type", kind), (b"cache-control", b"no-store"), *headers]
        if status != 200:
            rows.append((b"connection", b"close"))
        await self._send(
            {"type": "http.response.start", "status": status, "headers": self._headers(rows)}
        )
        await self._send({"type": "http.response.body", "body": body})

    def _headers(self, rows: Iterable[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
        kept = [
            (name, value)
            for name, value in rows
            if not name.lower().startswith(b"access-control-") and name.lower() not in _HEADERS
        ]
        given = {name.lower() for name, _ in kept}
        kept += _HEADERS.items()
        if b"content-security-policy" not in given:
            policy = _POLICY.format(sockets=self._sockets)
            kept.append((b"content-security-policy", policy.encode("latin-1", "replace")))
        if b"cache-control" not in given:
            kept.append((b"cache-control", b"no-store"))
        return kept
