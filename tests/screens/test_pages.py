"""The pages in a real browser: a whole job by touch and keys, links cut, sizes, accessibility."""

import select
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from assistant.conversation import split_speaker
from tests.demo import script
from tests.screens.conftest import CHROMIUM, Served, serve, until

playwright = pytest.importorskip("playwright.sync_api")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
]
AWAKE = [
    "--no-sandbox",
    "--disable-background-timer-throttling",
    "--disable-renderer-backgrounding",
    "--disable-backgrounding-occluded-windows",
]
PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def browser() -> Iterator[playwright.Browser]:
    with playwright.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=AWAKE)
        yield opened
        opened.close()


class Wire:
    """What lies between a page and the server: it can be cut without a word, and mended."""

    def __init__(self, to: int) -> None:
        self.to, self.cut = to, threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=(near,), daemon=True).start()

    def _carry(self, near: socket.socket) -> None:
        with suppress(OSError), near, socket.create_connection(("127.0.0.1", self.to)) as far:
            while True:
                ready, _, _ = select.select([near, far], [], [], 0.1)
                if self.cut.is_set():
                    time.sleep(0.05)
                    continue
                for one in ready:
                    data = one.recv(65536)
                    if not data:
                        return
                    (far if one is near else near).sendall(data)

    def close(self) -> None:
        self._listener.close()


def opened(browser, at: str, kind: str, job: str, **look):
    """A page of a job, joined; faults of its scripts fail the test."""
    context = browser.new_context(
        viewport=look.pop("viewport", {"width": 1280, "height": 900}), **look
    )
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda fault: page.faults.append(str(fault)))
    page.goto(f"{at}/{kind}/{job}")
    if kind == "cab":
        page.click("#begin")
    page.wait_for_selector("#answers button")
    return page


def word(cab) -> str:
    return cab.get_attribute("#cab", "data-word")


def wait_word(cab, wanted: str, timeout_s: float = 10) -> float:
    """Seconds until the cab shows a word."""
    begins = time.monotonic()
    cab.wait_for_function(
        "(w) => document.getElementById('cab').dataset.word === w",
        arg=wanted,
        timeout=timeout_s * 1000,
    )
    return time.monotonic() - begins


CUT = """[...document.querySelectorAll("#answers button")].filter((one) => {
  const at = one.getBoundingClientRect();
  return at.right > innerWidth || at.bottom > innerHeight || one.scrollWidth > one.clientWidth;
}).map((one) => one.textContent)"""
"""The answers of a cab that are not wholly on its screen."""


def test_a_whole_job_by_keys_and_touches(browser, served: Served) -> None:
    """The bench types, the cab touches where a touch says it; both show what the record has."""
    start = browser.new_page()
    start.goto(served.at)
    start.select_option("#card", "T-104")
    start.click("button[type=submit]")
    start.wait_for_url("**/bench/*")
    job = start.url.rsplit("/", 1)[1]
    bench, cab = (
        opened(browser, served.at, "bench", job),
        opened(browser, served.at, "cab", job, viewport=PHONE),
    )
    words, touched = set(), 0
    for line in script("first_job"):
        who, said = split_speaker(line)
        n = bench.evaluate("link.n")
        cab.wait_for_function("(n) => link.n >= n", arg=n)
        cab.wait_for_timeout(80)  # twenty words in two seconds are too fast for any person
        words.add(word(cab))
        cut = cab.evaluate(CUT)
        assert not cut, (said, cut)
        button = cab.locator(
            f'#answers button[data-means="{said if said != "ready" else "ready"}"]'
        )
        if who == "helper" and said in ("holding", "released", "ready") and button.count():
            touched += 1
            button.click()
        elif who == "helper":
            cab.evaluate("(words) => link.say(words)", said)
        else:
            bench.fill("#words", said)
            bench.press("#words", "Enter")
        bench.wait_for_function("(n) => link.n > n", arg=n)
    assert bench.evaluate("view.finished") and words >= {"wait", "hold", "release"} and touched >= 2
    assert served.bays._live[job].conversation.journal.finished
    assert not bench.faults and not cab.faults


