"""The technician's voice through the page: a browser's microphone, the link, the ears, the job."""

import base64
import io
import time
from pathlib import Path

import pytest
import soundfile

from assistant.screens.ears import Ears
from assistant.voice.devices.audio import RATE
from tests.screens.conftest import CHROMIUM, serve, until
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


def wav(words: str) -> str:
    file = io.BytesIO()
    soundfile.write(file, say(available("test")[0], words), RATE, "PCM_16", format="WAV")
    return base64.b64encode(file.getvalue()).decode()


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
            for words, shows in (("nine sixteenths", "9/16"), ("no", ""), ("five eighths", "5/8")):
                n = bench.evaluate("link.n")
                bench.evaluate("(sound) => window.speak(sound)", wav(words))
                bench.wait_for_function("(n) => link.n > n", arg=n, timeout=30_000)
                assert shows in bench.inner_text("#figure")
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
