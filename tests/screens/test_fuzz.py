"""Whatever a page, or somebody who is no page, sends: no fault, no traceback, and nobody acts for a
role that is not his. LUGCALL_FUZZ=2000 tries longer."""

import http.client
import json
import logging
import os
import string
import time
import uuid
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosed, InvalidStatus

from assistant.record.history import JobHistory
from tests.screens.conftest import Served, serve, until
from tests.screens.test_server import ask, link, shown

LONGER = settings(
    max_examples=int(os.environ.get("LUGCALL_FUZZ", "12")),
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
    derandomize="LUGCALL_FUZZ" not in os.environ,
)
ROLES = ("tech", "helper", "lead")
SAID = tuple(
    "stop;holding;released;let it up;clear;hands are clear;carry on;check;5 lugs;I lost it;"
    "nine sixteenths;no;done;sign off T-12;foot off;ready;undo;where are we;ring won't budge;"
    "give up the job".split(";")
)
"""Words that move a job; what is said beside them is anything."""
words = st.one_of(
    st.sampled_from(SAID), st.text(max_size=40), st.text("a\u202e\x00<>&\ud800'\"", max_size=9)
)
numbers = st.one_of(
    st.integers(-3, 60), st.integers(), st.floats(), st.text("0123456789.-e", max_size=5)
)
anything: st.SearchStrategy[Any] = st.recursive(
    st.one_of(st.none(), st.booleans(), numbers, words),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=6,
)
honest = st.fixed_dictionaries(
    {"words": words}, optional={"about": numbers, "id": numbers, "seen": numbers, "of": numbers}
)
keys = st.sampled_from(
    ["words", "about", "id", "seen", "of", "at", "take", "listen", "loud", "who", "role"]
)
odd = st.dictionaries(keys, anything, max_size=5)
LONG = '{"words": "' + "x" * 4000 + '"}'
raw = st.one_of(
    st.binary(max_size=2000),
    st.text(max_size=30),
    st.sampled_from(["", "{", "[]", "null", "1e999", "[" * 3000, LONG, LONG * 2]),
)
sent = st.tuples(st.sampled_from(ROLES), st.one_of(honest, honest, odd, raw))


@dataclass
class Faults(logging.Handler):
    """Whatever is logged as an error while the server runs."""

    def __post_init__(self) -> None:
        super().__init__(logging.ERROR)
        self.told: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.told.append(record.getMessage())

    __hash__ = logging.Handler.__hash__


@pytest.fixture(scope="module")
def faults() -> Iterator[list[str]]:
    handler = Faults()
    names = ("assistant", "uvicorn.error", "asyncio")
    for name in names:
        logging.getLogger(name).addHandler(handler)
    yield handler.told
    for name in names:
        logging.getLogger(name).removeHandler(handler)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory, faults: list[str]) -> Iterator[Served]:
    running = serve(tmp_path_factory.mktemp("fuzz"), paired=True)
    yield running
    running.stop()
    assert not faults, faults


def cookie(server: Served, role: str, job: str = "") -> str:
    server.access._all_tries._at.clear()
    address = uuid.uuid4().hex  # of its own: tries from one address are counted
    return "lugcall_pass=" + server.access.join(server.access.code(role, job), address)[0]


@given(st.lists(sent, min_size=1, max_size=12))
@LONGER
def test_messages_of_any_kind_in_any_order(
    server: Served, faults: list[str], told: list[Any]
) -> None:
    """Three pages of one job in a hold. Each turn in the record is of the role of the page that
    said it; a touch on an old message counts only as a stop; the lead's page moves nothing."""
    job = until("ring_turn", server.bays.folder)
    pages = {role: link(server, role, job, cookie=cookie(server, role, job)) for role in ROLES}
    try:
        n = shown(pages["tech"])["n"]
        bay = server.bays._live[job]
        for role, message in told:
            before, newest_before = len(bay.conversation.journal.events), bay.n
            with suppress(ConnectionClosed):
                pages[role].send(
                    message if isinstance(message, bytes | str) else json.dumps(message)
                )
                pages[role].send('{"listen": true}')  # answered to all
                ends = time.monotonic() + 20
                while '"listens"' not in str(pages[role].recv(timeout=10)):
                    assert time.monotonic() < ends, (role, message)
            if pages[role].close_code is not None:
                pages[role] = link(server, role, job, cookie=cookie(server, role, job))
            turns = [e for e in bay.conversation.journal.events[before:] if e.kind == "turn"]
            turns = [e for e in turns if e.data.get("act", {}).get("meaning") != "unsure"]
            shaped = message
            if isinstance(message, str):
                with suppress(ValueError, RecursionError):
                    shaped = json.loads(message)
            shaped = shaped if isinstance(shaped, dict) else {}
            assert (role != "lead" and "words" in shaped) or not turns, (role, message, turns)
            assert {e.data["who"] for e in turns} <= {role}, (role, message, turns)
            if turns and "about" in shaped:
                meant = {e.data.get("act", {}).get("meaning") for e in turns}
                # Beside it a lost link may have been told: the newest moves on by itself.
                whole = str(shaped["about"]).split(".")[0]
                newest = whole in map(str, range(newest_before, bay.n + 1))
                assert newest or meant & {"stop", "lost", "danger"}, (message, bay.n, meant)
        assert not bay.broken and not faults, faults
    finally:
        for page in pages.values():
            page.close()
    assert JobHistory.read(server.bays.folder / f"{job}.jsonl").problem is None
    assert n


