"""A session by voice: who spoke, what it most likely was, and whether that is sure enough."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from assistant.act import Act, Evidence, Said
from assistant.conversation import Session
from assistant.voice.devices.audio import RATE
from assistant.voice.interpretation.context import (
    Refused,
    Repeats,
    contradicted,
    may_go_on,
    waits_for,
)
from assistant.voice.interpretation.decide import KEPT, VALUES, Decision, decide, first_name
from assistant.voice.interpretation.meanings import interpreter, speaker_of
from assistant.voice.interpretation.notes import Dictation, dictated, said_after
from assistant.voice.interpretation.tails import REACTION_S, Tails
from assistant.voice.recognition.expected import expected
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import Hearing
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.channel import Channel, Utterance

PEDAL = frozenset({"holding", "clear", "released", "let_up", "carry_on"})
"""What lets a pedal move must be heard well."""
SURE = 0.8
CONFIRM = 0.7
"""What confirms a value that was read back: a "no" taken for it would put a wrong one in."""
READ_BACK = 0.35
"""A reading that will be read back costs no more when it is wrong than "say again" does."""
STOP = 0.25
STOP_UP = 0.5
STOP_AT_ONCE = 0.9
"""A stop is taken from this probability on: stopping once too often costs a "carry on". With the
pedal up and nobody at the key less hangs on it, and "whoa" is taken for "no" too easily; in a mere
pause it then takes the last probability, else it is heard to its end: "sign off" begins like "hang
on"."""
AFTER = frozenset({"next_due", "sign_off"})
"""Steps with everybody out from under the truck."""
DOUBTFUL, ADDRESSED = 0.3, 0.75
"""Words less likely than the first are not asked about, and unless they were meant for lugcall with
the second probability nothing is said at all: a radio would have it asking all day."""
COMPLETE = 0.85
"""From this probability on an utterance is taken for finished after the short wait."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One utterance dealt with, for whoever shows or measures it.

    Attributes:
        role: "tech" or "helper".
        heard: the words taken, or the likeliest ones that were not.
        decision: what the ears decided.
        kind: what was done in the end: "accept", "choose", "again" or "nothing".
        said: the replies.
        speech_end_s: when the words ended, by the clock of the frames.
        wait_s: from then to the decision that they had ended.
        decode_s: what the engines took.
    """

    role: str
    heard: str
    decision: Decision
    kind: str
    said: tuple[Said, ...]
    speech_end_s: float
    wait_s: float
    decode_s: float


