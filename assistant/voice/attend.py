"""A session by voice: who spoke, what it most likely was, and whether that is sure enough."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

from assistant.conversation import Session
from assistant.conversation.meaning import Question, understand
from assistant.procedure.said import Said

from .channel import Channel, Utterance
from .decide import Decision, decide
from .ears import Ears
from .expected import expected
from .grammar import Grammar
from .meanings import interpreter, speaker_of

PEDAL = frozenset({"holding", "clear", "released", "let_up", "carry_on", "sign_off"})
"""What lets a pedal move, or ends the job, must be heard well."""
SURE = 0.8
STOP = 0.25
"""A stop is taken from this probability on: stopping once too often costs a "carry on"."""
COMPLETE = 0.85
"""From this probability on an utterance is taken for finished after the short wait."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One utterance dealt with, for whoever shows or measures it.

    Attributes:
        role: "tech" or "helper".
        heard: the words taken, or the likeliest ones that were not.
        decision: what was decided.
        said: the replies.
        wait_s: from the end of speech to the decision that it had ended.
        decode_s: what the engines took.
    """

    role: str
    heard: str
    decision: Decision
    said: tuple[Said, ...]
    wait_s: float
    decode_s: float


class Attendant:
    """Brings one or two channels and a session together.

    Args:
        session: the job and its record.
        ears: the engines.
        executor: where decoding runs; one worker, since engines are not for two threads.
        answer: told every turn; says and shows its replies.
        on_speech: told when somebody begins to speak, with the channel's role.
    """

    def __init__(
        self,
        session: Session,
        ears: Ears,
        executor: Executor,
        answer: Callable[[Turn], None],
        on_speech: Callable[[str], None] = lambda role: None,
    ) -> None:
        self.session = session
        self.ears = ears
        self.channels: list[Channel] = []
        self._executor = executor
        self._answer = answer
        self._on_speech = on_speech

    def add(self, role: str, name: str) -> Channel:
        """Listen to one more microphone: "tech", "helper", or "" for one that both share."""
        channel = Channel(
            role,
            name,
            self.ears,
            self._executor,
            lambda: self.grammar(role),
            lambda: self._on_speech(role),
        )
        self.channels.append(channel)
        return channel

    def grammar(self, role: str) -> Grammar:
        """What may be said into a microphone of `role` now."""
        return expected(self.session.job, self.session.dialogs, role, self.session.asked)

    def warm(self) -> None:
        """Make ready for what may be said next, while the reply is spoken."""
        for channel in self.channels:
            self._executor.submit(self.ears.expect, self.grammar(channel.role))

    def pump(self) -> None:
        """Deal with what has been decoded meanwhile; call it after every frame."""
        for channel in self.channels:
            utterance = channel.utterance
            if utterance is None or not utterance.hearings.done():
                continue
            if utterance.ended_s is None and utterance.looked_at:
                continue
            decision = self._decided(channel, utterance)
            if utterance.ended_s is not None:
                channel.utterance = None
                self._act(channel, utterance, decision)
                continue
            utterance.looked_at = True
            if self._stops(channel, decision):
                # A stop is acted on at once: nobody waits to see whether more is said.
                utterance.ended_s = utterance.begun_s
                self._act(channel, utterance, decision)
            elif decision.kind == "accept" and decision.probability >= COMPLETE:
                channel.listener.turns.patience(True)
            elif decision.kind == "again":
                channel.listener.turns.patience(False)

    def _decided(self, channel: Channel, utterance: Utterance) -> Decision:
        job, dialogs = self.session.job, self.session.dialogs
        meant = interpreter(
            job, dialogs, channel.role, self.grammar(channel.role), self.session.asked
        )
        return decide(utterance.hearings.result(), meant)

    def _stops(self, channel: Channel, decision: Decision) -> bool:
        if not decision.ranked or self.session.job.state == "halted":
            return False
        first = decision.ranked[0]
        return self._meaning(channel, first.words) == "stop" and decision.probability >= STOP

    def _meaning(self, channel: Channel, words: str) -> str:
        job, dialogs = self.session.job, self.session.dialogs
        who = channel.role or speaker_of(words, job, dialogs)
        act = understand(words, who, job, dialogs, self.session.asked)
        return "" if isinstance(act, Question) else act.meaning

    def _act(self, channel: Channel, utterance: Utterance, decision: Decision) -> None:
        session = self.session
        if session.job.signed_off:
            return
        role = channel.role or speaker_of(decision.heard, session.job, session.dialogs)
        kind = decision.kind
        meaning = self._meaning(channel, decision.heard) if decision.ranked else ""
        if self._stops(channel, decision):
            kind = "accept"
        elif kind == "accept" and meaning in PEDAL and decision.probability < SURE:
            kind = "again"
        decode_s = sum(h.seconds for h in utterance.hearings.result())
        ear = _ear(channel, decision, kind, decode_s)
        if kind == "accept":
            said = session.hear(role, decision.heard, ear, utterance.samples)
        else:
            said = session.unheard(role, ear, utterance.samples)
        ended = utterance.ended_s if utterance.ended_s is not None else utterance.begun_s
        wait_s = ended - utterance.speech_end_s
        self.warm()
        self._answer(Turn(role, decision.heard, decision, tuple(said), wait_s, decode_s))


def _ear(channel: Channel, decision: Decision, kind: str, decode_s: float) -> dict[str, Any]:
    """How an utterance was recognized, as the record keeps it."""
    return {
        "mic": channel.name,
        "shared": not channel.role,
        "decision": kind,
        "probability": round(decision.probability, 3),
        "alternatives": [
            {"words": c.words, "probability": round(c.probability, 3), "engines": list(c.engines)}
            for c in decision.ranked[:4]
        ],
        "seconds": round(decode_s, 3),
    }
