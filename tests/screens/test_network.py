"""The cab's phone on a bad network, in mid-hold: packets lost and late, the network cut, the
server killed, the phone asleep. `lugcall serve --lan` in one namespace, chromium in another."""

import json
import os
import signal
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from tests.demo import ROOT
from tests.screens.conftest import CHROMIUM, until
from tests.screens.network import SHOP, Wire, inside, wired
from tests.screens.test_pages import AWAKE, PHONE, wait_word, word
from tests.screens.test_server import ask, link

playwright = pytest.importorskip("playwright.sync_api")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
]
AT = f"http://{SHOP}:8765"
OLDEST_S = 1.2
"""A release on the cab is proved to be at most 0.9 s old, each 0.1 s; the rest is paint."""
SEEN = """
window.words = [];
new MutationObserver(() => window.words.push([
  performance.timeOrigin + performance.now(), document.getElementById("cab").dataset.word,
])).observe(document.getElementById("cab"), { attributeFilter: ["data-word"] });
"""


class Server:
    """`lugcall serve --lan` in the shop's namespace."""

    def __init__(self, wire: Wire, folder: Path) -> None:
        self.wire, self.folder = wire, folder
        self.log = folder.parent / f"{folder.name}.log"
        self.start()

    def start(self) -> float:
        """Seconds until it answers."""
        begins = time.monotonic()
        command = ["ip", "netns", "exec", self.wire.shop, sys.executable, "-m", "assistant"]
        command += ["serve", "--quiet", "--lan", "--address", SHOP, "--records", str(self.folder)]
        with self.log.open("a") as log:
            self.process = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log)
        while time.monotonic() - begins < 30:
            try:
                inside(self.wire.shop, lambda: ask(AT, "/static/link.js"))
                break
            except OSError:
                time.sleep(0.02)
        return time.monotonic() - begins

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(20)

    def code(self) -> str:
        told = [line for line in self.log.read_text().splitlines() if line.startswith("Technician")]
        return told[-1].split("/pair")[1]


class Bench:
    """The technician's page: a link of its own beside the wire, and when it was shown what."""

    def __init__(self, wire: Wire, job: str, cookie: str) -> None:
        self.shown: list[tuple[float, dict[str, Any]]] = []
        self.cab = ""
        self.link = inside(wire.shop, lambda: link(AT, "tech", job, cookie=cookie))
        threading.Thread(target=self._read, daemon=True).start()
        self.wait(lambda told: True)

    def _read(self) -> None:
        try:
            for text in self.link:
                told = json.loads(text)
                if "view" in told:
                    self.shown.append((time.time(), told))
                self.cab = told.get("cab", self.cab)
        except Exception:
            return

    def say(self, words: str) -> None:
        n = self.shown[-1][1]["n"]
        self.link.send(json.dumps({"words": words, "id": 1}))
        self.wait(lambda told: told["n"] > n)

    def wait(self, wanted: Callable[[dict[str, Any]], bool], most_s: float = 20) -> float:
        begins = time.monotonic()
        while time.monotonic() - begins < most_s:
            if self.shown and wanted(self.shown[-1][1]):
                return time.monotonic() - begins
            time.sleep(0.01)
        raise AssertionError(self.shown[-1:])

    def alarms(self) -> list[str]:
        return [one["text"] for _, told in self.shown for one in told["said"]
                if one.get("signal") == "DANGER" and "HANDS OUT" in one["text"]]  # fmt: skip


