"""The server from outside, over real sockets: who is refused, and what nothing can break."""

import asyncio
import http.client
import json
import random
import re
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect

from assistant.cli.serve import _listener
from tests.screens.conftest import Served, free_port, serve, until

FORM = "application/x-www-form-urlencoded"


def ask(
    at: str, path: str, method: str = "GET", form: dict[str, str] | None = None, **headers: str
):
    """A request, redirects not followed: status, headers and text."""
    host = at.removeprefix("http://")
    link = http.client.HTTPConnection(host, timeout=10)
    if form is not None:
        headers = {"origin": at, "content-type": FORM} | headers
    link.request(method, path, urlencode(form) if form is not None else None, headers)
    got = link.getresponse()
    return got.status, got.headers, got.read().decode(errors="replace")


def begun(served: Served, unit: str = "T-104", **headers: str) -> str:
    """A new job; its name."""
    status, told, _ = ask(served.at, "/begin", "POST", {"card": unit}, **headers)
    assert status == 303
    return told["location"].removeprefix("/bench/")


def link(
    served: Served | str, role: str, job: str, seen: str = "", **headers: str
) -> ClientConnection:
    home = served if isinstance(served, str) else served.at
    at = home.replace("http", "ws") + f"/live/{role}/{job}?me=test-{role}&seen={seen}"
    headers = {"origin": home} | headers
    origin = headers.pop("origin")
    return connect(at, origin=origin or None, additional_headers=headers, open_timeout=10)


def shown(socket: ClientConnection, after: int = 0) -> dict:
    """The next whole message with a number above `after`."""
    ends = time.monotonic() + 10
    while time.monotonic() < ends:
        told = json.loads(socket.recv(timeout=10))
        if told.get("n", 0) > after:
            return told
    raise AssertionError("nothing came")


@pytest.fixture
def paired(tmp_path: Path) -> Iterator[Served]:
    running = serve(tmp_path, paired=True)
    yield running
    running.stop()


def test_a_job_by_two_screens_is_one_record(served: Served, tmp_path: Path) -> None:
    """And a terminal goes on with it: there is one record, and one way in."""
    from tests.demo import lugcall

    job = begun(served)
    with link(served, "tech", job) as tech, link(served, "helper", job) as cab:
        first = shown(tech)
        assert shown(cab)["view"]["word"] == "wait"
        tech.send(json.dumps({"words": "chocked", "id": 1}))
        now = shown(tech, first["n"])
        assert now["view"]["heard"] == {"who": "tech", "words": "chocked"}
        assert shown(cab, first["n"])["n"] == now["n"]
    served.stop()
    record = tmp_path / f"{job}.jsonl"
    assert lugcall("verify", str(record)).stdout.startswith("GOOD")
    went_on = lugcall("resume", str(record), stdin=b"code 12\nbrakes set\n")
    assert "brakes set" in went_on.stdout and went_on.returncode == 0


def test_a_job_begun_on_a_screen_is_as_one_begun_at_the_terminal(tmp_path: Path) -> None:
    """With --full every check and caution; and what a lead has asked of the truck is put first."""
    from assistant.record.history import JobHistory
    from assistant.review.acts import add
    from tests.demo import card, played

    *_, (session, *_) = played("first_job", tmp_path)
    add(session.journal.path, "question", "L-1", "Why 3 lugs on T-104?")
    assert card().unit == "T-104"
    running = serve(tmp_path, full=True)
    try:
        job = begun(running)
        with link(running, "tech", job) as tech:
            assert any("Why 3 lugs" in one["text"] for one in shown(tech)["said"])
        assert JobHistory.read(tmp_path / f"{job}.jsonl").opened.full
    finally:
        running.stop()