PATHS = ("/", "/begin", "/pair", "/desk", "/desk/fleet.html", "/bench/JOB", "/cab/JOB",
         "/code/helper/JOB", "/code/tech/JOB", "/live/tech/JOB", "/static/link.js")  # fmt: skip
SIGNS = "".join(set(string.printable) - set(string.whitespace))
path = st.one_of(
    st.sampled_from(PATHS),
    st.lists(st.text(SIGNS, min_size=1, max_size=12), min_size=1, max_size=4).map(
        lambda parts: "/" + "/".join(parts)
    ),
)
fields = st.dictionaries(st.sampled_from(["code", "card", "x"]), st.text(max_size=20), max_size=3)
bodies = st.one_of(st.none(), st.binary(max_size=300), st.just(b"x" * 5000), fields)
plain = st.text(string.ascii_letters + string.digits + "=;:/.-_%\xe9", max_size=40)
NAMES = ("cookie", "origin", "content-type", "accept", "range", "x-forwarded-for", "upgrade",
         "if-modified-since", "content-length")  # fmt: skip
headers = st.dictionaries(st.sampled_from(NAMES), plain, max_size=3)
methods = st.sampled_from(["GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS", "LUG"])


@given(methods, path, bodies, headers, st.sampled_from([*ROLES, ""]))
@LONGER
def test_requests_of_any_kind(
    server: Served,
    faults: list[str],
    method: str,
    path: str,
    body: Any,
    headers: dict[str, Any],
    role: str,
) -> None:
    """Answered with what was asked for or with who may not; never with a fault of ours."""
    if not server.bays._live:
        page = cookie(server, "tech")
        ask(server.at, "/begin", "POST", {"card": ""}, cookie=page)
    job = next(iter(server.bays._live))
    if role:
        headers = {"cookie": cookie(server, role)} | headers
    headers = {"origin": server.at} | {k: v.encode("latin-1") for k, v in headers.items()}
    if isinstance(body, dict):
        body = "&".join(f"{k}={v}" for k, v in body.items()).encode("utf-8", "replace")
    begun = len(server.bays._live)
    wire = http.client.HTTPConnection(server.at.removeprefix("http://"), timeout=20)
    try:
        wire.request(method, path.replace("JOB", job), body, headers)
        status = wire.getresponse().status
    except (ValueError, http.client.HTTPException, ConnectionError, TimeoutError):
        status = 0  # no request, or half of one
    finally:
        wire.close()
    assert status < 500, (method, path, status)
    if role != "tech" and "cookie" not in headers:
        assert len(server.bays._live) == begun
    assert not faults, (method, path, faults)


@pytest.mark.parametrize("role", ROLES)
def test_no_page_takes_another_ones_link(server: Served, role: str) -> None:
    """With each pass every link is tried: only those of its own role, and of its own job, open."""
    job, other = (until("found_gap", server.bays.folder) for _ in range(2))
    page = cookie(server, role, job)
    for wanted in (*ROLES, "root", ""):
        for name in (job, other, "no-job"):
            opens = (wanted == role or (role, wanted) == ("tech", "helper")) and name == job
            try:
                with link(server, wanted, name, cookie=page) as open_link:
                    assert opens == bool(shown(open_link)["n"])
            except (InvalidStatus, ConnectionClosed):
                assert not opens, (role, wanted, name)
