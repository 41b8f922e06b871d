"""The page's server: fixed addresses below a token, on this machine alone."""

from __future__ import annotations

import json
import logging
import math
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import resources
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from twinangle.browser import uplot_licence, uplot_script, uplot_style
from twinangle.errors import StudyError, TwinangleError
from twinangle.platform_calls import Stopped, free_again_at_once
from twinangle.review.guard import HOST, Guard
from twinangle.review.session import HiddenError, Session
from twinangle.study import Study

TOKEN_BYTES = 24
_TYPES = {".html": "text/html", ".js": "text/javascript", ".css": "text/css",
          ".json": "application/json", ".svg": "image/svg+xml", ".txt": "text/plain"}  # fmt: skip
_PRIVATE = {"cache-control": "no-store"}
_FOR_EVER = {"cache-control": "private, max-age=31536000, immutable"}
_HIDDEN = "Hidden while deciding blind."


class _RefusedError(Exception):
    """A request that cannot be answered, with its status and the sentence that says why."""

    def __init__(self, status: int, said: str) -> None:
        super().__init__(said)
        self.status = status


def build_app(session: Session, *, token: str, port: int, stop: Callable[[], None]) -> Guard:
    """Return what answers requests.

    Parameters
    ----------
    session : Session
        The study.
    token : str
        First part of every address.
    port : int
        Of the server.
    stop : callable
        Called when the page asks to stop.
    """
    pages = _Pages(session, stop)
    routes = [
        *(Route(f"/{name}", _fixed(name, text)) for name, text in static_files().items()),
        Route("/api/study", pages.study),
        Route("/api/state", pages.state),
        Route("/api/recording/{number:int}", pages.recording),
        Route("/api/curves/{number:int}/{block:int}", pages.curves),
        Route("/tile/{digest:str}/{level:int}/{index:int}", pages.tile),
        Route("/api/place/{number:int}", pages.place, methods=["POST"]),
        Route("/api/near/{number:int}", pages.near, methods=["POST"]),
        Route("/api/effect/{number:int}", pages.effect, methods=["POST"]),
        Route("/api/decide/{number:int}", pages.decide, methods=["POST"]),
        Route("/api/blind", pages.blind, methods=["POST"]),
        Route("/api/stop", pages.stop, methods=["POST"]),
    ]
    handlers: dict[Any, Any] = {
        404: _not_found,
        405: _wrong_method,
        _RefusedError: _refused,
        HiddenError: _hidden,
        TwinangleError: _at_fault,
        Exception: _failed,
    }
    return Guard(Starlette(routes=routes, exception_handlers=handlers), token=token, port=port)


def static_files() -> dict[str, str]:
    """Return the fixed files of the page by their address; the empty one is the page."""
    folder = resources.files(__package__).joinpath("static")
    files = {
        one.name: one.read_text(encoding="utf-8")
        for one in folder.iterdir()
        if "." + one.name.rpartition(".")[2] in _TYPES
    }
    files[""] = files.pop("review.html")
    files["uplot.js"] = uplot_script()
    files["uplot.css"] = uplot_style()
    files["uplot-licence.txt"] = uplot_licence()
    return files


def _fixed(name: str, text: str) -> Callable[[Request], Any]:
    kind = _TYPES["." + name.rpartition(".")[2]] if name else "text/html"
    body = text.encode()

    async def answer(_: Request) -> Response:
        return Response(body, media_type=kind, headers={"cache-control": "no-cache"})

    return answer


class _Pages:
    """The answers, each from the session, none from a path."""

    def __init__(self, session: Session, stop: Callable[[], None]) -> None:
        self._session = session
        self._stop = stop

    async def study(self, _: Request) -> Response:
        return await _json(self._session.overview)

    async def state(self, _: Request) -> Response:
        await run_in_threadpool(self._session.refresh)
        return JSONResponse({"version": self._session.version}, headers=_PRIVATE)

    async def recording(self, request: Request) -> Response:
        number = self._number(request)
        return await _json(lambda: self._session.recording(number) or {"waiting": True})

    async def curves(self, request: Request) -> Response:
        number, block = self._number(request), request.path_params["block"]
        found = await run_in_threadpool(self._session.curves, number, block)
        return _binary(found, _PRIVATE)

    async def tile(self, request: Request) -> Response:
        given = request.path_params
        found = await run_in_threadpool(
            self._session.traces.tile, given["digest"], given["level"], given["index"]
        )
        return _binary(found, _FOR_EVER)

    async def place(self, request: Request) -> Response:
        number, given = self._number(request), await _body(request)
        lag_s, drift_ppm = _number_of(given, "lag_s"), _number_of(given, "drift_ppm")
        return await _json(
            lambda: self._session.placed(number, lag_s, drift_ppm) or {"waiting": True}
        )

    async def near(self, request: Request) -> Response:
        number, given = self._number(request), await _body(request)
        lag_s = _number_of(given, "lag_s")
        return await _json(lambda: self._session.near(number, lag_s) or {"none": True})

    async def effect(self, request: Request) -> Response:
        number, given = self._number(request), await _body(request)
        kind, holds = (_text_of(given, key) if key in given else "" for key in ("kind", "holds"))
        return await _json(lambda: self._session.effect(number, kind, given.get("value"), holds))

    async def decide(self, request: Request) -> Response:
        number, given = self._number(request), await _body(request)
        kind, why, who = (_text_of(given, key) for key in ("kind", "why", "who"))
        holds = _text_of(given, "holds") if "holds" in given else ""
        if kind == "blind":
            raise _RefusedError(400, "This is decided for all recordings, not for one.")
        return await _json(
            lambda: self._session.decide(
                number, kind, given.get("value"), why=why.strip(), who=who.strip(), holds=holds
            ).to_record()
        )

    async def blind(self, request: Request) -> Response:
        given = await _body(request)
        who, on = _text_of(given, "who").strip(), given.get("on")
        if not isinstance(on, bool):
            raise _RefusedError(400, "`on` must be true or false.")
        await run_in_threadpool(lambda: self._session.decide_blind(who, on=on))
        return JSONResponse({"blind": on}, headers=_PRIVATE)

    async def stop(self, request: Request) -> Response:
        await _body(request)
        self._stop()
        return JSONResponse({"stopped": True}, headers=_PRIVATE)

    def _number(self, request: Request) -> int:
        number = int(request.path_params["number"])
        if number >= len(self._session.units):
            raise _RefusedError(404, "There is no such recording.")
        return number


