"""A conversation with microphones and loudspeakers, and how long people wait for its answers."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass
from functools import partial
from queue import SimpleQueue
from statistics import median

from assistant.act import Said
from assistant.dialogue import Conversation
from assistant.voice.devices.audio import FRAME_S, AudioError
from assistant.voice.devices.portaudio import quiet_libraries
from assistant.voice.devices.streams import Microphone, Told
from assistant.voice.output.player import AudioOutput, NoLoudspeaker, Player
from assistant.voice.output.queue import SpeechOutput
from assistant.voice.output.synthesizer import SpeechError, Synthesizer
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.attendant import Attendant, SpokenTurn
from assistant.voice.session.channel import Channel


class Timings:
    """How long people wait for an answer: seconds from the end of their words, by one clock."""

    def __init__(self) -> None:
        self._to_sound: list[float] = []
        self._to_word: list[float] = []
        self._end_s = 0.0
        self._said: frozenset[Said] = frozenset()
        self._sounded = True

    def answered(self, end_s: float, said: Sequence[Said]) -> None:
        """What ended at `end_s` is answered with `said`, which is about to be spoken."""
        self._end_s, self._said, self._sounded = end_s, frozenset(said), False

    def first(self, said: Said, where: str, at_s: float) -> None:
        """`said` begins to be heard somewhere; a signal is a `Said` without words."""
        ours = said in self._said
        if not ours and said.text:
            return  # the end of an older answer, on the other loudspeaker
        if not self._sounded:
            self._sounded = True
            self._to_sound.append(at_s - self._end_s)
        if ours:
            self._said = frozenset()
            self._to_word.append(at_s - self._end_s)

    def line(self) -> str:
        """The figures."""
        if not self._to_sound:
            return "Timings: nothing was answered."
        return (
            f"Timings: {len(self._to_sound)} answers; end of speech to first sound "
            f"{_spread(self._to_sound)}; to first word {_spread(self._to_word)}."
        )


def _spread(waits: Sequence[float]) -> str:
    if not waits:
        return "not known"
    high = sorted(waits)[max(0, -(-95 * len(waits) // 100) - 1)]
    return f"median {median(waits):.2f} s, 95 % within {high:.2f} s, most {max(waits):.2f} s"


_IDLE_S = 0.004
"""Slept when no microphone has a frame."""
_NOT_HEARD = ("reply:say_again", "reply:spell_it", "reply:again")
Show = Callable[[Sequence[Said], str], None]
"""Shows replies, under the line of what was heard, or "" for none."""


@dataclass(frozen=True, slots=True)
class Devices:
    """Which devices to use, by number or name; None for the system's own."""

    mic: str | None = None
    helper_mic: str | None = None
    speaker: str | None = None
    helper_speaker: str | None = None