class Scene:
    """A server, a bench and the phone in the cab, at a step of the demo job."""

    def __init__(self, wire: Wire, server: Server, browser: Any, job: str) -> None:
        self.wire, self.server, self.browser, self.job = wire, server, browser, job
        self.cookie = self._pass()
        self.bench = Bench(wire, job, self.cookie)
        self.cab = self.phone()

    def _pass(self) -> str:
        form = {"code": self.server.code()}
        told = inside(self.wire.shop, lambda: ask(AT, "/pair", "POST", form))
        assert told[0] == 303, told
        return str(told[1]["set-cookie"].split(";")[0])

    def phone(self) -> Any:
        context = self.browser.new_context(viewport=PHONE)
        name, value = self.cookie.split("=", 1)
        context.add_cookies([{"name": name, "value": value, "url": AT}])
        page = context.new_page()
        page.goto(f"{AT}/cab/{self.job}")
        page.click("#begin")
        page.wait_for_function("() => link.up")
        page.evaluate(SEEN)
        return page

    def hold(self) -> None:
        """To where the ring may be turned, from a job that was resumed in the hold."""
        for words in ("clear", "carry on", "clear"):
            self.bench.say(words)
        wait_word(self.cab, "press")
        self.cab.evaluate("link.say('holding')")
        self.bench.wait(lambda told: told["view"]["heard"].get("words") == "holding")
        wait_word(self.cab, "hold")

    def fresh(self, n: int | None = None) -> None:
        """Wait until the cab shows the newest."""
        newest = self.bench.shown[-1][1]["n"] if n is None else n
        self.cab.wait_for_function("(n) => link.up && link.n >= n", arg=newest, timeout=20_000)

    def words(self) -> list[str]:
        """What the cab has shown, one after another; a word shown anew is still the same one."""
        return [word for word, _ in groupby(shown for _, shown in self.cab.evaluate("words"))]

    def stale_releases(self) -> list[float]:
        """How long each RELEASE on the cab outlived that of the server, in seconds."""
        now = time.time()
        told = [(at, m["view"]["word"] == "release") for at, m in self.bench.shown] + [(now, False)]
        seen = [(at / 1000, w == "release") for at, w in self.cab.evaluate("words")]
        late = []
        for (begins, on), (ends, _) in zip(seen, [*seen[1:], (now, False)], strict=True):
            if not on:
                continue
            last_true = max((told[i + 1][0] for i in range(len(told) - 1)
                             if told[i][1] and told[i][0] <= ends), default=0.0)  # fmt: skip
            late.append(max(0.0, ends - max(last_true, begins)))
        return late


@pytest.fixture(scope="module")
def wire() -> Iterator[Wire]:
    with wired() as made:
        yield made


@pytest.fixture(scope="module")
def browser(wire: Wire, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Chromium in the cab's namespace."""
    start = tmp_path_factory.mktemp("chromium") / "chromium"
    start.write_text(f'#!/bin/sh\nexec ip netns exec {wire.cab} {CHROMIUM} "$@"\n')
    start.chmod(start.stat().st_mode | stat.S_IXUSR)
    with playwright.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=str(start), args=AWAKE)
        yield opened
        opened.close()


@pytest.fixture
def scene(wire: Wire, browser: Any, tmp_path: Path, request: Any) -> Iterator[Scene]:
    wire.loss, wire.delay_s, wire.cut = 0.0, 0.0, False
    folder = tmp_path / "records"
    folder.mkdir()
    job = until(getattr(request, "param", "ring_turn"), folder)
    server = Server(wire, folder)
    try:
        yield Scene(wire, server, browser, job)
    finally:
        wire.loss, wire.delay_s, wire.cut = 0.0, 0.0, False
        server.process.terminate()
        server.process.wait(20)
        for context in browser.contexts:
            context.close()
    assert "Traceback" not in server.log.read_text()


@pytest.mark.parametrize("cut_s", [3, 9])
def test_a_network_cut_in_a_hold(scene: Scene, cut_s: int) -> None:
    """Both sides know within two seconds; once it is back, the cab has the truth within one."""
    scene.hold()
    before = len(scene.bench.alarms())
    scene.wire.cut = True
    begins = time.monotonic()
    cab_s = wait_word(scene.cab, "lost-hold")
    scene.bench.wait(lambda told: len(scene.bench.alarms()) > before)
    bench_s = time.monotonic() - begins
    assert not scene.cab.query_selector("#answers button")
    time.sleep(max(0.0, cut_s - (time.monotonic() - begins)))
    scene.wire.cut = False
    begins = time.monotonic()
    scene.fresh()
    back_s = time.monotonic() - begins
    print(
        f"cut {cut_s} s: cab {cab_s:.2f} s, bench {bench_s:.2f} s, the truth again {back_s:.2f} s"
    )
    assert cab_s < 2 and bench_s < 2 and back_s < 1
    assert word(scene.cab) == "hold"


