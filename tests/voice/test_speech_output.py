"""Speech output: words for the ear, order and interruption, cut-off, and the synthesizer itself."""

import os
import re
import signal
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.act import Said
from assistant.card.show import limit_text
from assistant.clutch.conformity import Limits
from assistant.job import words as trade
from assistant.readings import Reading, read, speak
from assistant.texts.dialogs import Dialogs
from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.output import synthesizer as synthesizer_module
from assistant.voice.output.player import NoLoudspeaker, PlaybackBuffer
from assistant.voice.output.queue import SpeechOutput
from assistant.voice.output.synthesizer import SpeechError, Synthesizer, split_sentences, spoken
from tests.demo import played
from tests.spoken.channels import level_dbfs
from tests.tables import rows_of


@pytest.fixture(scope="module")
def speech() -> Iterator[Synthesizer]:
    with closing(Synthesizer()) as one:
        yield one


class Toneless:
    """Stands in for the synthesizer where only order and time matter: 0.1 s a word."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, str]] = []

    def samples(self, text: str, voice: str = "tech") -> Samples:
        self.asked.append((text, voice))
        return np.full(len(text.split()) * RATE // 10, 0.25, dtype=np.float32)


class Silent:
    """An output whose time passes by `run`, and which keeps what would be heard."""

    def __init__(self, name: str = "silent") -> None:
        self.name = name
        self.now = 0.0
        self.buffer = PlaybackBuffer(lambda: self.now)
        self._blocks: list[Samples] = []

    def run(self, count: int) -> None:
        self._blocks.append(self.buffer.fill(count, self.now))
        self.now += count / RATE

    def heard(self) -> Samples:
        return np.concatenate(self._blocks)

    def check(self) -> bool:
        return True

    def close(self) -> None: ...


def run(output: SpeechOutput, seconds: float) -> None:
    """Let time pass, synthesizing what falls due."""
    for _ in range(round(seconds / 0.016)):
        for queue in output.queues:
            while queue.turn():
                pass
            queue.output.run(256)  # type: ignore[attr-defined]


class Heard:
    """Speech on silent outputs, and what was begun on which of them, in order."""

    def __init__(self, two: bool = False) -> None:
        self.speech = Toneless()
        self.tech = Silent("tech")
        self.helper = Silent("helper") if two else None
        self.begun: list[tuple[str, str]] = []
        self.output = SpeechOutput(
            self.speech,  # type: ignore[arg-type]
            self.tech,
            self.helper,
            on_first=lambda said, where, _: self.begun.append((where, said.text or said.key)),
        )

    def run(self, seconds: float) -> None:
        run(self.output, seconds)

    def say(self, seconds: float, *turn: Said) -> None:
        """Say it, and let so much time pass."""
        self.output.say(turn)
        self.run(seconds)

    def texts(self) -> list[str]:
        return [text for _, text in self.begun]


def prompt(text: str, to: str = "tech", key: str = "prompt:a", **more: str) -> Said:
    return Said(to, text, key, **more)


HOLD = prompt("HOLD: pedal down. Say holding.", "helper", "prompt:ring_hold", cue="HOLD")
STOP = Said("tech", "STOP. Everything out. Pedal up. Ring not moved.", "r", "DANGER", "STOP")
STOP_HELPER = Said("helper", "STOP. Foot off the pedal.", "reply:h", "DANGER", "STOP")


@rows_of("figures_spoken.txt", "figures", "words")("spoken")
def test_figures_in_peoples_own_words(figures: str, words: str) -> None:
    assert spoken(figures) == words


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (trade.spelled("3F2A-91BC", ", "), "Three, F, two, A; nine, one, B, C"),
        (trade.spelled("4711"), "Four seven one one"),
        (trade.thread("1/2-20"), "One half, twenty"),
        (trade.thread("M12x1.75"), "M twelve by one point seven five"),
        (trade.moved(3), "Three lugs tighter"),
        (limit_text(Limits(8.0, 9.0), "inch"), "Eight to nine inches"),
        (
            limit_text(Limits(0.72, 0.78), "inch"),
            "Point seven two zero to point seven eight zero inch",
        ),
        (limit_text(Limits(0.5, None), "inch"), "At least one half"),
        (limit_text(Limits(None, 1.0), "mm"), "At most twenty-five point four millimetres"),
        (
            Said("tech", "9/16 in. Check?", "r", spoken="Nine sixteenths. Check?"),
            "Nine sixteenths. Check?",
        ),
    ],
)
def test_what_is_said_knows_its_words(said: Said | str, words: str) -> None:
    assert spoken(said) == words


UNSPEAKABLE = re.compile(
    r"\d|[/%_=~*()\[\]<>{}&\"]|\b(slash|dash|hyphen|mm|thou\.)\b|[.,;:?!]{2}| -"
)
# "in" right after a number word would be an inch sign read as a preposition. What may stand there:
# "5 lugs tighter in all" has a word between.
NUMBERS = [speak.number_words(n) for n in (*range(20), *range(20, 100, 10))]
NUMBER_WORD = "|".join([*NUMBERS, "half", r"(?:quarter|eighth|sixteenth|second|fourth)s?"])
INCH_SIGN = re.compile(rf"\b({NUMBER_WORD}) in\b(?! all)", re.IGNORECASE)


def assert_speakable(text: Said | str) -> None:
    words = spoken(text)
    assert words, text
    assert not UNSPEAKABLE.search(words), (text, words)
    assert not INCH_SIGN.search(words), (text, words)
    assert not re.search(r"\b[A-Z]{2,}\b", words), (text, words)
    assert split_sentences(words)


FIGURES = ("just under 9/16 in", "1-5/8 in", "5 lugs tighter", "T-104", "14.5 mm (invented)")


def test_every_text_of_the_dialogs_is_speakable(dialogs: Dialogs) -> None:
    texts = [c.text for c in dialogs.cautions.values()]
    for step in dialogs.steps:
        texts += [t for t in (step.say, step.why, step.helper) if t]
    texts += [both.spoken for both in dialogs.texts.values()]
    assert len(texts) > 200
    for text in texts:
        for figures in FIGURES:
            assert_speakable(text.format_map(defaultdict(lambda f=figures: f)))


@pytest.mark.parametrize("name", ["first_job", "metric_job", "hard_day"])
def test_everything_said_in_a_job_is_speakable(name: str, tmp_path: Path) -> None:
    texts: dict[str, Said] = {}
    for session, _, _, said in played(name, tmp_path):
        if not session.job.finished:
            said = said + session.hear("tech", "why") + session.hear("tech", "where are we")
        texts |= {one.text: one for one in said}
    assert len(texts) > 100
    for one in texts.values():
        assert_speakable(one)


@given(st.integers(1, 1500), st.integers(20, 1000), st.integers(100, 2000))
def test_a_length_heard_back_is_the_same(sixtyfourths: int, thousandths: int, tenths: int) -> None:
    def heard(value_in: float, form: tuple[str, int], quantity: str) -> Reading:
        return read(spoken(speak.length_figures(value_in, form)), quantity)

    got = heard(
        sixtyfourths / 64, ("f", 64), "free-travel" if sixtyfourths <= 320 else "pedal-height"
    )
    # What is not plausible for the quantity is asked about.
    asked = sixtyfourths > 64 * 20 or sixtyfourths < 64 * 2
    assert got.status == "read" or asked
    assert got.status != "read" or got.value_in == pytest.approx(sixtyfourths / 64)
    got = heard(thousandths / 1000, ("d", 3), "gap")
    assert got.status == "read" and got.value_in == pytest.approx(thousandths / 1000)
    got = heard(tenths / 254, ("m", 1), "total-travel" if tenths >= 500 else "free-travel")
    assert got.status == "read" and got.value_in == pytest.approx(tenths / 254)


@given(st.text(alphabet="0123456789/-.,:% inmAx()TM\nlugs", max_size=40))
def test_nothing_that_is_written_stops_the_voice(text: str) -> None:
    for part in split_sentences(spoken(text)):
        assert not re.search(r"\d", part)


def test_a_turn_keeps_its_order() -> None:
    heard = Heard()
    turn = [
        Said("tech", "Gap is right.", "reply:gap_right"),
        Said("both", "A tool slips.", "caution:x", "WARNING"),
        prompt("Gap now?"),
    ]
    heard.say(5, *turn)
    assert heard.texts() == [s.text for s in turn]
    assert ("Warning.", "tech") in heard.speech.asked
    assert not heard.output.speaking()


def test_a_prompt_goes_before_waiting_talk() -> None:
    heard = Heard()
    heard.say(0.1, *(Said("tech", f"Fact {n} of many.", "reply:facts") for n in "abc"))
    heard.say(5, prompt("Gap now?"))
    assert heard.texts()[:2] == ["Fact a of many.", "Gap now?"]
    assert len(heard.texts()) == 4


def test_a_stop_clears_the_queue_and_is_first() -> None:
    heard = Heard()
    heard.output.say([prompt("One two three four five six seven eight nine ten.")])
    heard.say(0.5, Said("tech", "Never said.", "reply:where"))
    before = heard.tech.now
    heard.say(12, STOP, STOP_HELPER, Said("tech", "Say carry on.", "reply:stopped_next"))
    assert heard.texts()[1:] == [STOP.text, STOP_HELPER.text, STOP.text, "Say carry on."]
    # Both hear their stop before the technician hears the rest of his.
    asked = [pair for pair in dict.fromkeys(heard.speech.asked) if pair[0] != "Never said."]
    assert asked[1:6] == [
        ("Stop.", "tech"),
        ("Everything out.", "tech"),
        ("Stop.", "helper"),
        ("Foot off the pedal.", "helper"),
        ("Pedal up.", "tech"),
    ]
    # The first thing heard is the danger signal, at once.
    sound = heard.tech.heard()[int(before * RATE) :]
    assert np.flatnonzero(np.abs(sound) > 0.3)[0] < 0.06 * RATE


def test_a_cue_interrupts_and_what_it_broke_off_is_said_again() -> None:
    heard = Heard()
    caution = Said("both", "Pedal and fork hold spring force.", "caution:force", "DANGER")
    heard.say(0.4, caution, Said("tech", "Hands clear.", "reply:clear_heard"))
    heard.say(8, HOLD)
    assert heard.texts() == [caution.text, HOLD.text, caution.text, "Hands clear."]
    assert ("Hold: pedal down.", "helper") in heard.speech.asked


def test_a_newer_instruction_replaces_an_older_one() -> None:
    heard = Heard()
    heard.say(0.05, Said("tech", "Odometer.", "reply:facts"), prompt("Old one?"))
    heard.say(5, prompt("New one?", key="prompt:b"))
    assert heard.texts() == ["Odometer.", "New one?"]


def test_what_leads_to_a_cue_is_said_before_it() -> None:
    heard = Heard()
    caution = Said("both", "Fingers.", "caution:force", "DANGER")
    heard.say(6, Said("tech", "Hands clear.", "reply:clear_heard"), caution, HOLD)
    assert heard.texts() == ["Hands clear.", "Fingers.", HOLD.text]


def test_two_outputs_each_hear_their_own() -> None:
    heard = Heard(two=True)
    both = Said("both", "Pedal up.", "reply:release_ok")
    heard.say(6, Said("tech", "Gap is right.", "reply:g"), HOLD, both)
    assert [t for where, t in heard.begun if where == "tech"] == ["Gap is right.", "Pedal up."]
    assert [t for where, t in heard.begun if where == "helper"] == [HOLD.text, "Pedal up."]
    assert {v for t, v in heard.speech.asked if t == "Pedal up."} == {"tech", "helper"}


def test_one_output_says_once_what_is_for_both() -> None:
    heard = Heard()
    heard.say(2, Said("both", "Pedal up.", "reply:release_ok"))
    assert heard.begun == [("tech", "Pedal up.")]


def test_an_earcon_can_be_played_alone() -> None:
    heard = Heard()
    heard.output.signal("heard")
    heard.run(0.5)
    assert heard.texts() == ["earcon:heard"]
    assert heard.tech.heard().any()


def test_hush_is_silent_within_its_fade_and_tells_what_was_lost() -> None:
    heard = Heard()
    first, second = prompt("One two three four five six seven."), Said("tech", "More.", "reply:m")
    heard.say(0.32, first, second)
    assert heard.output.speaking()
    at = len(heard.tech.heard())
    assert heard.output.hush() == [first, second]
    heard.run(2)
    after = heard.tech.heard()[at:]
    assert not after[80:].any(), "5 ms of fade, then nothing"
    assert np.abs(np.diff(heard.tech.heard()[at - 10 : at + 100])).max() < 0.02, "no click"
    assert not heard.output.speaking()
    assert heard.texts() == [first.text]


def test_a_barge_in_does_not_cut_a_stop() -> None:
    heard = Heard()
    heard.say(0.4, STOP, prompt("Gap?"))
    assert [s.text for s in heard.output.hush()] == [STOP.text, "Gap?"]  # the rest of it, and more
    heard.run(0.2)
    assert heard.output.speaking()
    assert heard.output.hush(stop_too=True) == [STOP]
    heard.run(0.1)
    assert not heard.output.speaking()


def test_hush_of_one_leaves_the_other() -> None:
    heard = Heard(two=True)
    heard.say(0.3, prompt("One two three four five six seven."), HOLD)
    heard.output.hush("tech")
    heard.run(0.1)
    assert not heard.output.speaking("tech") and heard.output.speaking("helper")


def test_reference_is_what_was_played_when() -> None:
    playing = PlaybackBuffer(lambda: 2.0)
    ramp = np.linspace(0.1, 0.9, 1600, dtype=np.float32)
    playing.play(ramp)
    for i in range(100):
        # The output's times jitter by some milliseconds; the sound does not.
        playing.fill(160, 1.0 + i * 0.01 + (0.003 if i % 2 else 0.0))
    got = playing.reference(1.5)
    assert len(got) == 24000
    assert not got[:8000].any()
    np.testing.assert_array_equal(got[8000:9600], ramp)
    assert not got[9600:].any()
    np.testing.assert_array_equal(playing.reference(0.05, until=1.05), ramp[:800])


def test_it_is_hushed_from_another_thread() -> None:
    silent = Silent()
    done = threading.Event()

    def sound_card() -> None:
        while not done.is_set():
            silent.run(256)
            time.sleep(0.004)

    card = threading.Thread(target=sound_card)
    card.start()
    firsts: list[str] = []
    output = SpeechOutput(Toneless(), silent, on_first=lambda s, *_: firsts.append(s.text))  # type: ignore[arg-type]
    output.start()
    try:
        output.say([prompt("word " * 400)])
        end = time.monotonic() + 5
        while not firsts and time.monotonic() < end:
            time.sleep(0.005)
        output.hush()
        count = len(silent.heard())
        output.say([prompt("Short.")])
        assert output.wait(5)
        sound = silent.heard()[count + 2 * 256 :]
        assert 0 < np.count_nonzero(sound) <= RATE // 10 + 256
        assert firsts[1] == "Short."
    finally:
        output.close()
        done.set()
        card.join()


def test_without_a_loudspeaker_nothing_is_waited_for() -> None:
    synthesizer = Toneless()
    output = SpeechOutput(synthesizer, NoLoudspeaker())  # type: ignore[arg-type]
    output.start()
    try:
        output.say([prompt("Gap?")])
        assert output.wait(5) and not output.speaking() and synthesizer.asked == []
    finally:
        output.close()


def test_speech_is_speech(speech: Synthesizer) -> None:
    sound = speech.samples("Nine sixteenths. Check?")
    assert 1.0 < len(sound) / RATE < 4.0
    assert -30 < level_dbfs(sound) < -10 and np.abs(sound).max() <= 1.0
    assert np.flatnonzero(np.abs(sound) > 0.004)[0] < 0.01 * RATE, "no silence to wait for"
    spectrum = np.abs(np.fft.rfft(sound)) ** 2
    band = np.fft.rfftfreq(len(sound), 1 / RATE)
    assert spectrum[(band > 100) & (band < 4000)].sum() > 0.8 * spectrum.sum()


def pitch_hz(sound: Samples) -> float:
    """Median fundamental of the loud frames, by autocorrelation."""
    found = []
    for start in range(0, len(sound) - 1024, 512):
        frame = sound[start : start + 1024] - sound[start : start + 1024].mean()
        if level_dbfs(frame) < -25:
            continue
        ac = np.correlate(frame, frame, "full")[1023:]
        low, high = RATE // 350, RATE // 70
        lag = low + int(np.argmax(ac[low:high]))
        if ac[lag] > 0.5 * ac[0]:
            found.append(RATE / lag)
    return float(np.median(found))


def test_the_two_voices_are_clearly_apart(speech: Synthesizer) -> None:
    text = "Pedal to the floor, keep it there. Say holding when it is all the way down."
    tech, helper = speech.samples(text), speech.samples(text, "helper")
    assert pitch_hz(helper) > 1.5 * pitch_hz(tech)
    assert len(helper) > 1.03 * len(tech)
    assert abs(level_dbfs(helper) - level_dbfs(tech)) < 3.0


def test_what_was_said_before_comes_from_memory(speech: Synthesizer) -> None:
    first = speech.samples("Say it only once.")
    assert speech.samples("Say it only once.") is first
    assert speech.samples("Say it only once.", "helper") is not first


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP])
def test_a_dead_or_hanging_synthesizer_is_started_again(
    how: signal.Signals, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(synthesizer_module, "PATIENCE_S", 1.0)
    with closing(Synthesizer()) as one:
        one.samples("Alive.")
        before = one._worker
        os.kill(before.pid, how)
        assert len(one.samples("Alive again.")) > RATE // 4
        assert one._worker is not before and before.poll() is not None


def test_the_systems_own_speech_speaks_where_espeak_ng_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(synthesizer_module, "SYNTHESIZERS", ("none", "pyttsx3"))
    with closing(Synthesizer()) as one:
        try:
            sounds = [one.samples(text) for text in ("Nine sixteenths.", "Check?", "Stop now.")]
        except SpeechError as error:
            pytest.skip(str(error))
    assert all(len(sound) > RATE // 4 and level_dbfs(sound) > -30 for sound in sounds)


def test_no_synthesizer_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(synthesizer_module, "SYNTHESIZERS", ("none",))
    troubles: list[str] = []
    with closing(Synthesizer()) as one:
        with pytest.raises(SpeechError, match=r"nothing can be spoken .*lugcall chat") as error:
            one.samples("Hello.")
        assert "\n" not in str(error.value)
        output = SpeechOutput(one, Silent(), on_trouble=troubles.append)
        output.say([prompt("Gap? Now. Please.")])
        run(output, 1.0)
        assert len(troubles) == 1 and not output.speaking()


def test_the_packaged_library_is_the_one_used(speech: Synthesizer) -> None:
    speech.samples("Hello.")
    maps = Path(f"/proc/{speech._worker.pid}/maps")
    if not maps.exists():
        pytest.skip("no /proc here")
    libraries = {line.split()[-1] for line in maps.read_text().splitlines() if "espeak-ng" in line}
    assert libraries and all("espeakng_loader" in path for path in libraries), libraries
