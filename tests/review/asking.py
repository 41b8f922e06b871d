"""Ask an ASGI application directly, as bytes: no client that would tidy a strange request."""

from __future__ import annotations

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

TOKEN = "a-token-of-the-tests"
PORT = 4321
HOST = f"127.0.0.1:{PORT}"


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)


def ask(
    app: Any,
    path: str,
    *,
    method: str = "GET",
    body: bytes = b"",
    headers: dict[str, str] | None = None,
    token: str = TOKEN,
) -> Answer:
    """Send one request; `headers` replace the page's own, an empty value leaves one out."""
    own = {"host": HOST, "sec-fetch-site": "same-origin"}
    if method == "POST":
        own |= {
            "origin": f"http://{HOST}",
            "content-type": "application/json",
            "content-length": str(len(body)),
        }
    own |= headers or {}
    raw = f"/{token}/{path}" if token else path
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": raw,
        "raw_path": raw.encode("utf-8", "replace"),
        "query_string": b"",
        "root_path": "",
        "headers": [
            (k.encode(), v.encode("latin-1", "replace")) for k, v in own.items() if v != ""
        ],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", PORT),
    }
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    # in a thread of its own: a browser that is driven beside keeps a loop in this one
    with ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(app(scope, receive, send))).result()
    found = {k.decode(): v.decode("latin-1") for k, v in sent[0]["headers"]}
    whole = b"".join(one.get("body", b"") for one in sent[1:])
    return Answer(sent[0]["status"], found, whole)


def post(app: Any, path: str, given: object, **more: Any) -> Answer:
    return ask(app, path, method="POST", body=json.dumps(given).encode(), **more)
