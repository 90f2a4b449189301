"""The technician's voice through the page: a browser's microphone, the link, the ears, the job."""

import base64
import io
import time
from pathlib import Path
from typing import Any

import pytest
import soundfile

from assistant.conversation import Session, split_speaker
from assistant.screens.ears import Ears
from assistant.voice.devices.audio import RATE
from tests.demo import card, script, shipped
from tests.screens.conftest import CHROMIUM, Served, serve, until
from tests.screens.test_pages import AWAKE, PHONE, opened, wait_word
from tests.spoken.voices import available, say

playwright = pytest.importorskip("playwright.sync_api")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.sound,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
]
MICROPHONE = """
navigator.mediaDevices.getUserMedia = async () => {
  const room = new AudioContext({ sampleRate: 16000 });
  const mic = room.createMediaStreamDestination();
  window.speak = async (data) => {
    const bytes = Uint8Array.from(atob(data), (sign) => sign.charCodeAt(0));
    const words = room.createBufferSource();
    words.buffer = await room.decodeAudioData(bytes.buffer);
    words.connect(mic);
    words.start();
  };
  return mic.stream;
};
"""
"""Into the page goes whatever the test says; from there on all is as with a real microphone."""


SHOWN = """([n, shows]) => link.n > n && (shows ? view.figure.includes(shows) : !view.figure)"""
"""A new message shows this figure, or none."""


def wav(words: str) -> str:
    file = io.BytesIO()
    soundfile.write(file, say(available("test")[0], words), RATE, "PCM_16", format="WAV")
    return base64.b64encode(file.getvalue()).decode()


def ready(bay: Any, most_s: float = 60) -> None:
    """Wait until there are ears: while models are loaded, a busy machine may miss the cab."""
    ends = time.monotonic() + most_s
    while (bay.ears is None or bay.cab_state != "shows") and time.monotonic() < ends:
        time.sleep(0.1)
    assert bay.ears is not None and bay.cab_state == "shows"


def test_spoken_into_the_page_it_is_heard_and_answered(tmp_path: Path) -> None:
    job = until("found_gap", tmp_path)
    served = serve(tmp_path, ears=Ears)
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=AWAKE)
        try:
            bench = opened(browser, served.at, "bench", job)
            cab = opened(browser, served.at, "cab", job, viewport=PHONE)
            bench.evaluate(MICROPHONE)
            bench.click("#listen")
            bench.wait_for_function("() => window.speak")
            ready(served.bays._live[job])
            for words, shows in (("nine sixteenths", "9/16"), ("no", ""), ("five eighths", "5/8")):
                n = bench.evaluate("link.n")
                bench.evaluate("(sound) => window.speak(sound)", wav(words))
                # A busy machine may miss the cab's link meanwhile, and tell so: that is no answer.
                bench.wait_for_function(SHOWN, arg=[n, shows], timeout=30_000)
                time.sleep(2)  # he hears the answer first; what comes at once is more of a reading
            assert bench.evaluate("link.context.state") == "running"
            begins = time.monotonic()
            while bench.evaluate("link.until") == 0 and time.monotonic() - begins < 20:
                time.sleep(0.1)
            assert bench.evaluate("link.until") > 0  # and it was answered aloud
            bench.evaluate("(sound) => window.speak(sound)", wav("stop"))
            wait_word(cab, "stop", 30)
            heard = served.bays._live[job].conversation.journal.events[-1].data
            assert heard["ear"]["decision"] == "accept" and heard["who"] == "tech"
        finally:
            browser.close()
            served.stop()


MOST_TRIES = 4
"""How often a line is said; then it is typed."""