def test_a_photo_of_a_job_is_shown_on_the_desk(tmp_path: Path) -> None:
    from assistant.review.evidence.photos import add
    from tests.demo import played
    from tests.review.test_photos import jpeg

    *_, (session, *_) = played("first_job", tmp_path / "shop")
    add(session.journal.path, jpeg(tmp_path / "a.jpg"), "21", "the left pad")
    running = serve(tmp_path / "shop")
    try:
        fleet = ask(running.at, "/desk/fleet.html")[2]
        page = re.findall(r'href="(jobs/[\w.-]+\.html)"', fleet)[0]
        photo = re.findall(r'<img src="([^"]+)"', ask(running.at, f"/desk/{page}")[2])[0]
        status, headers, _ = ask(running.at, f"/desk/jobs/{photo}")
        assert (status, headers["content-type"]) == (200, "image/jpeg")
    finally:
        running.stop()


def test_other_sites_and_other_names_are_refused(served: Served) -> None:
    """Cross-site requests (OWASP: CSRF, cross-site WebSocket hijacking) and DNS rebinding."""
    job = begun(served)
    for origin in (
        "http://elsewhere.example",
        "null",
        "",
        served.at.replace("http", "https") + "0",
    ):
        status, _, _ = ask(served.at, "/begin", "POST", {"card": ""}, origin=origin)
        assert status == 403
        with pytest.raises((InvalidStatus, ConnectionClosed)):
            link(served, "tech", job, origin=origin).recv(timeout=5)
    assert ask(served.at, "/", host="elsewhere.example")[0] == 400


def test_every_answer_bears_its_policy(served: Served) -> None:
    job = begun(served)
    for path in ("/", f"/bench/{job}", f"/cab/{job}", "/desk", "/desk/fleet.html", "/pair",
                 "/nothing", "/static/link.js"):  # fmt: skip
        status, headers, _ = ask(served.at, path)
        assert status in (200, 404)
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
        assert "unsafe-inline" not in policy.split("style-src")[0]
        assert headers["x-content-type-options"] == "nosniff"


def test_each_role_can_do_what_is_its_own(paired: Served) -> None:
    token, _ = paired.access.join(paired.access.code("tech"), "a")
    tech = {"cookie": f"lugcall_pass={token}"}
    job, other = begun(paired, **tech), begun(paired, "C-15", **tech)
    token, _ = paired.access.join(paired.access.code("helper", job), "b")
    helper = {"cookie": f"lugcall_pass={token}"}
    token, _ = paired.access.join(paired.access.code("lead"), "c")
    lead = {"cookie": f"lugcall_pass={token}"}
    allowed = {
        (f"/bench/{job}", "tech"), (f"/bench/{other}", "tech"), (f"/cab/{job}", "tech"),
        (f"/cab/{other}", "tech"), (f"/cab/{job}", "helper"), ("/desk", "lead"),
        ("/desk/fleet.html", "lead"), ("/", "tech"), ("/", "lead"),
    }  # fmt: skip
    paths = sorted({path for path, _ in allowed})
    for who, cookie in (("tech", tech), ("helper", helper), ("lead", lead), ("", {})):
        for path in paths:
            assert (ask(paired.at, path, **cookie)[0] == 200) == ((path, who) in allowed), (
                path,
                who,
            )
    for role, cookie in (("tech", helper), ("tech", {}), ("helper", lead), ("lead", helper)):
        with pytest.raises((InvalidStatus, ConnectionClosed)):
            link(paired, role, job, **cookie).recv(timeout=5)
    assert ask(paired.at, "/begin", "POST", {"card": ""}, **helper)[0] == 403
    assert ask(paired.at, f"/code/helper/{other}", "POST", {}, **helper)[0] == 403
    assert ask(paired.at, f"/code/tech/{job}", "POST", {}, **tech)[0] == 403


def test_a_phone_is_let_in_by_the_code_that_the_bench_shows(paired: Served) -> None:
    token, _ = paired.access.join(paired.access.code("tech"), "a")
    tech = {"cookie": f"lugcall_pass={token}"}
    job = begun(paired, **tech)
    told = json.loads(ask(paired.at, f"/code/helper/{job}", "POST", {}, **tech)[2])["told"]
    code = next(
        word for word in told.replace(".", " ").split() if len(word) == 8 and word.isdigit()
    )
    status, headers, _ = ask(paired.at, "/pair", "POST", {"code": code})
    assert (status, headers["location"]) == (303, f"/cab/{job}")
    cookie = headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert ask(paired.at, "/pair", "POST", {"code": code})[0] == 403


