"""The addresses: pages, the live link of each, and the sounds of replies.

    /                  the jobs of the shop; begin one          /pair   let a page in by its code
    /bench/JOB  /cab/JOB  /desk                                 the three pages
    /live/ROLE/JOB     a WebSocket: messages out, words and acknowledgements in

Every change of a job is one numbered message with all that the page shows; a page acknowledges the
newest number with each beat, and whoever connects again is sent what it has missed.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import orjson
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.types import Message as Sending
from starlette.websockets import WebSocket, WebSocketDisconnect

from assistant.card import CardError
from assistant.record import RecordError
from assistant.screens.access import Access, AccessDenied, Limit
from assistant.screens.bay import Bay, Message, Screen, log_fault
from assistant.screens.bays import Bays, NoSuchJob
from assistant.screens.view import words_of
from assistant.sentences import printable

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.screens.ears import Mouth

COOKIE = "lugcall_pass"
MOST_BYTES = 4096
"""Of one message from a page."""
_PAGE_ROLES = {"bench": "tech", "cab": "helper"}
_HERE = Path(__file__).parent
_CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self';"
    " media-src 'self' blob:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
)
_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


@cache
def _templates() -> Environment:
    return Environment(
        loader=FileSystemLoader(_HERE / "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda v: printable(v) if type(v) is str else v,
    )


class Guarded:
    """Middleware: headers on every answer, no request that another site's page has made, and a
    fault of ours in one line."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            return await self.app(scope, receive, send)
        headers = Headers(scope=scope)
        reads = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        if not reads and urlsplit(headers.get("origin", "")).netloc != headers.get("host", "?"):
            if scope["type"] == "websocket":
                return await send({"type": "websocket.close", "code": 4403})
            return await Response("", 403)(scope, receive, send)

        begun = False

        async def with_headers(message: Sending) -> None:
            nonlocal begun
            begun = True
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in {"content-security-policy": _CSP, **_HEADERS}.items():
                    out.setdefault(name, value)
            await send(message)

        try:
            await self.app(scope, receive, with_headers)
        except Exception as problem:
            log_fault(scope["path"], "", problem)
            if scope["type"] == "websocket":
                with contextlib.suppress(Exception):  # closed already
                    await send({"type": "websocket.close", "code": 1011})
            elif not begun:
                answer = _page("problem.html", 500, text=words_of().say("fault"))
                await answer(scope, receive, with_headers)


def application(bays: Bays, access: Access, hosts: list[str], address: str) -> Starlette:
    """The server's application.

    Args:
        bays: the jobs that are live, or may be.
        access: who may come in.
        hosts: names and addresses by which it may be called; any other is refused.
        address: how people reach it, as "http://192.168.1.20:8765".
    """
    pages = Pages(bays, access, address)
    routes = [
        Route("/", pages.start),
        Route("/begin", pages.begin, methods=["POST"]),
        Route("/pair", pages.pair, methods=["GET", "POST"]),
        Route("/code/{role}/{job}", pages.new_code, methods=["POST"]),
        Route("/bench/{job}", pages.live_page),
        Route("/cab/{job}", pages.live_page),
        Route("/desk", pages.desk),
        Route("/desk/{path:path}", pages.desk_page),
        WebSocketRoute("/live/{role}/{job}", pages.live),
        Mount("/static", StaticFiles(directory=_HERE / "static")),
    ]

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        async with bays.running():
            yield

    return Starlette(
        routes=routes,
        lifespan=lifespan,
        middleware=[Middleware(TrustedHostMiddleware, allowed_hosts=hosts), Middleware(Guarded)],
        exception_handlers=dict.fromkeys((HTTPException, *_TOLD), _problem),
    )


_TOLD = (CardError, NoSuchJob, RecordError)
"""Errors whose text is one line that says what to do."""


async def _problem(request: Request, problem: Exception) -> Response:
    code = problem.status_code if isinstance(problem, HTTPException) else 503
    text = problem.detail if isinstance(problem, HTTPException) else str(problem)
    return _page("problem.html", code, text=text)


def _page(name: str, status: int = 200, **fields: Any) -> HTMLResponse:
    words = words_of()
    return HTMLResponse(_templates().get_template(name).render(t=words.say, **fields), status)


