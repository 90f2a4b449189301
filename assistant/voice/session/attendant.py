"""A conversation by voice: who spoke, what it most likely was, and whether that is sure enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from assistant.act import Act, Evidence, Said
from assistant.conversation.understand import correction
from assistant.dialogue import Conversation
from assistant.texts.core import CONFIRMS
from assistant.texts.normal import normal
from assistant.voice.devices.audio import FAINT, RATE, Samples
from assistant.voice.interpretation import (
    POLICY,
    VALUES,
    Candidate,
    Decision,
    Meaning,
    items_of,
    name_of,
)
from assistant.voice.interpretation.context import (
    Denials,
    Dictation,
    Retries,
    TakenReading,
    contradicted,
    free_act,
    may_go_on,
    noted,
    said_in_breath,
    surely_said,
    waits_for,
)
from assistant.voice.interpretation.ranking import decide, interpreter, speaker_of
from assistant.voice.recognition.expected import expected, reading_grammar
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import Hearing
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.channel import Channel, Utterance

ACCEPT, REST = POLICY["accept"], POLICY["rest"]
RECORDED = 4
"""Meanings of an utterance that the record keeps, and that may be asked about."""
_CONFIRMATIONS = ("check", "done")
_STOPPING = ("stop", "lost", "danger")
"""What stops a job where somebody may be hurt."""


@dataclass(frozen=True, slots=True)
class SpokenTurn:
    """One utterance dealt with, for whoever shows or measures it.

    Attributes:
        role: "tech" or "helper".
        heard: the words taken, or the likeliest ones that were not.
        kind: what was done in the end, whatever was decided: as in `Decision`.
        speech_end_s: when the words ended, by the clock of the frames.
        wait_s: from then to the decision that they had ended.
        decode_s: what the recognizers took.
    """

    role: str
    heard: str
    decision: Decision
    kind: str
    said: tuple[Said, ...]
    speech_end_s: float
    wait_s: float
    decode_s: float

    @property
    def line(self) -> str:
        """What was heard, to be shown above the replies."""
        return f"{self.role}: {self.heard}  [{self.kind} {self.decision.probability:.2f}]"


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What is done about an utterance: `kind` as in `SpokenTurn`, what is meant, in which words."""

    kind: str
    meaning: Meaning | None
    words: str
    doubt: bool = False