class Attendant:
    """Brings one or two channels and a session together.

    Args:
        session: the job and its record.
        ears: the engines.
        executor: where decoding runs; one worker, since engines are not for two threads.
        answer: told every turn; says and shows its replies.
        on_speech: told when somebody begins to speak (True), and when that was no word (False),
            with the channel's role.
    """

    def __init__(
        self,
        session: Session,
        ears: Recognizers,
        executor: Executor,
        answer: Callable[[Turn], None],
        on_speech: Callable[[str, bool], None] = lambda role, begins: None,
    ) -> None:
        self.session = session
        self.ears = ears
        self.channels: list[Channel] = []
        self._executor = executor
        self._answer = answer
        self._on_speech = on_speech
        self._repeats = Repeats()
        self._refused = Refused()
        self._last = ""
        self._dictation = Dictation()
        self._tails = Tails(ears, executor)
        self._answered_s = float("-inf")

    def add(self, role: str, name: str) -> Channel:
        """Listen to one more microphone: "tech", "helper", or "" for one that both share."""
        channel = Channel(
            role,
            name,
            self.ears,
            self._executor,
            lambda: self.grammar(role),
            lambda begins: self._on_speech(role, begins),
        )
        self.channels.append(channel)
        return channel

    def grammar(self, role: str) -> Grammar:
        """What may be said into a microphone of `role` now."""
        return expected(self.session.job, self.session.dialogs, role, self.session.asked)

    def warm(self) -> None:
        """Make ready for what may be said next, while the reply is spoken."""
        waits = waits_for(self.session.job.expects())
        for channel in self.channels:
            channel.endpointer.set_wait(*waits)
            self._executor.submit(self.ears.expect, self.grammar(channel.role))

    def practise(self) -> None:
        """Listen to a moment of nothing: what engines do once only should not delay an answer."""
        self.warm()
        faint = np.random.default_rng(0).standard_normal(RATE // 2) * 1e-4
        self._executor.submit(self.ears.listen, faint.astype(np.float32))

    def pump(self) -> None:
        """Deal with what has been decoded meanwhile; call it after every frame."""
        for channel in self.channels:
            while channel.ended and channel.ended[0].hearings.done():
                utterance = channel.ended[0]
                if utterance.grammar != self.grammar(channel.role).name:
                    channel.again(utterance)  # the other person's words moved the job meanwhile
                    continue
                decision = self._decided(channel, utterance)
                if not (
                    self._written(channel, utterance, decision)
                    and self._joined(channel, utterance, decision)
                ):
                    break
                channel.ended.popleft()
                self._act(channel, utterance, decision)
            guess = channel.guess
            if guess is not None and guess.hearings.done() and not guess.looked_at:
                guess.looked_at = True
                self._look(channel, guess)

    def _written(self, channel: Channel, utterance: Utterance, decision: Decision) -> bool:
        """Whether nothing is left to take down: free words are heard once more where the engines
        run, and frames go on coming in meanwhile."""
        if utterance.words is None:
            if not self._stops(decision):
                role = self._role(channel, decision)
                said_s = utterance.speech_end_s - utterance.start_s
                heard = [decision.heard, *(h.free for h in _hearings(utterance))]
                job = self.session.job
                utterance.free = self._dictation.wanted(role, decision, heard, said_s, job)
            if not utterance.free:
                return True
            utterance.words = self._executor.submit(self.ears.dictate, utterance.samples)
        return utterance.words.done()

    def _joined(self, channel: Channel, utterance: Utterance, decision: Decision) -> bool:
        """Whether words that may be the rest of the reading before them were heard with it."""
        if utterance.joined is None:
            follows = self._tails.follows(channel.role, utterance.start_s)
            if utterance.words is not None or not follows or self._stops(decision):
                return True
            utterance.joined = self._tails.listen(utterance.samples)
        return utterance.joined.done()

    def _role(self, channel: Channel, decision: Decision) -> str:
        job, dialogs = self.session.job, self.session.dialogs
        return channel.role or speaker_of(decision.heard, job, dialogs)

    def _look(self, channel: Channel, guess: Utterance) -> None:
        """A pause: wait for the rest of the words, or not."""
        decision = self._decided(channel, guess)
        at_once = self._danger() or decision.probability >= STOP_AT_ONCE
        if self._stops(decision) and at_once:
            # A stop is acted on at once: nobody waits to see whether more is said.
            channel.end_now()
            guess.ended_s = channel.now_s
            self._act(channel, guess, decision)
        elif may_go_on(decision, self.session.dialogs):
            # "Eight" may stand alone, but "eight and a half" begins with it as well.
            channel.endpointer.patience(False)
        elif decision.kind == "accept" and decision.probability >= COMPLETE:
            channel.endpointer.patience(True)
        elif decision.kind == "again":
            channel.endpointer.patience(False)

    def _decided(self, channel: Channel, utterance: Utterance) -> Decision:
        job, dialogs = self.session.job, self.session.dialogs
        meant = interpreter(
            job, dialogs, channel.role, self.grammar(channel.role), self.session.asked
        )
        meant = self._refused.weighed(meant)
        hearings = _hearings(utterance)
        # An engine that chokes on one utterance must not end the job.
        return decide(hearings, meant) if hearings else Decision("again", (), 0.0, 1.0, "")

    def _stops(self, decision: Decision) -> bool:
        if self.session.job.state == "halted":
            return False
        bar = STOP if self._danger() else STOP_UP
        return first_name(decision) == "stop" and decision.probability >= bar

    def _danger(self) -> bool:
        """Whether somebody may be hurt: the pedal is not up, or the key is at hand with work on."""
        job = self.session.job
        return job.facts.hold != "up" or (job.key_above() and job.state not in AFTER)

    def _act(self, channel: Channel, utterance: Utterance, decision: Decision) -> None:
        session = self.session
        if session.job.signed_off:
            return
        role = self._role(channel, decision)
        alone = decision
        decision = self._repeats.joined(self._moment(), alone)
        meaning = first_name(decision)
        kind = self._kind(utterance, decision, meaning)
        note = dictated(_hearings(utterance))
        if utterance.words is not None and utterance.words.exception() is None:
            words = said_after(utterance.free, utterance.words.result())
            if words != utterance.free:
                kind, meaning = "accept", utterance.free
                decision = replace(decision, heard=words)
        elif note and kind != "nothing" and (kind != "accept" or meaning == "note"):
            decision, kind, meaning = replace(decision, heard=note), "accept", "note"
        decode_s = sum(h.seconds for h in _hearings(utterance))
        whole = self._whole(utterance)
        if whole:
            kind, meaning = "accept", "reading"
            decision = replace(decision, heard=whole)
        elif whole == "" and not (kind == "accept" and meaning == "reading"):
            kind, meaning = "nothing", ""
        if kind == "accept" and self._kept() and (whole or self._goes_on(utterance, meaning)):
            meaning = "correct"
            decision = replace(decision, heard=f"correction {decision.heard}")
        ear = _ear(channel, decision, kind, decode_s)
        # A code is read back always: nothing can be put right once it closes the record.
        unsure = bool(whole) or decision.probability < KEPT
        if meaning == "sign_off" or (meaning == "reading" and unsure):
            ear["doubt"] = True
        if kind == "accept":
            unasked = meaning not in (*session.job.allowed(), *VALUES, "stop", "repeat")
            quantity, metric = session.job.expects(), session.job.facts.card.units == "mm"
            meant = session.understood(decision.heard, role)
            evidence = Evidence(decision.heard, ear, utterance.samples)
            if isinstance(meant, Act) and ear.get("doubt"):
                meant = replace(meant, doubt=True)
            said = session.take(replace(meant, evidence=evidence))
            self._tails.took(
                channel.role, quantity if meaning == "reading" else "", metric,
                decision.heard, utterance.samples, utterance.speech_end_s, channel.now_s,
            )  # fmt: skip
            self._answered_s, self._last = channel.now_s, meaning
            self._dictation.answered(role, said)
            first = decision.ranked[0].meaning if decision.ranked else None
            waits = session.job.pending is not None
            self._refused.took(session.job.state, waits, first, unasked)
        else:
            among = [(c.words, session.understood(c.words, role)) for c in decision.ranked[:4]]
            said = session.unheard(role, ear, utterance.samples, among)
            self._repeats.missed(alone)
        wait_s = utterance.ended_s - utterance.speech_end_s
        self.warm()
        end_s = utterance.speech_end_s
        heard = decision.heard
        self._answer(Turn(role, heard, decision, kind, tuple(said), end_s, wait_s, decode_s))

    def _whole(self, utterance: Utterance) -> str | None:
        """What was said if it was the rest of a reading: `Tails.whole`; None for all else."""
        if utterance.joined is None or utterance.joined.exception() is not None:
            return None
        return self._tails.whole(utterance.joined.result())

    def _kept(self) -> bool:
        """Whether the last reading was kept, not read back: more of it corrects it."""
        job = self.session.job
        return job.pending is None and self._last == "reading" and bool(job.last_quantity())

    def _goes_on(self, utterance: Utterance, meaning: str) -> bool:
        """Whether a reading began too soon to be anything but the rest of what was said last."""
        return utterance.start_s < self._answered_s + REACTION_S and meaning == "reading"

    def _moment(self) -> tuple[str, str]:
        pending = self.session.job.pending
        return self.session.job.state, "" if pending is None else pending.figures

    def _kind(self, utterance: Utterance, decision: Decision, meaning: str) -> str:
        """What is done about an utterance; more is asked of some than that it was heard well."""
        if self._stops(decision):
            return "accept"
        kind = decision.kind
        if kind in ("again", "choose") and decision.probability < DOUBTFUL:
            return "nothing" if decision.addressed < ADDRESSED else "again"
        # Words that began before the last answer came do not answer it: an impatient second "done"
        # must not pass for the next step's, nor a "check" for a read-back nobody has heard.
        if kind == "accept" and utterance.start_s < self._answered_s:
            if meaning == self._last:
                return "nothing"
            if meaning in PEDAL or meaning in ("check", "done"):
                return "again"
        sure = decision.probability
        job = self.session.job
        if meaning == "reading" and job.pending is None and job.expects():
            return "accept" if kind == "again" and sure >= READ_BACK else kind
        confirms = self.session.job.pending is not None and meaning in ("check", "done")
        bar = SURE if meaning in PEDAL else CONFIRM if confirms else 0.0
        unsure = sure < bar or contradicted(meaning, decision)
        return "again" if kind == "accept" and unsure else kind


def _hearings(utterance: Utterance) -> list[Hearing]:
    """What the engines made of it; nothing if one failed."""
    return [] if utterance.hearings.exception() is not None else utterance.hearings.result()


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