class Pages:
    """The endpoints, with what they need."""

    def __init__(self, bays: Bays, access: Access, address: str) -> None:
        self.bays, self.access, self.address = bays, access, address

    def _let(self, request: Request | WebSocket, role: str, bay: str = "") -> bool:
        return self.access.allows(request.cookies.get(COOKIE, ""), role, bay)

    async def start(self, request: Request) -> Response:
        """The jobs of the shop, for the technician or the lead."""
        if not (self._let(request, "tech") or self._let(request, "lead")):
            return RedirectResponse("/pair", 303)
        jobs = await run_in_threadpool(self.bays.listed)
        return _page(
            "start.html", jobs=jobs, cards=self.bays.cards(), may=self._let(request, "tech")
        )

    async def begin(self, request: Request) -> Response:
        """A new job, and on to its bench."""
        if not self._let(request, "tech"):
            raise HTTPException(403, words_of().say("pair.not_yours"))
        form = await _form(request)
        bay = await self.bays.begin(form.get("card", ""))
        return RedirectResponse(f"/bench/{bay.name}", 303)

    async def pair(self, request: Request) -> Response:
        """Let a page in by its code."""
        wrong, code = "", request.query_params.get("code", "")[:20]
        if request.method == "POST":
            form = await _form(request)
            address = request.client.host if request.client is not None else "?"
            try:
                token, given = self.access.join(form.get("code", ""), address)
            except AccessDenied as denied:
                wrong = str(denied)
            else:
                there = {"tech": "/", "helper": f"/cab/{given.bay}", "lead": "/desk"}
                if given.role == "tech" and given.bay:
                    there["tech"] = f"/bench/{given.bay}"
                answer = RedirectResponse(there[given.role], 303)
                secure = request.url.scheme == "https"
                answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", secure=secure)
                return answer
        status = {"": 200, "wrong": 403, "slow": 429}[wrong]
        return _page("pair.html", status, wrong=wrong, code=code)

    async def new_code(self, request: Request) -> Response:
        """A code for one more page of a bay: the technician shows it to the helper."""
        role, job = request.path_params["role"], request.path_params["job"]
        if role != "helper" or not self._let(request, "tech", job):
            raise HTTPException(403, words_of().say("pair.not_yours"))
        await self._bay(job)
        if self.access.paired:
            code = self.access.code("helper", job)
            told = words_of().say("bench.phone_at", address=f"{self.address}/pair", code=code)
        else:
            told = words_of().say("bench.phone_here", address=f"{self.address}/cab/{job}")
        return Response(orjson.dumps({"told": told}), media_type="application/json")

    async def live_page(self, request: Request) -> Response:
        """The bench or the cab of a job."""
        kind, job = request.url.path.split("/")[1], request.path_params["job"]
        if not self._let(request, _PAGE_ROLES[kind], job):
            return RedirectResponse("/pair", 303)
        bay = await self._bay(job)
        return _page(f"{kind}.html", job=bay.name, unit=self.bays.unit(bay.name))

    async def desk(self, request: Request) -> Response:
        """The jobs under way, and the way to the review."""
        if not self._let(request, "lead"):
            return RedirectResponse("/pair", 303)
        jobs = await run_in_threadpool(self.bays.listed)
        return _page("desk.html", jobs=jobs)

    async def desk_page(self, request: Request) -> Response:
        """A page of the review, made anew when the fleet's page is asked for."""
        if not self._let(request, "lead"):
            return RedirectResponse("/pair", 303)
        path = request.path_params["path"]
        found = await run_in_threadpool(self.bays.review_page, path)
        if found is None:
            raise HTTPException(404, words_of().say("desk.no_page"))
        file, policy = found
        return FileResponse(file, headers={"content-security-policy": policy})

    async def _bay(self, job: str) -> Bay:
        try:
            return await self.bays.open(job)
        except NoSuchJob as problem:
            raise HTTPException(404, str(problem)) from None

    async def live(self, socket: WebSocket) -> None:
        """The link of one page to its bay."""
        role, job = socket.path_params["role"], socket.path_params["job"]
        if not self._let(socket, role, job):
            await socket.close(4403)
            return
        try:
            bay = await self.bays.open(job)
        except NoSuchJob:
            await socket.close(4404)
            return
        await socket.accept()
        me = socket.query_params.get("me", "")[:40]
        life, _, seen = socket.query_params.get("seen", "").partition(":")
        sent = _number(seen) if life == bay.life else 0
        screen = Screen(role, me, heard_s=bay.clock())
        await bay.join(screen)
        sender = asyncio.create_task(_send(socket, bay, screen, sent))
        try:
            await _receive(socket, bay, screen, self.bays)
        except (WebSocketDisconnect, RuntimeError, ValueError):
            pass
        finally:
            sender.cancel()
            bay.leave(screen)
            with contextlib.suppress(Exception):
                await socket.close()


