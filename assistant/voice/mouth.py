"""The mouth: says replies on one output or two, the most urgent first, and can be hushed."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from assistant.procedure.said import Said

from .audio import RATE, Samples
from .line import Line
from .player import Output, SilentPlayer
from .speech import Speech
from .spoken_text import sentences, spoken
from .utterance import CUE, Utterance, ranked, utterances

_POLL_S = 0.01


def _nothing(*_: object) -> None:
    pass


class Mouth:
    """Says what a turn's `Said` hold. Shared by threads; close it when done.

    With two outputs the technician's and the helper's talk go apart, and what is for both goes to
    both. With one, the helper's is told by another voice, and what is for both is said once.
    """

    def __init__(
        self,
        speech: Speech,
        output: Output,
        helper_output: Output | None = None,
        on_first: Callable[[Said, str, float], None] = _nothing,
        on_trouble: Callable[[str], None] = _nothing,
        live: bool = True,
    ) -> None:
        """Speak on `output`, and for the helper on `helper_output` if there is one.

        Args:
            on_first: told the first sound of each thing said: what, on which output, and when by
                the output's clock.
            on_trouble: told in one line when nothing can be synthesized.
            live: outputs run by themselves; otherwise `advance` lets time pass.
        """
        self.speech = speech
        self._tech = Line(output, speech, on_first, on_trouble)
        self._helper = self._tech
        if helper_output is not None and helper_output is not output:
            self._helper = Line(helper_output, speech, on_first, on_trouble)
        self._lines = list(dict.fromkeys((self._tech, self._helper)))
        self._order = 0
        self._say_lock = threading.Lock()
        self._closed = threading.Event()
        self._threads: list[threading.Thread] = []
        if live:
            for line in self._lines:
                thread = threading.Thread(target=line.run, args=(self._closed,), daemon=True)
                thread.start()
                self._threads.append(thread)

    @property
    def shared(self) -> bool:
        """Whether the two people hear one output."""
        return len(self._lines) == 1

    def say(self, said: Sequence[Said]) -> None:
        """Queue a turn's replies. A stop among them clears what was queued, on every output; a cue
        to the helper does on his own."""
        if not said:
            return
        with self._say_lock:
            new: dict[Line, list[Utterance]] = {line: [] for line in self._lines}
            for rank, one in ranked(said):
                self._order += 1
                for line in self._lines_for(one.to):
                    helpers = one.to == "helper" or (not self.shared and line is self._helper)
                    voice = "helper" if helpers else "tech"
                    new[line] += utterances(rank, self._order, one, voice)
            for one in said:
                if one.cue == "STOP":
                    for line in self._lines:
                        line.hush(stop_too=False)
                elif one.cue and not self.shared:
                    # Nothing older may follow on it: "Pedal up" after a HOLD would mislead.
                    self._helper.hush(stop_too=False)
            for line, some in new.items():
                if some:
                    line.add(some)

    def warm(self, texts: Iterable[str], to: str = "both") -> None:
        """Think `texts` over (as they stand in a `Said`), so that they come at once when said."""
        voices = {"tech": ["tech"], "helper": ["helper"]}.get(to, ["tech", "helper"])
        for text in texts:
            for voice in voices:
                self.speech.warm(sentences(spoken(text)), voice)

    def signal(self, name: str, to: str = "tech") -> None:
        """Play an earcon, next of all but a stop."""
        with self._say_lock:
            self._order += 1
            for line in self._lines_for(to):
                what = Said(to, "", f"earcon:{name}")
                line.add([Utterance(CUE, self._order, what, "tech", name, [])])

    def hush(self, to: str = "both", stop_too: bool = False) -> list[Said]:
        """Be silent at once, on the outputs of `to`.

        A stop goes on being said unless `stop_too`: whoever speaks over it needs it the more.

        Returns:
            what was broken off or not said at all; say it again if it was no person who spoke.
        """
        with self._say_lock:
            lost = [said for line in self._lines_for(to) for said in line.hush(stop_too)]
        return [said for said in dict.fromkeys(lost) if said.text]

    def speaking(self, to: str = "both") -> bool:
        """Whether something is heard, or about to be, on the outputs of `to`."""
        return any(line.speaking() for line in self._lines_for(to))

    def reference(self, seconds: float, until: float | None = None) -> Samples:
        """What all outputs played in the `seconds` up to `until` by their clock (default: now)."""
        out = np.zeros(round(seconds * RATE), dtype=np.float32)
        for line in self._lines:
            out += line.output.playing.reference(seconds, until)
        return out

    def ambient(self, dbfs: float | None) -> None:
        """How loud the shop is at the microphone; signals stand out of it."""
        for line in self._lines:
            line.ambient_dbfs = dbfs

    def advance(self, seconds: float) -> None:
        """Not live: let time pass on silent outputs, synthesizing what falls due."""
        for line in self._lines:
            while line.turn():
                pass
            if isinstance(line.output, SilentPlayer):
                line.output.run(round(seconds * RATE))

    def wait(self, timeout_s: float = 60.0) -> bool:
        """Live: wait until all is said; whether it was in time."""
        end = time.monotonic() + timeout_s
        while any(line.busy() for line in self._lines):
            if time.monotonic() > end:
                return False
            time.sleep(_POLL_S)
        return True

    def close(self) -> None:
        """Be silent, and let go of the outputs. `speech` is the caller's to close."""
        self._closed.set()
        for line in self._lines:
            line.hush(stop_too=True)
            line.wake.set()
        for thread in self._threads:
            thread.join(timeout=2.0)
        for line in self._lines:
            line.output.close()

    def _lines_for(self, to: str) -> list[Line]:
        return {"tech": [self._tech], "helper": [self._helper]}.get(to, self._lines)
