"""What stands before the page: who may ask, for what, and what is told when something fails.

The page shows data of people and writes decisions, so that only the browser of this machine may
reach it, from the page itself. Another site that the user has open could send requests to this
address too; each check here closes one of its ways. A wrong token is answered like an address that
does not exist.
"""

from __future__ import annotations

import json
import secrets
import sys
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any

from twinangle.visible import make_visible

MOST_BYTES = 4096
"""Of a request's body: a decision is some hundred."""
_DROPPED_BYTES = 1 << 24
"""Of a body that is too long: read and forgotten, so that whoever sends it hears why. A connection
closed while it is still sent shows as broken, without the answer."""
HOST = "127.0.0.1"

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
)
_ADDRESS_SITES = ("same-origin", "none")  # none: typed, or opened by the command


@dataclass(frozen=True, slots=True)
class _Refusal:
    status: int
    said: str


class Guard:
    """Let pass what comes from the page itself; answer everything else in one short sentence.

    Parameters
    ----------
    app : callable
        What answers, below the token.
    token : str
        First part of every address.
    port : int
        Of this server, for the exact host and origin.
    """

    def __init__(self, app: App, *, token: str, port: int) -> None:
        self._app = app
        self._token = token
        self._host = f"{HOST}:{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # a web socket is refused by closing it
            await send({"type": "websocket.close", "code": 1008})
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            if refusal.status == 413:
                await _body(receive)
            await _answer(send, refusal)
            return
        await self._pass(scope, receive, send)

    def _refusal(self, scope: Scope) -> _Refusal | None:
        """Return why a request may not pass; None where it may."""
        headers = _headers(scope)
        if headers.get("host") != [self._host]:
            return _Refusal(403, "This address is not the one that the command printed.")
        site = headers.get("sec-fetch-site", ["none"])
        origin = headers.get("origin", [f"http://{self._host}"])
        if site[0] not in _ADDRESS_SITES or origin != [f"http://{self._host}"]:
            return _Refusal(403, "Only the page itself may ask.")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _Refusal(405, "Only GET and POST are answered.")
        if scope["method"] == "POST":
            return _refused_post(headers)
        return self._refused_token(scope)

    def _refused_token(self, scope: Scope) -> _Refusal | None:
        given = str(scope["path"]).split("/")
        known = len(given) > 2 and secrets.compare_digest(
            given[1].encode("utf-8", "replace"), self._token.encode()
        )
        return None if known else _Refusal(404, "There is nothing here.")

    async def _pass(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on without its token; whatever fails becomes one sentence."""
        refusal = self._refused_token(scope)
        if refusal is not None:
            await _answer(send, refusal)
            return
        body = await _body(receive)
        if body is None:
            await _answer(send, _Refusal(413, f"At most {MOST_BYTES} bytes are read."))
            return
        inner = dict(scope)
        inner["path"] = scope["path"][len(self._token) + 1 :]
        inner["raw_path"] = inner["path"].encode("utf-8", "replace")
        begun = False

        async def checked(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                message = {**message, "headers": [*message.get("headers", ()), *_HEADERS]}
            await send(message)

        try:
            await self._app(inner, _again(body, receive), checked)
        except Exception as error:
            kind = f"{type(error).__name__}: {error}"
            print(make_visible(f"twinangle: review: {kind}"), file=sys.stderr)
            if not begun:
                await _answer(send, _Refusal(500, "Something failed; the terminal names it."))


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _refused_post(headers: dict[str, list[str]]) -> _Refusal | None:
    """Return why a request that changes something may not pass."""
    if "origin" not in headers:
        return _Refusal(403, "Only the page itself may ask.")
    if headers.get("content-type") != ["application/json"]:
        return _Refusal(415, "Only application/json is read.")
    length = headers.get("content-length", ["0"])[0]
    if not length.isdecimal() or int(length[:20]) > MOST_BYTES:
        return _Refusal(413, f"At most {MOST_BYTES} bytes are read.")
    return None


async def _body(receive: Receive) -> bytes | None:
    """Return a request's body, whatever length it claims; None where it is too long.

    What is too long is read on and dropped, up to a limit, so that the answer can be heard.
    """
    body, size = b"", 0
    while size <= _DROPPED_BYTES:
        message = await receive()
        if message["type"] != "http.request":
            break
        part = bytes(message.get("body", b""))
        size += len(part)
        body = body + part if size <= MOST_BYTES else b""
        if not message.get("more_body", False):
            break
    return body if size <= MOST_BYTES else None


def _again(body: bytes, receive: Receive) -> Receive:
    """Hand a body on that was read already."""
    waiting = [body]

    async def again() -> Message:
        if waiting:
            return {"type": "http.request", "body": waiting.pop(), "more_body": False}
        return await receive()

    return again


async def _answer(send: Send, refusal: _Refusal) -> None:
    body = json.dumps({"error": refusal.said}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *_HEADERS,
    ]
    await send({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