@pytest.mark.parametrize("scene", ["ring_release"], indirect=True)
def test_a_cut_while_release_is_shown(scene: Scene) -> None:
    """The release leaves the cab within a second or so, and comes back only while it is true."""
    for words in ("clear", "let it up"):
        scene.bench.say(words)
    wait_word(scene.cab, "release")
    scene.wire.cut = True
    release_s = wait_word(scene.cab, "lost-hold")
    scene.bench.say("stop")
    scene.wire.cut = False
    scene.fresh()
    assert word(scene.cab) == "stop" and release_s < OLDEST_S
    assert scene.words()[-3:] == ["release", "lost-hold", "stop"]


@pytest.mark.parametrize("scene", ["ring_release"], indirect=True)
def test_packets_lost_and_late(scene: Scene) -> None:
    """A tenth of the packets lost each way, each 200 ms late: turns arrive, and no release is stale
    while the technician says "let it up" and "stop" in turn."""
    scene.wire.loss, scene.wire.delay_s = 0.1, 0.2
    begins, before, turns = time.monotonic(), len(scene.bench.alarms()), []
    while time.monotonic() - begins < 15:
        for words in ("clear", "let it up", "stop"):
            scene.bench.say(words)
            told = time.monotonic()
            scene.fresh()
            turns.append(time.monotonic() - told)
            time.sleep(0.4)
    lost = len(scene.bench.alarms()) - before
    late = scene.stale_releases()
    median, most = sorted(turns)[len(turns) // 2], max(turns)
    print(f"10 % lost, 200 ms late: a turn on the cab after {median:.2f} s, {most:.2f} at most;")
    print(f"  {len(late)} releases, {max(late, default=0):.2f} s stale at most; {lost} alarms in")
    print(f"  {time.monotonic() - begins:.0f} s; {scene.words()}")
    assert late and all(seconds < OLDEST_S for seconds in late)
    scene.wire.loss, scene.wire.delay_s = 0.0, 0.0
    scene.fresh()


@pytest.mark.parametrize("scene", ["ring_release"], indirect=True)
def test_a_server_killed_while_release_is_shown(scene: Scene) -> None:
    """And started again: the phone needs no new code, and shows what the record has."""
    for words in ("clear", "let it up"):
        scene.bench.say(words)
    wait_word(scene.cab, "release")
    scene.server.kill()
    assert wait_word(scene.cab, "lost-hold") < OLDEST_S
    start_s = scene.server.start()
    back_s = wait_word(scene.cab, "stop")
    print(f"killed: started in {start_s:.2f} s, the truth {back_s:.2f} s after that")
    assert back_s < 1


def test_two_phones_in_the_cab(scene: Scene) -> None:
    """The newer one counts, at once; the older one shows nothing that a foot could follow."""
    scene.hold()
    before = len(scene.bench.alarms())
    second = scene.phone()
    assert wait_word(scene.cab, "moved") < 2
    assert len(scene.bench.alarms()) > before and word(second) in ("hold", "stop")
    scene.cab.evaluate("link.say('released')")
    time.sleep(0.5)
    assert scene.bench.shown[-1][1]["view"]["heard"].get("words") != "released"


@pytest.mark.parametrize("scene", ["ring_release"], indirect=True)
def test_a_phone_asleep_while_release_is_shown(scene: Scene) -> None:
    """Its processor stands still with the word on the screen: hands out below; it wakes with the
    safe word, and no release."""
    for words in ("clear", "let it up"):
        scene.bench.say(words)
    wait_word(scene.cab, "release")
    before = len(scene.bench.alarms())
    told = scene.browser.new_browser_cdp_session().send("SystemInfo.getProcessInfo")
    pages = [one["id"] for one in told["processInfo"] if one["type"] == "renderer"]
    for page in pages:
        os.kill(page, signal.SIGSTOP)
    try:
        alarm_s = scene.bench.wait(lambda told: len(scene.bench.alarms()) > before)
        scene.bench.say("stop")
        time.sleep(2)
    finally:
        for page in pages:
            os.kill(page, signal.SIGCONT)
    begins = time.monotonic()
    scene.fresh()
    back_s = time.monotonic() - begins
    print(f"asleep: hands out after {alarm_s:.2f} s, awake with the truth after {back_s:.2f} s")
    assert alarm_s < 2 and back_s < 1 and word(scene.cab) == "stop"
    assert scene.words()[-3:] == ["release", "lost-hold", "stop"]