def test_hostile_text_is_shown_and_never_markup(served: Served) -> None:
    job = begun(served)
    hostile = "note <img src=x onerror=alert(1)></script><script>alert(2)</script>\u202e"
    with link(served, "tech", job) as tech:
        n = shown(tech)["n"]
        tech.send(json.dumps({"words": hostile, "id": 1}))
        assert "\\u202e" in shown(tech, n)["view"]["heard"]["words"]
    for path in ("/", "/desk", f"/bench/{job}", "/desk/fleet.html"):
        text = ask(served.at, path)[2]
        assert "<img src=x" not in text and "<script>alert" not in text


def test_nonsense_breaks_nothing(served: Served) -> None:
    """Messages at random, too long, too many, of other types; the job goes on beside them."""
    job = begun(served)
    dice = random.Random(4)
    values = [
        None,
        True,
        -1,
        10**30,
        0.5,
        "stop " * 2000,
        "\x00",
        [],
        {},
        {"n": 1},
        "1:1",
        "\ud83d",
    ]
    keys = ["words", "about", "id", "seen", "take", "listen", "loud", "n", "view"]
    for _ in range(150):
        with link(served, dice.choice(["tech", "helper", "lead"]), job, seen="x:9" * 9) as page:
            try:
                for _ in range(dice.randrange(1, 12)):
                    told = {dice.choice(keys): dice.choice(values) for _ in range(3)}
                    raw = dice.choice(
                        [json.dumps(told), "{", "", "[1", "null", b"\x00" * 7, b"\0" * 1024]
                    )
                    page.send(raw)
            except ConnectionClosed:
                pass
    odd = ["/bench/..%2f..%2fetc", "/cab/%00", "/desk/../../etc/passwd", "/live/tech/x"]
    odd += ["/desk/jobs/%2e%2e/x.html", "/static/..%2fserver.py", "/bench/" + "a" * 3000]
    for path in odd:
        assert ask(served.at, path)[0] in (400, 404, 414), path
    assert ask(served.at, "/begin", "POST", {"card": "x" * 100_000})[0] == 413
    with link(served, "tech", job) as tech:
        n = shown(tech)["n"]
        tech.send(json.dumps({"words": "where are we", "id": 1}))
        assert shown(tech, n)["view"]["heard"]["words"] == "where are we"


def test_a_page_that_comes_back_is_sent_the_truth_within_a_second(tmp_path: Path) -> None:
    """Also of another life of the server, whose numbers begin anew."""
    job = until("ring_turn", tmp_path)
    running = serve(tmp_path)
    port = int(running.at.rsplit(":", 1)[1])
    with link(running, "helper", job) as cab:
        told = shown(cab)
        assert told["view"]["word"] == "stop"
    running.stop()
    running = serve(tmp_path, port)
    try:
        begins = time.monotonic()
        with link(running, "helper", job, seen=f"{told['life']}:{told['n'] + 5}") as cab:
            again = shown(cab)
            assert again["life"] != told["life"] and again["view"]["word"] == "stop"
        assert time.monotonic() - begins < 5  # a second where nothing else runs: see bench_screens
    finally:
        running.stop()


def test_no_small_message_waits_for_another_to_be_acknowledged() -> None:
    """A word for the cab and the beat that proves it are two: the second may not be held back by
    the kernel for tens of milliseconds (TCP_NODELAY)."""

    async def run() -> int:
        listener, told = _listener("127.0.0.1", free_port()), asyncio.Event()
        on: list[int] = []

        def joined(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            own = writer.get_extra_info("socket")
            on.append(own.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()
            told.set()

        async with await asyncio.start_server(joined, sock=listener):
            _, near = await asyncio.open_connection(*listener.getsockname())
            await asyncio.wait_for(told.wait(), 5)
            near.close()
        return on[0]

    assert asyncio.run(run())