class Attendant:
    """Brings one or two channels and a conversation together.

    Args:
        executor: where decoding runs; one worker, since recognizers are not for two threads.
        answer: told every turn; says and shows its replies.
        on_speech: told when somebody begins to speak (True), and when that was no word (False),
            with the channel's role.
    """

    def __init__(
        self,
        conversation: Conversation,
        ears: Recognizers,
        executor: Executor,
        answer: Callable[[SpokenTurn], None],
        on_speech: Callable[[str, bool], None] = lambda role, begins: None,
    ) -> None:
        self.conversation, self.dialogue = conversation, conversation.dialogue
        self.ears = ears
        self.channels: list[Channel] = []
        self._executor = executor
        self._answer, self._on_speech = answer, on_speech
        self._retries, self._denials, self._dictation = Retries(), Denials(), Dictation()
        self._reading: TakenReading | None = None
        """The last utterance, if it was a reading."""
        self._last = ""
        self._answered_s = float("-inf")
        self._turns = 0

    def add(self, role: str, name: str) -> Channel:
        """Listen to one more microphone: "tech", "helper", or "" for one that both share."""

        def hear(samples: Samples) -> tuple[str, Future[list[Hearing]]]:
            grammar = self.grammar(role)
            return grammar.name, self._hear(samples, grammar)

        self.channels.append(Channel(role, name, hear, self._on_speech))
        return self.channels[-1]

    def _hear(self, samples: Samples, grammar: Grammar) -> Future[list[Hearing]]:
        def work() -> list[Hearing]:
            self.ears.expect(grammar)
            return self.ears.listen(samples)

        return self._executor.submit(work)

    def grammar(self, role: str) -> Grammar:
        """What may be said into a microphone of `role` now."""
        return expected(self.dialogue, role, self.conversation.asked)

    def warm(self) -> None:
        """Make ready for what may be said next, while the reply is spoken."""
        danger = self.dialogue.danger()
        for channel in self.channels:
            channel.endpointer.waits = waits_for(self.dialogue)
            channel.endpointer.alert = danger.pedal or danger.engine
            self._executor.submit(self.ears.expect, self.grammar(channel.role))

    def practise(self) -> None:
        """Listen to a moment of nothing: what they do once only should not delay an answer."""
        self.warm()
        self._executor.submit(self.ears.listen, FAINT[: RATE // 2])

    def pump(self) -> None:
        """Deal with what has been decoded meanwhile; call it after every frame."""
        for channel in self.channels:
            while channel.ended and channel.ended[0].hearings.done():
                utterance = channel.ended[0]
                if utterance.grammar != self.grammar(channel.role).name:
                    # The other person's words moved the job meanwhile.
                    utterance.grammar, utterance.hearings = channel.hear(utterance.samples)
                    continue
                decision = self._decided(channel, utterance)
                if not self._heard_again(channel, utterance, decision):
                    break
                channel.ended.popleft()
                self._act(channel, utterance, decision)
            guess = channel.guess
            if guess is not None and guess.hearings.done() and not guess.looked_at:
                guess.looked_at = True
                self._look(channel, guess)

    def _decided(self, channel: Channel, utterance: Utterance) -> Decision:
        """Decided once for a moment of the dialogue: a guess that was right stays decided."""
        grammar = self.grammar(channel.role)
        moment = (self._turns, self._standing(), grammar.name)
        if utterance.decision is None or utterance.moment != moment:
            understood, earlier = self.conversation.understood, self._denials.prior
            meant = interpreter(self.dialogue, understood, channel.role, grammar, earlier)
            heard = utterance.heard()
            # A recognizer that chokes on one utterance must not end the job.
            unheard = Decision("again", (), 0.0, 1.0, "")
            utterance.moment = moment
            utterance.decision = decide(heard, meant) if heard else unheard
        return utterance.decision

    def _heard_again(self, channel: Channel, utterance: Utterance, decision: Decision) -> bool:
        """Whether no second listening is needed, or it is done; frames come in meanwhile."""
        if utterance.again is None and not self._stops(decision):
            said_s = utterance.speech_end_s - utterance.start_s
            heard = [decision.heard, *(h.free for h in utterance.heard())]
            role, last = self._role(channel, decision), self._reading
            free = self._dictation.wanted(role, decision, heard, said_s, self.dialogue)
            if free:
                utterance.again_for = free
                utterance.again = self._executor.submit(self.ears.dictate, utterance.samples)
            elif last and channel.role == last.role and utterance.start_s < last.until_s:
                utterance.again_for = "rest"
                whole = np.concatenate([last.samples, utterance.samples])
                utterance.again = self._hear(whole, reading_grammar(last.quantity, last.metric))
        return utterance.again is None or utterance.again.done()

    def _role(self, channel: Channel, decision: Decision) -> str:
        return channel.role or speaker_of(decision.heard, self.dialogue)

    def _look(self, channel: Channel, guess: Utterance) -> None:
        """A pause: wait for the rest of the words, or not."""
        decision = self._decided(channel, guess)
        if self._stops(decision, in_pause=True):
            # A stop is acted on at once: nobody waits to see whether more is said.
            channel.end_now()
            guess.ended_s = channel.now_s
            self._act(channel, guess, decision)
        elif may_go_on(decision, self.dialogue) or decision.kind == "again":
            # "Eight" may stand alone, but "eight and a half" begins with it as well.
            channel.endpointer.patience(False)
        elif decision.kind == "accept" and decision.probability >= POLICY["wait"]["short_from"]:
            channel.endpointer.patience(True)

    def _stops(self, decision: Decision, in_pause: bool = False) -> Candidate | None:
        """What stops the job, if that may have been said: where somebody may be hurt all wordings
        that would stop it count together, however many others are likelier."""
        danger = self.dialogue.danger()
        if self.dialogue.stopped:
            return None
        if danger.pedal or danger.engine:
            alarms = _alarms(decision)
            sure = sum(c.probability for c in alarms) >= ACCEPT["stop_in_danger"]
            return alarms[0] if sure else None
        sure = decision.probability >= ACCEPT["stop_in_pause" if in_pause else "stop"]
        return decision.ranked[0] if sure and decision.name == "stop" else None

    def _standing(self) -> tuple[str, str]:
        pending = self.dialogue.pending
        return self.dialogue.at, "" if pending is None else pending.figures

    def _act(self, channel: Channel, utterance: Utterance, alone: Decision) -> None:
        if self.dialogue.finished:
            return
        role = self._role(channel, alone)
        decision = self._retries.joined(self._standing(), alone)
        outcome = self._outcome(utterance, decision, role)
        decode_s = sum(hearing.seconds for hearing in utterance.heard())
        ear = _ear(channel, decision, outcome, decode_s)
        self._turns += 1
        if outcome.meaning is not None:
            evidence = Evidence(outcome.words, ear, utterance.samples)
            meant = replace(outcome.meaning, evidence=evidence)
            if isinstance(meant, Act):
                meant = replace(meant, doubt=outcome.doubt)
            said = self._take(channel, utterance, decision, meant, role)
        else:
            others = [(c.words, c.meaning) for c in decision.ranked[:RECORDED]]
            said = self.conversation.unheard(role, ear, utterance.samples, others)
            self._retries.missed(alone)
        self.warm()
        times = (utterance.speech_end_s, utterance.ended_s - utterance.speech_end_s, decode_s)
        self._answer(SpokenTurn(role, outcome.words, decision, outcome.kind, tuple(said), *times))

    def _take(
        self, channel: Channel, utterance: Utterance, heard: Decision, meant: Meaning, role: str
    ) -> Sequence[Said]:
        """Hand over what is `meant`, and remember it for what is said next."""
        dialogue, name, now_s = self.dialogue, name_of(meant), channel.now_s
        unasked = name not in (*dialogue.allowed(), *VALUES, "stop", "repeat")
        quantity, metric = dialogue.expects(), dialogue.units == "mm"
        said = self.conversation.take(meant)
        self._reading = None
        if name == "reading" and quantity:
            words, samples = meant.evidence.words, utterance.samples
            until_s = min(now_s + REST["reaction_s"], utterance.speech_end_s + REST["breath_s"])
            self._reading = TakenReading(channel.role, quantity, metric, words, samples, until_s)
        self._answered_s, self._last = now_s, name
        self._dictation.answered(role, said)
        self._denials.took(dialogue.at, dialogue.pending is not None, heard.meaning, unasked)
        return said

    def _alarm(self, utterance: Utterance, decision: Decision, role: str) -> _Outcome | None:
        """What free words, inside the grammar or not, do of themselves where somebody may be hurt.

        It does not wait to be sure, nor for words that were meant for us: a lost pedal is said in
        any words, to anybody. Speech in a hold that fits nothing that is awaited blocks the job.
        """
        danger = self.dialogue.danger()
        if self.dialogue.stopped or not (danger.pedal or danger.engine):
            return None
        known = self.dialogue.dialogs.words["danger"].phrases
        for words in dict.fromkeys(h.free for h in utterance.heard() if h.free):
            meant = self.conversation.understood(words, role)
            name = meant.meaning if isinstance(meant, Act) else ""
            if name in _STOPPING and (" " in words or normal(words) in known):
                return _Outcome("accept", meant, words)
        noise = (
            decision.kind == "nothing"
            and utterance.speech_end_s - utterance.start_s < ACCEPT["doubt_s"]
            and decision.meant_for_us < ACCEPT["meant_for_us_in_hold"]
        )
        rival = sum(c.probability for c in _alarms(decision)) >= ACCEPT["alarm_maybe"]
        if not danger.pedal or not (rival or (not noise and not self._fits(decision, role))):
            return None
        words = next((h.free for h in utterance.heard() if h.free), decision.heard)
        return _Outcome("accept", Act("unsure", role), words)

    def _fits(self, decision: Decision, role: str) -> bool:
        """Whether it is surely what is asked for in a hold, from whom it is, or words heard better
        than that: a cry is as short as they are."""
        dialogue = self.dialogue
        asked = VALUES if dialogue.expects() and dialogue.pending is None else dialogue.allowed()
        awaited = role == dialogue.whose() and decision.name in asked
        bar = ACCEPT["fits_in_hold" if awaited else "word_in_hold"]
        return decision.kind == "accept" and decision.probability >= bar

    def _outcome(self, utterance: Utterance, decision: Decision, role: str) -> _Outcome:
        stop = self._stops(decision)
        if stop is not None:
            return _Outcome("accept", stop.meaning, stop.words)
        alarm = self._alarm(utterance, decision, role)
        if alarm is not None:
            return alarm
        kind = self._outcome_kind(utterance, decision)
        meaning = decision.meaning if kind == "accept" else None
        items = items_of(meaning) or said_in_breath(decision.heard, self.dialogue)
        if isinstance(meaning, Act) and items:
            meaning = surely_said(meaning, utterance.heard(), self.dialogue)
            kind = "again" if meaning is None else kind
        words, whole = decision.heard, self._with_the_rest(utterance)
        free = self._free_words(utterance, decision, kind, role)
        if whole:
            meaning, words = self.conversation.understood(whole, role), whole
        elif whole == "" and name_of(meaning) != "reading":
            return _Outcome("nothing", None, words)
        elif free is not None:
            meaning, words = free
        if self._goes_on(utterance, meaning, whole):
            meaning = correction(words, role, self.dialogue) or meaning
        name = name_of(meaning) or decision.name
        # A code is read back always: nothing can be put right once it closes the record.
        unsure = bool(whole) or decision.probability < ACCEPT["kept_unchecked"]
        doubt = name == "sign_off" or (name == "reading" and unsure)
        return _Outcome("accept" if meaning is not None else kind, meaning, words, doubt)

    def _free_words(
        self, utterance: Utterance, decision: Decision, kind: str, role: str
    ) -> tuple[Meaning, str] | None:
        """What free words mean, those asked for or a note in one breath; and the words."""
        again = utterance.heard_again()
        if again is not None and utterance.again_for != "rest":
            written = free_act(utterance.again_for, again, role, self.conversation)
            if written is not None:
                return written, again
        note = noted(utterance.heard())
        if note and kind != "nothing" and (kind != "accept" or decision.name == "note"):
            return self.conversation.understood(note, role), note
        return None

    def _with_the_rest(self, utterance: Utterance) -> str | None:
        """The last reading together with its rest; see `TakenReading.whole`."""
        again = utterance.heard_again()
        if utterance.again_for != "rest" or again is None or self._reading is None:
            return None
        return self._reading.whole(again)

    def _goes_on(self, utterance: Utterance, meaning: Meaning | None, whole: str | None) -> bool:
        """Whether it is more of the last reading, which was kept, not read back: it corrects it."""
        last = "" if self.dialogue.pending is not None else self._last
        soon = utterance.start_s < self._answered_s + REST["reaction_s"]
        more = bool(whole) or (soon and name_of(meaning) == "reading")
        return more and last == "reading" and bool(self.dialogue.last_quantity())

    def _outcome_kind(self, utterance: Utterance, decision: Decision) -> str:
        """What is done about an utterance; more is asked of some than that it was heard well."""
        kind, name, sure = decision.kind, decision.name, decision.probability
        if kind in ("again", "choose") and sure < ACCEPT["asked_about"]:
            doubtful = decision.meant_for_us < ACCEPT["meant_for_us_if_doubtful"]
            return "nothing" if doubtful else "again"
        if kind == "accept" and utterance.start_s < self._answered_s:
            # Words that began before the last answer came do not answer it: an impatient second
            # "done" must not pass for the next step's, nor a "check" for a read-back nobody heard.
            if name == self._last:  # an item named by itself is no impatient "done"
                return kind if said_in_breath(decision.heard, self.dialogue) else "nothing"
            if name in (*CONFIRMS, *_CONFIRMATIONS):
                return "again"
        if name == "reading" and self.dialogue.pending is None and self.dialogue.expects():
            asked = kind == "again" and sure >= ACCEPT["asked_reading"]
            return "accept" if asked else kind
        return "again" if kind == "accept" and self._unsure(decision) else kind

    def _unsure(self, decision: Decision) -> bool:
        """Whether what moves a pedal or confirms a value was heard too badly for that."""
        confirms = self.dialogue.pending is not None and decision.name in _CONFIRMATIONS
        bar = "pedal_word" if decision.name in CONFIRMS else "confirmation" if confirms else ""
        return bool(bar and decision.probability < ACCEPT[bar]) or contradicted(decision)


def _alarms(decision: Decision) -> list[Candidate]:
    """What would stop a job where somebody may be hurt, the likeliest first."""
    return [c for c in decision.ranked if name_of(c.meaning) in _STOPPING]


def _ear(
    channel: Channel, decision: Decision, outcome: _Outcome, decode_s: float
) -> dict[str, Any]:
    """How an utterance was recognized, as the record keeps it."""
    return {
        "mic": channel.name,
        "shared": not channel.role,
        "decision": outcome.kind,
        "probability": round(decision.probability, 3),
        "alternatives": [
            {"words": c.words, "probability": round(c.probability, 3), "engines": list(c.engines)}
            for c in decision.ranked[:RECORDED]
        ],
        "seconds": round(decode_s, 3),
        **({"doubt": True} if outcome.doubt else {}),
    }