def test_a_cut_link_in_a_hold_is_seen_on_both_sides(browser, tmp_path: Path) -> None:
    """The cab says so within two seconds and shows the safe word; below, hands out."""
    job = until("ring_turn", tmp_path)
    served = serve(tmp_path)
    wire = Wire(int(served.at.rsplit(":", 1)[1]))
    try:
        bench = opened(browser, served.at, "bench", job)  # which has its own way to the server
        cab = opened(browser, f"http://127.0.0.1:{wire.port}", "cab", job, viewport=PHONE)
        for page, said in (
            (bench, "clear"),
            (bench, "carry on"),
            (bench, "clear"),
            (cab, "holding"),
        ):
            n = page.evaluate("link.n")
            page.evaluate("(words) => link.say(words)", said)
            page.wait_for_function("(n) => link.n > n", arg=n)
        wait_word(cab, "hold")
        wire.cut.set()
        begins = time.monotonic()
        cab.wait_for_selector("#link:not([hidden])", timeout=10_000)
        assert word(cab) == "lost-hold" and not cab.query_selector("#answers button")
        cab_s = time.monotonic() - begins
        bench.wait_for_function(
            "() => document.getElementById('alarm').textContent.includes('HANDS OUT')"
        )
        bench_s = time.monotonic() - begins
        print(f"cut: the cab says so after {cab_s:.2f} s, hands out after {bench_s:.2f} s")
        wire.cut.clear()
        wait_word(cab, "hold")
        cab.wait_for_selector("#answers button")
    finally:
        wire.close()
        served.stop()


def test_a_release_is_never_on_a_stale_page(browser, tmp_path: Path) -> None:
    """The server is gone while RELEASE is shown; and a page that was left does not wake with it."""
    job = until("ring_release", tmp_path)
    served = serve(tmp_path)
    bench = opened(browser, served.at, "bench", job)
    cab = opened(browser, served.at, "cab", job, viewport=PHONE)
    for page, said in ((bench, "clear"), (bench, "let it up")):
        n = page.evaluate("link.n")
        page.evaluate("(words) => link.say(words)", said)
        page.wait_for_function("(n) => link.n > n", arg=n)
    wait_word(cab, "release")
    cab.evaluate("Object.defineProperty(document, 'hidden', {value: true, configurable: true})")
    cab.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert word(cab) == "lost-hold"
    cab.evaluate("Object.defineProperty(document, 'hidden', {value: false})")
    wait_word(cab, "release")
    served.stop()
    wait_word(cab, "lost-hold")
    assert "RELEASE" not in cab.inner_text("#word")


def test_two_cabs_and_only_the_newer_answers(browser, served: Served, tmp_path: Path) -> None:
    job = until("found_gap", tmp_path)
    first = opened(browser, served.at, "cab", job, viewport=PHONE)
    second = opened(browser, served.at, "cab", job, viewport=PHONE)
    wait_word(first, "moved")
    assert not first.query_selector("#answers button") and word(second) == "wait"
    first.click("#word")
    wait_word(second, "moved")
    wait_word(first, "wait")


def at_bench(page, words: str) -> None:
    n = page.evaluate("link.n")
    page.evaluate("(words) => link.say(words)", words)
    page.wait_for_function("(n) => link.n > n", arg=n)


def test_no_press_on_the_cab_before_the_bench_shows_its_warning(browser, tmp_path: Path) -> None:
    """With the bench asleep the cab waits; the warning stands above the fold, wherever it was
    scrolled to."""
    job = until("found_total", tmp_path)
    served = serve(tmp_path)
    try:
        cab = opened(browser, served.at, "cab", job, viewport=PHONE)
        assert word(cab) == "wait" and "warned" in cab.inner_text("#line")
        bench = opened(browser, served.at, "bench", job, viewport=PHONE)
        wait_word(cab, "turn")
        assert "Press to the floor" in cab.inner_text("#line")
        bench.evaluate("scrollTo(0, 10000)")
        box = bench.locator("#warn").bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] < PHONE["height"] / 2
        assert "PEDAL WILL MOVE" in bench.inner_text("#warn")
    finally:
        served.stop()


def test_what_is_typed_in_the_cab_is_answered_there(browser, tmp_path: Path) -> None:
    job = until("found_height", tmp_path)
    served = serve(tmp_path)
    try:
        bench = opened(browser, served.at, "bench", job)
        cab = opened(browser, served.at, "cab", job, viewport={"width": 740, "height": 360})
        wait_word(cab, "turn")
        assert not cab.evaluate(CUT)
        cab.set_viewport_size({"width": 360, "height": 560})
        assert cab.inner_text("#unit") == "in" and cab.query_selector("#pad [data-key=in]")
        for words in ("blorp", "8.5"):
            n = cab.evaluate("link.n")
            cab.fill("#words", words)
            cab.press("#words", "Enter")
            cab.wait_for_function("(n) => link.n > n", arg=n)
            cab.wait_for_function("() => document.getElementById('told').textContent")
            assert not cab.evaluate(CUT)
        assert "8.5 in" in cab.inner_text("#told")
        assert bench.query_selector("#heard:not([hidden])") and not cab.faults
    finally:
        served.stop()