async def _send(socket: WebSocket, bay: Bay, screen: Screen, sent: int) -> None:
    """Messages as they come, and a beat when there are none; their sound to a page that plays it,
    cut off by whatever comes next."""
    if screen.role == "helper" or not 0 < sent <= bay.n:
        sent = bay.n - 1  # new, or of another life of the server: begin with the newest
    waits: Message | None = None
    speaking: asyncio.Task[None] | None = None
    try:
        while True:
            screen.news.clear()
            if bay.moved(screen):
                await socket.send_text('{"moved": true}')
            else:
                owed = bay.owed(sent)
                if screen.role == "helper":  # what a cab has missed must not be shown nor said
                    owed = owed[-1:] or ([waits] if waits is not None else [])
                    waits = owed[-1] if owed and not bay.warned(owed[-1]) else None
                for message in owed:
                    if message is not waits:
                        await socket.send_text(message.texts[screen.role].decode())
                    elif sent != message.n:
                        await socket.send_text(message.unwarned.decode())
                    sent = message.n
                await socket.send_text(bay.beat(screen).decode())
                shown = () if waits is not None else owed
                said = [s for m in shown for s in m.said if s.to in (screen.role, "both")]
                if screen.mouth is not None and said:
                    if speaking is not None:
                        speaking.cancel()
                    speaking = asyncio.create_task(_speak(socket, screen.mouth, said, screen.role))
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(screen.news.wait(), bay.beat_s(screen))
    except (WebSocketDisconnect, RuntimeError):
        return
    finally:
        if speaking is not None:
            speaking.cancel()


async def _speak(socket: WebSocket, mouth: Mouth, said: list[Said], role: str) -> None:
    """What is being played ends, then each sentence as soon as it is sound."""
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        await socket.send_text('{"hush": true}')
        for one in said:
            for sound in await mouth.sound([one], role):
                await socket.send_bytes(sound)


async def _receive(socket: WebSocket, bay: Bay, screen: Screen, bays: Bays) -> None:
    """Acknowledgements, words, touches and the microphone of one page."""
    limit, talk = Limit(400, 2.0, bay.clock), Limit(20, 2.0, bay.clock)
    while True:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            return
        data, text = message.get("bytes"), message.get("text")
        if len(data or text or "") > MOST_BYTES or not limit.allows():
            await socket.close(4408)
            return
        if data is not None:
            if bay.ears is not None and not bay.moved(screen) and screen.role != "lead":
                bay.ears.frame(screen, data)
            continue
        told = orjson.loads(text or "")
        if not isinstance(told, dict):
            await socket.close(4400)
            return
        if "seen" in told:
            seen, of, at = (_number(told.get(key)) for key in ("seen", "of", "at"))
            bay.acknowledged(screen, seen, of, at)
        if told.get("take") is True:
            await bay.join(screen)
        if told.get("listen") is True:
            await socket.send_text(orjson.dumps({"listens": await bays.listen(bay)}).decode())
        if told.get("loud") is True:
            screen.mouth = await bays.mouth()
            await socket.send_text(orjson.dumps({"loud": screen.mouth is not None}).decode())
        words = told.get("words")
        if not isinstance(words, str) or screen.role == "lead":
            continue
        about = _number(told["about"]) if "about" in told else None
        answer = "moved" if bay.moved(screen) else "" if talk.allows() else "hasty"
        if not answer or words.strip().lower() == "stop":
            answer = await bay.hear(screen.role, words, about)
        got: dict[str, Any] = {"got": _number(told.get("id"))}
        if answer:
            got["told"] = words_of().say(f"told.{answer}")
        await socket.send_text(orjson.dumps(got).decode())


async def _form(request: Request) -> dict[str, str]:
    """The fields of a small form; starlette's own reader wants one more library."""
    from urllib.parse import parse_qsl

    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > MOST_BYTES:
            raise HTTPException(413, words_of().say("too_long"))
    return dict(parse_qsl(body.decode("utf-8", "replace")))


def _number(value: Any) -> int:
    """A message's number as a page wrote it; 0 for anything else."""
    try:
        return max(0, min(int(value), 2**53))
    except (TypeError, ValueError, OverflowError):
        return 0