class SpokenJob:
    """The demo's script, the technician's lines spoken into the bench's page, the helper's touched
    or typed in the cab. Beside it a shadow of the job, only typed, shows where it must lead."""

    def __init__(self, served: Served, bench: Any, cab: Any, job: str, folder: Path) -> None:
        self.bench, self.cab = bench, cab
        self.live = served.bays._live[job].conversation
        self.shadow = Session.begin(card(), shipped(), folder)[0]
        self.said = self.again = self.typed = 0

    def stands(self, job: Any) -> tuple[str, str, str]:
        pending = job.pending
        return job.at, job.expects(), pending.figures if pending is not None else ""

    def done(self) -> bool:
        return self.stands(self.live.job) == self.stands(self.shadow.job)

    def settled(self, n: int, most_s: float = 12) -> bool:
        """Whether something was published, and all that was said is decided on."""
        ends = time.monotonic() + most_s
        while time.monotonic() < ends and self.bench.evaluate("link.n") == n:
            time.sleep(0.05)
        return bool(self.bench.evaluate("link.n") > n)

    def speak(self, words: str) -> None:
        self.said += 1
        n = self.bench.evaluate("link.n")
        self.bench.evaluate("(sound) => window.speak(sound)", wav(words))
        time.sleep(len(say(available("test")[0], words)) / RATE)
        self.settled(n)
        time.sleep(0.7)  # he hears the answer first

    def line(self, who: str, words: str) -> None:
        self.shadow.hear(who, words)
        if who == "helper":
            self.touch(words)
            return
        for turn in range(MOST_TRIES):
            if self.done():
                return
            self.again += turn > 0
            pending = self.live.job.pending
            if turn and pending is not None:
                meant = self.shadow.job.facts.readings
                right = meant and pending.figures == meant[-1].figures
                self.speak("check" if right else "no")
                if right:
                    continue
            self.speak(words)
        if not self.done():
            self.typed += 1
            self.type(self.bench, words)

    def type(self, page: Any, words: str) -> None:
        n = page.evaluate("link.n")
        page.evaluate("(words) => link.say(words)", words)
        page.wait_for_function("(n) => link.n > n", arg=n)

    def touch(self, words: str) -> None:
        n = self.bench.evaluate("link.n")
        self.cab.wait_for_function("(n) => link.n >= n", arg=n)
        button = self.cab.locator(f'#answers button[data-means="{words.replace(" ", "_")}"]')
        if button.count():
            button.click()
        else:
            self.cab.evaluate("(words) => link.say(words)", words)
        self.bench.wait_for_function("(n) => link.n > n", arg=n)


def test_a_whole_job_by_voice_through_the_page(tmp_path: Path) -> None:
    """From the odometer to the sign-off: every line of the technician's is sound in the page's
    microphone. A line that is not taken is said again, as people do."""
    from tests.screens.test_server import begun

    (tmp_path / "shadow").mkdir()
    served = serve(tmp_path, ears=Ears)
    begins = time.monotonic()
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=AWAKE)
        try:
            job = begun(served)
            bench = opened(browser, served.at, "bench", job)
            cab = opened(browser, served.at, "cab", job, viewport=PHONE)
            bench.evaluate(MICROPHONE)
            bench.click("#listen")
            bench.wait_for_function("() => window.speak")
            ready(served.bays._live[job])
            spoken = SpokenJob(served, bench, cab, job, tmp_path / "shadow")
            for line in script("first_job"):
                who, words = split_speaker(line)
                # What is true of the truck is said one after another.
                listed = spoken.live.job.at in ("chocks", "cover_on")
                for part in words.split(", ") if listed else [words]:
                    before = time.monotonic()
                    spoken.line(who, part)
                    print(f"{time.monotonic() - before:5.1f} s  {who}: {part}")
                assert spoken.done(), (line, spoken.stands(spoken.live.job))
            took = time.monotonic() - begins
            told = f"{spoken.said} utterances, {spoken.again} said again, {spoken.typed} typed"
            print(f"{told}, {took:.0f} s")
            assert spoken.live.journal.finished and spoken.typed <= 2
        finally:
            browser.close()
            served.stop()
