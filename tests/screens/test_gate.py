"""A server killed in a job, and a change of person: what is asked first is answered on the pages.

The code is typed, the foot and the key are touched; nothing goes on before, whatever is said, and
then the job is carried on to its end.
"""

import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.conversation import Session, split_speaker
from assistant.record import verify_file
from assistant.record.history import JobHistory
from assistant.screens.view import bench_view, cab_view
from tests.demo import DEMO, ROOT, card, script, shipped
from tests.screens.conftest import CHROMIUM, free_port

playwright = pytest.importorskip("playwright.sync_api")
from tests.screens.test_pages import AWAKE, CUT, PHONE, opened, wait_word, word  # noqa: E402


class Shop:
    """`lugcall serve` in a process of its own, a bench and a cab on it, and one job begun."""

    def __init__(self, browser, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.at = f"http://127.0.0.1:{self.port}"
        self.start()
        page = browser.new_page()
        page.goto(self.at)
        page.select_option("#card", "T-104")
        page.click("button[type=submit]")
        page.wait_for_url("**/bench/*")
        self.job = page.url.rsplit("/", 1)[1]
        page.close()
        self.bench = opened(browser, self.at, "bench", self.job)
        self.cab = opened(browser, self.at, "cab", self.job, viewport=PHONE)

    def start(self) -> None:
        command = [sys.executable, "-m", "assistant", "serve", "--quiet", "--cards", str(DEMO)]
        command += ["--port", str(self.port), "--records", str(self.folder)]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.process = subprocess.Popen(command, cwd=ROOT, **quiet)
        ends = time.monotonic() + 60
        while time.monotonic() < ends:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the server does not answer")

    def kill_and_start(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(20)
        self.cab.wait_for_selector("#link:not([hidden])", timeout=20_000)
        self.start()
        for page in (self.bench, self.cab):
            page.wait_for_selector("#link", state="hidden", timeout=30_000)
            page.wait_for_selector("#answers button", timeout=30_000)

    def says(self, who: str, words: str) -> None:
        """Said at his page; returns once both pages show what came of it."""
        page = self.cab if who == "helper" else self.bench
        n = self.bench.evaluate("link.n")
        page.evaluate("(words) => link.say(words)", words)
        self._after(n)

    def types(self, who: str, words: str) -> None:
        page = self.cab if who == "helper" else self.bench
        n = self.bench.evaluate("link.n")
        page.fill("#words", words)
        page.click("#say button[type=submit]")
        self._after(n)

    def touches(self, who: str, means: str) -> None:
        page = self.cab if who == "helper" else self.bench
        n = self.bench.evaluate("link.n")
        page.click(f'#answers button[data-means="{means}"]')
        self._after(n)

    def _after(self, n: int) -> None:
        for page in (self.bench, self.cab):
            page.wait_for_function("(n) => link.n > n", arg=n, timeout=20_000)
        self.cab.wait_for_timeout(90)  # faster than any person is refused
        cut = self.cab.evaluate(CUT)
        assert not cut, cut

    def plays(self, lines: list[str]) -> None:
        for line in lines:
            who, words = split_speaker(line)
            if word(self.cab) == "foot" and words != "foot off":
                self.touches("helper", "foot_off")  # asked once more after a hold begun anew
            self.says(who, words)

    @property
    def now(self) -> str:
        return self.bench.inner_text("#now")

    @property
    def line(self) -> str:
        return self.cab.inner_text("#line")

    @property
    def history(self) -> JobHistory:
        return JobHistory.read(self.folder / f"{self.job}.jsonl")

    def stands(self) -> tuple[int, int, str]:
        """Readings taken, moves made, and the step: what only an answer to a step changes."""
        turns = self.history.turns
        taken = sum(t.taken is not None for t in turns)
        return taken, sum(t.ring is not None for t in turns), turns[-1].after

    def nothing_goes_on(self, *said: tuple[str, str]) -> None:
        before = self.stands()
        for who, words in said:
            self.says(who, words)
            assert self.stands() == before, words

    def close(self) -> None:
        assert not self.bench.faults and not self.cab.faults
        self.process.terminate()
        self.process.wait(20)


@pytest.fixture(scope="module")
def browser() -> Iterator["playwright.Browser"]:
    with playwright.sync_playwright() as play:
        opened_one = play.chromium.launch(executable_path=CHROMIUM, args=AWAKE)
        yield opened_one
        opened_one.close()


@pytest.fixture
def shop(browser, tmp_path: Path) -> Iterator[Shop]:
    one = Shop(browser, tmp_path)
    yield one
    one.close()


LINES = script("first_job")


def split(words: str) -> tuple[list[str], list[str]]:
    """The demo job before a line with these words, and from there on."""
    at = next(i for i, line in enumerate(LINES) if line.endswith(words))
    return LINES[:at], LINES[at:]


def signed(shop: Shop, people: list[tuple[str, str]]) -> None:
    assert shop.bench.evaluate("view.finished")
    verdict = verify_file(shop.folder / f"{shop.job}.jsonl")
    assert verdict.ok and verdict.closed, verdict
    closed = shop.history.closed
    assert closed is not None and closed.unfinished is None
    assert [(one.who, one.code) for one in closed.people] == people


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
def test_killed_in_mid_job_the_gate_is_answered_on_the_pages(shop: Shop) -> None:
    before, after = split("forty thou")
    shop.plays(before)
    assert shop.now.startswith("Fork clearance")
    shop.kill_and_start()
    # Who goes on: asked large on the bench, typed there.
    assert "Who goes on?" in shop.now
    shop.nothing_goes_on(("tech", "forty thou"), ("tech", "check"), ("tech", "done"))
    shop.types("tech", "12")
    # Then the helper, and his foot: the bench waits, the cab shows the question and its touch.
    assert "helper answers" in shop.now
    assert word(shop.cab) == "foot" and "still there" in shop.line and "Foot off" in shop.line
    shop.nothing_goes_on(("tech", "forty thou"), ("tech", "done"), ("helper", "sound"))
    shop.touches("helper", "foot_off")
    wait_word(shop.cab, "wait")
    # Then the key.
    assert "key on you" in shop.now
    shop.nothing_goes_on(("tech", "forty thou"), ("helper", "done"))
    shop.touches("tech", "done")
    assert shop.now.startswith("Fork clearance")
    shop.plays(after)
    signed(shop, [("tech", "12")])


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
def test_killed_in_a_hold_the_hold_starts_over_behind_the_gate(shop: Shop) -> None:
    before, after = split("five lugs")
    shop.plays(before)
    assert word(shop.cab) == "hold"
    shop.kill_and_start()
    assert "HANDS OUT" in shop.bench.inner_text("#alarm") and word(shop.cab) == "stop"
    assert "your code" in shop.now and not shop.bench.query_selector('[data-means="carry_on"]')
    shop.nothing_goes_on(("tech", "carry on"), ("tech", "five lugs"), ("helper", "holding"))
    shop.types("tech", "12")
    shop.touches("tech", "clear")
    shop.touches("tech", "carry_on")
    shop.nothing_goes_on(("tech", "five lugs"), ("tech", "clear"))
    assert "key on you" in shop.now
    shop.touches("tech", "done")
    shop.touches("tech", "clear")
    wait_word(shop.cab, "press")
    shop.touches("helper", "holding")
    wait_word(shop.cab, "hold")
    shop.plays(after)
    signed(shop, [("tech", "12")])


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
def test_a_change_of_person_in_the_middle_is_answered_on_the_pages(shop: Shop) -> None:
    before, after = split("twenty-one thirty-seconds")
    shop.plays(before)
    shop.says("helper", "it's Pat now")
    # His code is asked in the cab, with keys to type it; the bench says what it waits for.
    assert word(shop.cab) == "turn" and "Who goes on?" in shop.line
    assert "helper" in shop.now and shop.cab.is_visible("#say")
    assert shop.cab.inner_text("#say label").strip().lower() == "your code"
    shop.nothing_goes_on(("tech", "twenty-one thirty-seconds"), ("tech", "check"))
    for key in "31":
        shop.cab.click(f'#pad button[data-key="{key}"]')
    n = shop.bench.evaluate("link.n")
    shop.cab.click("#say button[type=submit]")
    shop._after(n)
    assert word(shop.cab) == "foot"
    shop.nothing_goes_on(("tech", "twenty-one thirty-seconds"))
    shop.touches("helper", "foot_off")
    # And the technician changes as well.
    shop.says("tech", "this is the night shift, Robin")
    assert "Who goes on?" in shop.now
    shop.nothing_goes_on(("tech", "twenty-one thirty-seconds"))
    shop.types("tech", "Robin here")
    shop.touches("helper", "foot_off")
    shop.touches("tech", "done")
    assert shop.now.startswith("Gap")
    shop.plays(after)
    signed(shop, [("helper", "31"), ("tech", "ROBIN")])


def test_a_helper_asked_for_his_code_or_a_done_has_what_answers_it(tmp_path: Path) -> None:
    """Without a browser: what the pages are given."""
    session, _ = Session.begin(card(), shipped(), tmp_path)
    for line in split("forty thou")[0]:
        session.hear(*split_speaker(line))
    session.hear("helper", "taking over")
    cab, bench = cab_view(session.job), bench_view(session.job, {}, {})
    assert (cab["word"], cab["asks"], cab["unit"]) == ("turn", "code", "")
    assert "helper" in bench["now"] and cab["label"] == "Your code"
    session.close()
    session, _ = Session.begin(card(), shipped(), tmp_path / "new")
    for words in ("new brake", "skip", "chocked, brakes set, in neutral, key's on me, goggles on"):
        session.hear("tech", words)
    session.hear("tech", "on the ground")
    session.hear("helper", "ready")
    for words in ("cover off", "seated and whole", "clear"):
        session.hear("tech", words)
    assert session.job.at == "new_seat"
    cab = cab_view(session.job)
    assert cab["word"] == "turn" and [one["means"] for one in cab["answers"]] == ["done", "stop"]
    assert cab_view(session.job, warned=False)["word"] == "wait", "the bench is warned first"
    session.close()