class Live:
    """Real microphones and loudspeakers, open, and a conversation held with them: `run` returns at
    its end. `show` shows every turn, `tell` is told in one line what goes wrong; `AudioError` if
    there is no such device."""

    conversation: Conversation
    attendant: Attendant

    def __init__(
        self, ears: Recognizers, devices: Devices, show: Show, tell: Callable[[str], None]
    ) -> None:
        quiet_libraries()
        self.timings = Timings()
        self._ears = ears
        self._show = show
        self._news: SimpleQueue[tuple[str, str]] = SimpleQueue()
        self._lost: list[Said] = []
        self._firm = False
        wanted = [("", devices.mic)]
        if devices.helper_mic:
            wanted = [("tech", devices.mic), ("helper", devices.helper_mic)]
        self._channels: list[tuple[Channel, Microphone]] = []
        with ExitStack() as opened:
            self._mics = [(role, self._microphone(role, name, opened)) for role, name in wanted]
            output = self._output(devices.speaker, opened)
            named = devices.helper_speaker
            second = self._output(named, opened) if named else None
            synthesizer = opened.enter_context(closing(Synthesizer()))
            speech = SpeechOutput(synthesizer, output, second, self.timings.first, tell)
            self.speech = opened.enter_context(closing(speech))
            self.speech.start()
            self._executor = ThreadPoolExecutor(1, "ears")
            opened.callback(self._executor.shutdown, wait=True, cancel_futures=True)
            self._opened = opened.pop_all()

    def _microphone(self, role: str, name: str | None, opened: ExitStack) -> Microphone:
        return opened.enter_context(closing(Microphone(name, *self._told("mic", role or "tech"))))

    def _output(self, name: str | None, opened: ExitStack) -> AudioOutput:
        try:
            return opened.enter_context(closing(Player(name, *self._told("speaker"))))
        except AudioError:
            if name is not None:
                raise
            return NoLoudspeaker()  # a shop without a loudspeaker reads the screen

    def close(self) -> None:
        """Let go of the devices."""
        self._opened.close()

    def run(self, conversation: Conversation, opening: Sequence[Said]) -> None:
        """Say the opening, then listen until the job is signed off or interrupted; then close."""
        self.conversation = conversation
        self.attendant = Attendant(
            conversation, self._ears, self._executor, self._answer, self._speech
        )
        self._channels = [(self.attendant.add(role, mic.name), mic) for role, mic in self._mics]
        try:
            self._show(opening, "")
            self.speech.say(opening)
            self.attendant.practise()
            threading.Thread(target=self._practise, daemon=True).start()
            while not conversation.dialogue.finished:
                # One frame of each at a time: a microphone that is away must not hold up the other.
                if not any([self._frame(channel, mic) for channel, mic in self._channels]):
                    time.sleep(_IDLE_S)
                self._report_news()
                self.attendant.pump()
            self.speech.wait(30.0)
        finally:
            self.close()

    def _practise(self) -> None:
        """Think over what must come without a delay: the cues, and a stop."""
        dialogs = self.conversation.dialogue.dialogs
        cues = [step.say for step in dialogs.steps if step.kind in ("hold", "release")]
        cues += [dialogs.say(f"stopped_helper_{how}") for how in ("held", "up", "engine")]
        with suppress(SpeechError):  # whoever wants to speak next tells of it
            self.speech.warm([dialogs.say("stopped", state="")], "tech")
            self.speech.warm([*cues, dialogs.say("hold_standing")], "helper")

    def _frame(self, channel: Channel, mic: Microphone) -> bool:
        frame = mic.get(0.0)
        if frame is None:
            return False
        played = self.speech.reference(FRAME_S, until=frame.at + FRAME_S)
        channel.feed(frame.samples, frame.at, played, self.speech.speaking())
        self.speech.ambient(channel.endpointer.noise_db)
        return True

    def _speech(self, role: str, begins: bool) -> None:
        """Somebody speaks: fall silent. It was no word: go on."""
        if not begins:
            self._go_on()
            return
        where = role or "both"
        if not self.speech.speaking(where):
            self._firm = False
        elif not self._firm:
            self._lost += self.speech.hush(where)

    def _go_on(self) -> None:
        """Say what was cut off by a noise, or by talk for somebody else. What cuts off the second
        try has to be understood first: a radio must not keep an instruction from being heard."""
        if self._lost:
            lost, self._lost = self._lost, []
            self._firm = True
            self.speech.say(lost)

    def _answer(self, turn: SpokenTurn) -> None:
        if not turn.said:
            self._go_on()
            return
        self._show(turn.said, turn.line)
        lost, self._lost = [*self._lost, *self.speech.hush(turn.role)], []
        self._firm = False
        self.timings.answered(turn.speech_end_s, turn.said)
        self.speech.signal("not heard" if turn.said[0].key in _NOT_HEARD else "heard", turn.role)
        self.speech.say([*turn.said, *self._owed(lost, turn)])

    def _owed(self, lost: Sequence[Said], turn: SpokenTurn) -> list[Said]:
        """What was cut off, and must be heard all the same."""
        missed = [one for one in dict.fromkeys(lost) if one not in turn.said]
        if turn.kind == "accept":
            # The job went on; but a cue to the helper, cut off by other talk, may still stand.
            cues = [one for one in missed if one.cue in ("HOLD", "RELEASE")]
            return [one for one in cues if one in self.conversation.dialogue.prompt()]
        if turn.said[0].key == "reply:again":  # which ends with the prompt
            return [one for one in missed if one.cue]
        return [one for one in missed if one.key not in _NOT_HEARD]

    def _told(self, device: str, who: str = "") -> list[Told]:
        """Devices come and go in threads of their own; the record is written from one."""
        return [partial(self._news.put, (f"{device}_{how}", who)) for how in ("lost", "back")]

    def _report_news(self) -> None:
        dialogue = self.conversation.dialogue
        while not self._news.empty():
            key, who = self._news.get()
            said = [*self.conversation.notice("both", key, **({"who": who} if who else {}))]
            if key == "mic_lost":
                for channel, _ in self._channels:
                    if (channel.role or "tech") == who:
                        channel.reset()
                if dialogue.danger().held:  # nobody is heard: the one thing to say
                    text = dialogue.dialogs.say("hold_standing")
                    said.append(Said("helper", text, "reply:hold_standing", cue="HOLD"))
            elif key.endswith("back"):
                said += dialogue.prompt()
            self._show(said, "")
            self.speech.say(said)
