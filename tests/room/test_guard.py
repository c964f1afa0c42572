"""Who may talk to the room, tried as a hostile page or program would."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Iterator
from typing import Any

import pytest

from fitkit.room.guard import Guard, enter_path

TOKEN, PORT = "a-secret-of-this-launch", 8123
HERE = f"127.0.0.1:{PORT}"
COOKIE = f"fitkit-room-{PORT}={TOKEN}"
LIMIT = 5_000_000


class Inner:
    """Stands for the room itself: says what reached it, reads whatever is sent."""

    def __init__(self) -> None:
        self.reached: list[str] = []
        self.received = 0

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self.reached.append(scope["path"])
        if scope["type"] == "websocket":
            await send({"type": "websocket.accept"})
            return
        while True:
            message = await receive()
            if message["type"] == "http.disconnect":
                return
            self.received += len(message.get("body", b""))
            if not message.get("more_body"):
                break
        headers = [(b"access-control-allow-origin", b"*"), (b"content-type", b"text/plain")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": b"in"})


def asked(
    inner: Inner,
    *,
    method: str = "GET",
    path: str = "/photos",
    kind: str = "http",
    body: Iterable[bytes] = (b"",),
    **headers: str,
) -> list[dict[str, Any]]:
    """Return what the guard sends for one request; a header given as "" is left out."""
    guard = Guard(inner, token=TOKEN, host="127.0.0.1", port=PORT, body_limits={"/drop/": LIMIT})
    rows = {"host": HERE, "cookie": COOKIE} | {k.replace("_", "-"): v for k, v in headers.items()}
    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "headers": [(k.encode(), v.encode("latin-1")) for k, v in rows.items() if v],
    }
    chunks: Iterator[bytes] = iter(body)
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        chunk = next(chunks, None)
        if chunk is None:
            return {"type": "http.request", "body": b"", "more_body": False}
        return {"type": "http.request", "body": chunk, "more_body": True}

    async def send(message: Any) -> None:
        sent.append(dict(message))

    asyncio.run(guard(scope, receive, send))
    return sent


def status(sent: list[dict[str, Any]]) -> int:
    return int(sent[0]["status"])


def test_the_room_itself_is_let_in() -> None:
    inner = Inner()
    assert status(asked(inner)) == 200
    assert inner.reached == ["/photos"]


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example"},
        {"host": f"evil.example:{PORT}"},
        {"host": f"127.0.0.1.evil.example:{PORT}"},
        {"host": "127.0.0.1"},
        {"host": "127.0.0.1:80"},
        {"host": ""},
        {"host": f"192.168.1.20:{PORT}"},
        {"cookie": ""},
        {"cookie": f"fitkit-room-{PORT}=wrong"},
        {"cookie": f"fitkit-room-{PORT}="},
        {"cookie": f"fitkit-room-{PORT}={TOKEN}x"},
        {"cookie": f"fitkit-room-9999={TOKEN}"},
        {"cookie": f'fitkit-room-{PORT}="\xe9"'},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": f"https://{HERE}"},
        {"sec_fetch_site": "cross-site"},
        {"sec_fetch_site": "same-site"},
    ],
    ids=str,
)
@pytest.mark.parametrize("method", ["GET", "POST", "DELETE", "OPTIONS"])
def test_strangers_are_refused(headers: dict[str, str], method: str) -> None:
    inner = Inner()
    own = {"origin": f"http://{HERE}"} if method != "GET" else {}
    assert status(asked(inner, method=method, **{**own, **headers})) == 403
    assert inner.reached == []


def test_a_change_without_an_origin_is_refused() -> None:
    inner = Inner()
    assert status(asked(inner, method="POST")) == 403
    assert inner.reached == []
    assert status(asked(inner, method="POST", origin=f"http://{HERE}")) == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://evil.example"},
        {"origin": f"http://{HERE}", "host": f"evil.example:{PORT}"},
        {"origin": f"http://{HERE}", "cookie": ""},
    ],
    ids=str,
)
def test_a_stranger_gets_no_websocket(headers: dict[str, str]) -> None:
    inner = Inner()
    sent = asked(inner, kind="websocket", path="/_nicegui_ws/socket.io/", **headers)
    assert [row["type"] for row in sent] == ["websocket.close"]
    assert inner.reached == []


def test_the_rooms_own_page_gets_its_websocket() -> None:
    sent = asked(Inner(), kind="websocket", origin=f"http://{HERE}")
    assert [row["type"] for row in sent] == ["websocket.accept"]


def test_two_host_headers_are_none() -> None:
    inner = Inner()
    guard = Guard(inner, token=TOKEN, host="127.0.0.1", port=PORT)
    headers = [(b"host", HERE.encode()), (b"host", b"evil.example"), (b"cookie", COOKIE.encode())]
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> dict[str, Any]:
        return {"type": "http.request"}

    scope = {"type": "http", "method": "GET", "path": "/", "headers": headers}
    asyncio.run(guard(scope, receive, send))
    assert status(sent) == 403


def test_the_printed_address_lets_in_and_keeps_the_token_from_scripts() -> None:
    inner = Inner()
    sent = asked(inner, path=enter_path(TOKEN), cookie="")
    headers = dict(sent[0]["headers"])
    cookie = headers[b"set-cookie"].decode()
    assert status(sent) == 200
    assert cookie.startswith(COOKIE)
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert inner.reached == []


@pytest.mark.parametrize("path", [enter_path("wrong"), enter_path(""), enter_path(TOKEN) + "/"])
def test_another_address_lets_nobody_in(path: str) -> None:
    sent = asked(Inner(), path=path, cookie="")
    assert status(sent) == 403
    assert b"set-cookie" not in dict(sent[0]["headers"])


def test_the_right_address_asked_under_another_name_lets_nobody_in() -> None:
    sent = asked(Inner(), path=enter_path(TOKEN), cookie="", host="evil.example")
    assert status(sent) == 403


@pytest.mark.parametrize(
    ("name", "expected"),
    [("192.168.1.20", 200), ("[fe80::1]", 200), ("bench-pc", 200), ("evil.example", 403)],
)
def test_listening_on_every_address_still_refuses_foreign_names(name: str, expected: int) -> None:
    """A page from elsewhere whose name was pointed at this machine still asks by its name."""
    inner = Inner()
    guard = Guard(inner, token=TOKEN, host="0.0.0.0", port=PORT, names=("bench-pc",))
    headers = [(b"host", f"{name}:{PORT}".encode()), (b"cookie", COOKIE.encode())]
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> dict[str, Any]:
        return {"type": "http.request"}

    scope = {"type": "http", "method": "GET", "path": "/", "headers": headers}
    asyncio.run(guard(scope, receive, send))
    assert status(sent) == expected


@pytest.mark.parametrize("declared", [str(5 * 10**9), "-1", "many"])
def test_a_declared_flood_is_refused_before_it_is_read(declared: str) -> None:
    inner = Inner()
    own = {"method": "POST", "path": "/drop/photo", "origin": f"http://{HERE}"}
    assert status(asked(inner, content_length=declared, **own)) == 413
    assert inner.reached == []


def test_a_streamed_flood_is_cut_off_at_the_limit() -> None:
    """5 GB in pieces of 1 MB without a length: only the limit and one piece are ever read."""
    inner, piece, taken = Inner(), b"x" * 1_000_000, 0

    def flood() -> Iterator[bytes]:
        nonlocal taken
        for _ in range(5000):
            taken += 1
            yield piece

    sent = asked(inner, method="POST", path="/drop/photo", origin=f"http://{HERE}", body=flood())
    assert status(sent) == 413
    assert [row["type"] for row in sent] == ["http.response.start", "http.response.body"]
    assert inner.received <= LIMIT
    assert taken == LIMIT // len(piece) + 1


def test_what_is_sent_elsewhere_may_be_small_only() -> None:
    body = [b"x" * 1_100_000]
    sent = asked(Inner(), method="POST", path="/other", origin=f"http://{HERE}", body=body)
    assert status(sent) == 413


@pytest.mark.parametrize("headers", [{}, {"host": "evil.example"}], ids=["let in", "refused"])
def test_every_answer_forbids_framing_sniffing_and_foreign_content(headers: dict[str, str]) -> None:
    answer = dict(asked(Inner(), **headers)[0]["headers"])
    policy = answer[b"content-security-policy"].decode()
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "http:" not in policy
    assert "https:" not in policy
    assert answer[b"x-content-type-options"] == b"nosniff"
    assert answer[b"referrer-policy"] == b"no-referrer"
    assert b"access-control-allow-origin" not in answer