def test_press_and_keep_down_do_not_look_alike(browser, tmp_path: Path) -> None:
    """Nor does anything else: word, ground and shape differ; STOP and SAY AGAIN are on the screen
    in both, and how the truck stands covers nothing that is to be done."""
    job = until("ring_turn", tmp_path)
    served = serve(tmp_path)
    shown = "() => [getComputedStyle(document.querySelector('.shape')).clipPath,"
    shown += " getComputedStyle(cab).backgroundColor]"
    try:
        bench = opened(browser, served.at, "bench", job, viewport=PHONE)
        cab = opened(browser, served.at, "cab", job, viewport={"width": 360, "height": 560})
        looks = {"stop": cab.evaluate(shown)}
        at_bench(bench, "stop")
        state, now = (bench.locator(name).bounding_box() for name in ("#state", "#now"))
        assert "As it stands" in bench.inner_text("#state")
        assert "As it stands" not in bench.inner_text("#alarm")
        assert now["y"] + now["height"] <= state["y"] and now["y"] < PHONE["height"] / 2
        bench.set_viewport_size({"width": 360, "height": 560})
        answers, now = (bench.locator(name).bounding_box() for name in ("#answers", "#now"))
        assert now["y"] + now["height"] <= answers["y"], "the answers cover what is to be done"
        for words in ("clear", "carry on", "clear"):
            at_bench(bench, words)
        wait_word(cab, "press")
        looks["press"] = cab.evaluate(shown)
        assert not cab.evaluate(CUT)
        cab.click("[data-means=holding]")
        wait_word(cab, "hold")
        looks["hold"] = cab.evaluate(shown)
        assert not cab.evaluate(CUT) and cab.query_selector("[data-means=stop]")
        for part in zip(*looks.values(), strict=True):
            assert len({*part}) == len(looks), looks
        cab.click("[data-means=repeat]")
        cab.wait_for_function("() => !document.querySelector('#answers :disabled')")
        assert word(cab) == "hold"
    finally:
        served.stop()


def test_the_cab_s_address_goes_once_it_has_joined(browser, tmp_path: Path) -> None:
    job = until("found_gap", tmp_path)
    served = serve(tmp_path)
    try:
        bench = opened(browser, served.at, "bench", job)
        bench.click("#phone")
        bench.wait_for_selector("#phone_code:not([hidden])")
        opened(browser, served.at, "cab", job, viewport=PHONE)
        bench.wait_for_selector("#phone_code", state="hidden", timeout=5000)
    finally:
        served.stop()


SIZES = [(360, 740), (844, 390), (768, 1024), (1280, 800), (2560, 1440)]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_fit_and_axe_finds_nothing(browser, scheme: str, tmp_path: Path) -> None:
    """WCAG 2.2 A and AA by axe-core, and 7:1 contrast on the cab (its AAA rule), in every size."""
    axe_page = pytest.importorskip("axe_playwright_python.sync_playwright")
    job = until("ring_turn", tmp_path)
    served = serve(tmp_path)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    try:
        for kind in ("bench", "cab", "", "pair", "desk"):
            page = (
                opened(browser, served.at, kind, job, color_scheme=scheme)
                if kind in ("bench", "cab")
                else browser.new_context(color_scheme=scheme).new_page()
            )
            if kind not in ("bench", "cab"):
                page.goto(f"{served.at}/{kind}")
            for width, height in SIZES:
                page.set_viewport_size({"width": width, "height": height})
                wide = page.evaluate("document.documentElement.scrollWidth")
                assert wide <= width, (kind, width, wide)
            rules = {"runOnly": {"type": "tag", "values": tags}}
            if kind == "cab":
                rules["rules"] = {"color-contrast-enhanced": {"enabled": True}}
            found = axe_page.Axe().run(page, options=rules).response["violations"]
            assert not found, [(kind, one["id"], one["nodes"][0]["html"][:120]) for one in found]
            page.context.close()
    finally:
        served.stop()