async def _json(made: Callable[[], Any]) -> Response:
    return JSONResponse(await run_in_threadpool(made), headers=_PRIVATE)


def _binary(found: bytes | None, headers: dict[str, str]) -> Response:
    if found is None:
        raise _RefusedError(404, "There is nothing here.")
    return Response(found, media_type="application/octet-stream", headers=headers)


async def _body(request: Request) -> dict[str, Any]:
    try:
        given = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise _RefusedError(400, "The request is not JSON.") from None
    if not isinstance(given, dict):
        raise _RefusedError(400, "The request is not one JSON object.")
    return given


def _number_of(given: dict[str, Any], key: str) -> float:
    value = given.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise _RefusedError(400, f"`{key}` must be a finite number.")
    return float(value)


def _text_of(given: dict[str, Any], key: str) -> str:
    value = given.get(key)
    if not isinstance(value, str):
        raise _RefusedError(400, f"`{key}` must be a text.")
    return value


async def _not_found(_: Request, __: Exception) -> Response:
    return JSONResponse({"error": "There is nothing here."}, 404, headers=_PRIVATE)


async def _wrong_method(_: Request, __: Exception) -> Response:
    return JSONResponse({"error": "Not asked for in this way."}, 405, headers=_PRIVATE)


async def _refused(_: Request, error: Exception) -> Response:
    status = error.status if isinstance(error, _RefusedError) else 400
    return JSONResponse({"error": str(error)}, status, headers=_PRIVATE)


async def _hidden(_: Request, __: Exception) -> Response:
    return JSONResponse({"error": _HIDDEN}, 403, headers=_PRIVATE)


async def _failed(_: Request, __: Exception) -> Response:
    said = "Something failed; the terminal names it."
    return JSONResponse({"error": said}, 500, headers=_PRIVATE)


async def _at_fault(_: Request, error: Exception) -> Response:
    return JSONResponse({"error": str(error)}, 400, headers=_PRIVATE)


def serve(
    study: Study, *, port: int, browser: bool, who: str, blind: bool, tell: Callable[[str], None]
) -> None:
    """Show a study in the browser until somebody stops it.

    Parameters
    ----------
    study : Study
        As read.
    port : int
        To listen at; 0 for a free one.
    browser : bool
        Open the page.
    who : str
        Code of the person who decides.
    blind : bool
        Hide how the two instruments differ.
    tell : callable
        Called with each line for the terminal; the address is alone on its own.

    Raises
    ------
    StudyError
        If the port cannot be listened at.
    """
    token = secrets.token_urlsafe(TOKEN_BYTES)
    listening = _listen(port)
    port = listening.getsockname()[1]
    session = Session(study, who=who, blind=blind)
    try:
        session.begin()  # before any thread: the processes are copies of this one
        address = f"http://{HOST}:{port}/{token}/"
        tell("The page, for this machine alone and as long as this command runs:")
        tell(address)
        tell("Ctrl-C stops it; so does the page.")
        if browser:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        _run(session, token=token, port=port, listening=listening)
    finally:
        listening.close()
        _clear_up(session)
    tell("Stopped.")


def _clear_up(session: Session) -> None:
    """End what runs beside, also where Ctrl-C comes after the page had asked to stop."""
    try:
        session.end()
    except (Stopped, KeyboardInterrupt):  # no further one is heard
        session.end()


def _run(session: Session, *, token: str, port: int, listening: socket.socket) -> None:
    """Answer until asked to stop, by the page or by Ctrl-C."""

    def stop() -> None:
        server.should_exit = True

    app = build_app(session, token=token, port=port, stop=stop)
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            server_header=False,
            lifespan="off",
            ws="none",
            timeout_graceful_shutdown=2,
        )
    )
    try:
        with quiet_once(lambda: server.should_exit):
            server.run(sockets=[listening])
    except (Stopped, KeyboardInterrupt):  # raised again once the server has ended
        return


@contextmanager
def quiet_once(ended: Callable[[], bool]) -> Iterator[None]:
    """Say nothing of requests that are broken off because the server ends.

    Parameters
    ----------
    ended : callable
        Whether it was asked to.
    """
    log = logging.getLogger("uvicorn.error")

    def told(_: logging.LogRecord) -> bool:
        return not ended()

    log.addFilter(told)
    try:
        yield
    finally:
        log.removeFilter(told)


def _listen(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if port:
        free_again_at_once(listening)
    try:
        listening.bind((HOST, port))
        listening.listen(128)  # whoever comes early waits
    except (OSError, OverflowError) as error:
        listening.close()
        reason = getattr(error, "strerror", None) or str(error)
        raise StudyError(
            f"--port {port}: cannot be listened at ({reason}); leave it out for a free one."
        ) from None
    return listening
