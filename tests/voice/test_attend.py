"""Who waits for whom between microphones, engines and job: nothing lost, nothing counted twice."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from assistant.act import Act
from assistant.conversation import Session
from assistant.voice.detection.endpointer import EndpointEvent
from assistant.voice.devices.audio import FRAME, FRAME_S, Samples
from assistant.voice.recognition.recognizer import Hearing, Hypothesis
from assistant.voice.session.attendant import Attendant, Turn
from assistant.voice.session.channel import Channel


class Later(Executor):
    """Runs jobs when told to: engines that are slow."""

    def __init__(self) -> None:
        self.jobs: list[tuple[Future[Any], Callable[..., Any]]] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.jobs.append((future, lambda: fn(*args, **kwargs)))
        return future

    def run(self, most: int = 100) -> None:
        while self.jobs and most > 0:
            most -= 1
            future, job = self.jobs.pop(0)
            if future.set_running_or_notify_cancel():
                try:
                    future.set_result(job())
                except ValueError as error:
                    future.set_exception(error)


class Script:
    """Engines that hear the words whose number is in the samples, and nothing else."""

    def __init__(self) -> None:
        self.words: list[str] = []
        self.heard: list[str] = []

    def expect(self, grammar: object) -> None: ...

    def listen(self, samples: Any) -> list[Hearing]:
        words = self.words[int(samples[0])]
        self.heard.append(words)
        if words == "choke":
            raise ValueError("the engine fails")
        short = words.split()[0] if words.startswith("note") else words
        marks = {"inside": -0.3, "tokens": 2.0}
        return [Hearing("whisper", (Hypothesis(short, -0.3),), words, -0.3, marks, 0.1)]


def started(start_s: float) -> EndpointEvent:
    return EndpointEvent("started", start_s, start_s)


def paused(sound: Samples, start_s: float, speech_end_s: float, at_s: float) -> EndpointEvent:
    return EndpointEvent("paused", start_s, at_s, speech_end_s, sound)


def ended(sound: Samples, start_s: float, speech_end_s: float, at_s: float) -> EndpointEvent:
    return EndpointEvent("ended", start_s, at_s, speech_end_s, sound)


class Room:
    """A session with one microphone a person, whose turns are told instead of detected."""

    def __init__(self, session: Session, *roles: str) -> None:
        self.session = session
        self.engines = Later()
        self.script = Script()
        self.turns: list[Turn] = []
        self.speech: list[bool] = []
        self.now = 0.0
        ears: Any = self.script
        self.attendant = Attendant(
            session, ears, self.engines, self.turns.append, lambda role, on: self.speech.append(on)
        )
        self.channels: dict[str, Channel] = {}
        for role in roles:
            channel = self.attendant.add(role, f"mic {role}")
            channel.endpointer = SimpleNamespace(  # type: ignore[assignment]
                events=[],
                feed=lambda samples, at_s, played, over_us, of=role: self._told(of),
                patience=lambda complete: None,
            )
            self.channels[role] = channel

    def _told(self, role: str) -> list[EndpointEvent]:
        endpointer: Any = self.channels[role].endpointer
        events, endpointer.events = endpointer.events, []
        return events

    def event(self, role: str, *events: EndpointEvent) -> None:
        endpointer: Any = self.channels[role].endpointer
        endpointer.events = list(events)
        self.channels[role].feed(np.zeros(FRAME, np.float32), self.now)
        self.now += FRAME_S
        self.attendant.pump()

    def sound(self, words: str) -> Any:
        self.script.words.append(words)
        return np.full(10, len(self.script.words) - 1, np.float32)

    def say(self, role: str, words: str) -> None:
        """Said, paused and ended; not decoded yet."""
        start, sound = self.now, self.sound(words)
        self.event(role, started(start))
        self.now += 0.5
        self.event(role, paused(sound, start, start + 0.4, self.now))
        self.event(role, ended(sound, start, start + 0.4, self.now))

    def decode(self) -> None:
        """The engines get done."""
        for _ in range(3):  # what is heard again in another grammar included
            self.engines.run()
            self.attendant.pump()

    def replies(self) -> list[str]:
        return [said.key for turn in self.turns for said in turn.said]


def test_words_said_while_others_are_decoded_are_answered_too(session: Session) -> None:
    room = Room(session, "tech")
    room.say("tech", "why")
    room.say("tech", "where are we")
    room.event("tech", started(room.now))
    room.event("tech", EndpointEvent("dropped", 0.0, room.now))  # a knock
    assert not room.turns
    room.decode()
    assert [turn.heard for turn in room.turns] == ["why", "where are we"]
    assert all(turn.said for turn in room.turns)
    assert room.speech == [True, True, True, False]


def test_what_was_only_a_pause_is_heard_whole(session: Session) -> None:
    room = Room(session, "tech")
    start = room.now
    room.event("tech", started(start))
    room.event("tech", paused(room.sound("done"), start, start + 0.1, room.now))
    room.event("tech", EndpointEvent("resumed", 0.0, room.now))
    room.event("tech", ended(room.sound("how long"), start, room.now, room.now))
    room.decode()
    assert room.script.heard == ["how long"], "the first guess is not even decoded"
    assert [turn.heard for turn in room.turns] == ["how long"]


def test_a_stop_is_acted_on_at_its_pause_and_once(session: Session) -> None:
    room = Room(session, "tech")
    start, sound = room.now, room.sound("stop")
    room.event("tech", started(start))
    room.event("tech", paused(sound, start, start + 0.3, room.now))
    room.engines.run()
    room.event("tech")
    assert session.job.at == "halted", "before it is known whether more is said"
    room.event("tech", ended(sound, start, start + 0.3, room.now))
    room.decode()
    assert room.replies().count("reply:stopped") == 1 and len(room.turns) == 1
    room.say("tech", "carry on")
    room.decode()
    assert session.job.at != "halted"


def test_an_impatient_second_done_is_not_the_next_steps(session: Session) -> None:
    room = Room(session, "tech")
    before = session.job.at
    room.say("tech", "done")
    room.say("tech", "done")
    room.decode()
    after = session.job.at
    assert after != before and room.turns[1].kind == "nothing" and not room.turns[1].said
    room.say("tech", "done")
    room.decode()
    assert session.job.at != after


def test_the_rest_of_a_reading_corrects_it_and_is_read_back(
    session: Session, play: Callable[[Session, str], Any]
) -> None:
    """ "Eight ... eight and a half", cut in two: not the answer to the next question."""
    play(session, " / ".join(["done"] * 6) + " / helper: ready / helper: sound / sound / sound")
    play(session, "sound / helper: skip")
    room = Room(session, "tech")
    room.say("tech", "eight")
    room.decode()
    assert session.job.expects() == "total-travel"
    room.say("tech", "eight and a half")
    room.decode()
    assert session.job.pending is not None
    assert session.job.pending.quantity == "pedal-height"
    room.now += 2.0
    room.say("tech", "check")
    room.decode()
    assert session.job.facts.latest("pedal-height").value_in == 8.5
    assert session.job.facts.latest("total-travel") is None
    room.now += 2.0
    room.say("tech", "eight and a quarter")
    room.decode()
    assert session.job.facts.latest("total-travel").value_in == 8.25


def test_a_check_that_began_before_the_read_back_confirms_nothing(
    session: Session, play: Callable[[Session, str], Any]
) -> None:
    play(session, " / ".join(["done"] * 6) + " / helper: ready / helper: sound / sound / sound")
    play(session, "sound / helper: skip / eight and a half / eight and a quarter")
    room = Room(session, "tech")
    room.say("tech", "one and a half")
    room.say("tech", "check")
    room.decode()
    assert session.job.pending is not None
    assert room.turns[-1].kind == "nothing"
    room.now += 2.0
    room.say("tech", "check")
    room.decode()
    assert session.job.pending is None


def test_words_are_heard_again_once_the_other_person_moved_the_job(
    session: Session, play: Callable[[Session, str], Any]
) -> None:
    play(session, " / ".join(["done"] * 6))
    room = Room(session, "tech", "helper")
    room.say("helper", "ready")
    room.say("tech", "why")
    room.engines.run(1)
    room.event("tech")
    assert [turn.role for turn in room.turns] == ["helper"]
    room.decode()
    assert [turn.role for turn in sorted(room.turns, key=lambda t: t.role)] == ["helper", "tech"]
    assert room.script.heard.count("why") == 2


def test_an_engine_that_fails_costs_one_utterance(session: Session) -> None:
    room = Room(session, "tech")
    room.say("tech", "choke")
    room.decode()
    assert room.replies() == ["reply:say_again"]
    room.say("tech", "done")
    room.decode()
    assert room.turns[-1].kind == "accept"


@pytest.mark.parametrize("words", ["note the grease fitting is new", "note, both bolts replaced."])
def test_a_note_is_written_down_as_heard(session: Session, words: str) -> None:
    room = Room(session, "tech")
    room.say("tech", words)
    room.decode()
    assert room.replies() == ["reply:noted"]
    assert session.journal.events[-1].data["words"] == words.rstrip(".")


def test_a_microphone_that_was_away_has_forgotten_half_a_word(session: Session) -> None:
    room = Room(session, "tech")
    room.event("tech", started(room.now))
    room.event("tech", paused(room.sound("done"), room.now, room.now, room.now))
    room.channels["tech"].reset()
    room.decode()
    assert room.turns == [] and room.script.heard == []


def test_note_alone_takes_the_next_words_whatever_they_are(session: Session) -> None:
    room = Room(session, "tech")
    ears: Any = room.script
    ears.dictate = lambda samples: "The bracket is bent."
    room.say("tech", "note")
    room.decode()
    assert room.replies() == ["reply:note_empty"]
    room.now += 2.0
    room.say("tech", "half inch")
    room.decode()
    assert session.job.facts.notes == [("tech", "The bracket is bent.")]
    room.now += 2.0
    room.say("tech", "done")
    room.decode()
    assert session.job.at == "parking_brake"


def test_a_stop_does_not_wait_for_a_note_to_be_taken_down(session: Session) -> None:
    room = Room(session, "tech", "helper")
    ears: Any = room.script
    ears.dictate = lambda samples: "The bracket is bent."
    room.say("tech", "note")
    room.decode()
    room.now += 2.0
    room.say("tech", "half inch")
    while not room.channels["tech"].ended[0].hearings.done():
        room.engines.run(1)
    room.attendant.pump()  # heard in the grammar; the free words are still to come
    assert not session.job.facts.notes
    dictation = room.engines.jobs.pop()
    room.say("helper", "stop")
    room.engines.run()
    room.attendant.pump()
    assert session.job.at == "halted"
    room.engines.jobs.append(dictation)
    room.decode()
    assert session.job.facts.notes == [("tech", "The bracket is bent.")]


@pytest.mark.parametrize(
    ("heard", "written", "reason"),
    [
        ("accept", "Accept because the parts are worn.", "the parts are worn"),
        ("how far to go", "Except it since the parts are worn.", "the parts are worn"),
    ],
)
def test_a_reason_to_accept_is_taken_down(
    session: Session, heard: str, written: str, reason: str
) -> None:
    """Said in one breath it is no command of any grammar, but it begins with one."""
    room = Room(session, "tech")
    ears: Any = room.script
    ears.dictate = lambda samples: written
    acts: list[str] = []
    session.job.choice = "out"
    session.take = lambda meant: acts.append(meant.text) or []  # type: ignore
    start, sound = room.now, room.sound(heard)
    room.script.listen = lambda samples: [  # type: ignore[method-assign]
        Hearing(
            "whisper",
            (Hypothesis(heard, -0.3),),
            "accept because the parts are worn",
            -0.3,
            {"inside": -0.3, "tokens": 2.0},
            0.1,
        )
    ]
    room.event("tech", started(start))
    room.now += 2.0
    room.event("tech", ended(sound, start, start + 1.9, room.now))
    room.decode()
    assert acts == [reason]


def test_a_code_is_read_back_however_well_it_was_heard(session: Session) -> None:
    room = Room(session, "tech")
    acts: list[Act] = []
    session.take = lambda meant: acts.append(meant) or []  # type: ignore
    session.job.at = "sign_off"
    room.say("tech", "sign off seven")
    room.decode()
    assert acts[0].doubt and (acts[0].evidence.ear or {}).get("doubt") is True


def test_words_that_begin_others_are_waited_for(session: Session) -> None:
    """ "Correct" confirms, "correct that" takes back: the first is not cut off the second."""
    room = Room(session, "tech")
    patience: list[bool | None] = []
    room.channels["tech"].endpointer.patience = patience.append  # type: ignore[method-assign]
    for words in ("correct", "done"):
        start, sound = room.now, room.sound(words)
        room.event("tech", started(start))
        room.now += 0.5
        room.event("tech", paused(sound, start, start + 0.4, room.now))
        room.engines.run()
        room.attendant.pump()
        room.event("tech", ended(sound, start, start + 0.4, room.now))
        room.decode()
        room.now += 2.0
    assert patience[0] is False and patience[-1] is True


def reading_taken(room: Room, words: str) -> None:
    """The job asks for the pedal height, and is told it."""
    room.session.job.at = "found_height"
    room.say("tech", words)
    room.decode()


def test_the_rest_of_a_reading_is_heard_with_it(session: Session) -> None:
    """Cut off by a pause: "eight and five eighths" ... "fat"."""
    room = Room(session, "tech")
    reading_taken(room, "eight and five eighths")
    wholes: list[int] = []
    listen = room.script.listen

    def joined(samples: Any) -> list[Hearing]:
        if len(samples) > 10:
            wholes.append(len(samples))
            marks = {"inside": -0.3, "tokens": 5.0}
            words = "eight and five eighths fat"
            return [Hearing("whisper", (Hypothesis(words, -0.3),), words, -0.3, marks, 0.1)]
        return listen(samples)

    room.script.listen = joined  # type: ignore[method-assign]
    room.say("tech", "check")  # what "fat" sounds like alone
    room.decode()
    assert wholes == [20]
    assert room.turns[-1].heard == "eight and five eighths fat"
    act = session.journal.events[-1].data["act"]
    assert (act["meaning"], act["quantity"]) == ("correct", "pedal-height")
    assert session.job.pending is not None  # it is read back


def test_a_polite_word_after_a_reading_is_no_answer(session: Session) -> None:
    room = Room(session, "tech")
    reading_taken(room, "eight and five eighths")
    state, taken = session.job.at, len(session.job.facts.readings)
    listen = room.script.listen
    room.script.listen = (
        lambda samples: (  # type: ignore[method-assign]
            listen(samples[:1] * 0) if len(samples) > 10 else listen(samples)
        )
    )
    room.say("tech", "check")
    room.decode()
    assert room.turns[-1].kind == "nothing"
    assert (session.job.at, len(session.job.facts.readings)) == (state, taken)


def test_what_is_said_later_stands_for_itself(session: Session) -> None:
    room = Room(session, "tech")
    reading_taken(room, "eight and five eighths")
    room.now += 3.0
    room.say("tech", "repeat")
    room.decode()
    assert room.turns[-1].kind == "accept" and room.turns[-1].heard == "repeat"


def test_a_doubtful_stop_in_a_pause_is_heard_to_its_end(session: Session) -> None:
    """With the pedal up; "sign off" begins like "hang on"."""
    room = Room(session, "tech")
    decided = room.attendant._decided
    room.attendant._decided = lambda *a: replace(decided(*a), probability=0.7)  # type: ignore
    start, sound = room.now, room.sound("hang on")
    room.event("tech", started(start))
    room.now += 0.5
    room.event("tech", paused(sound, start, start + 0.4, room.now))
    room.engines.run()
    room.attendant.pump()
    assert session.job.at != "halted"
    session.job.facts.hold = "held"
    room.attendant._look(room.channels["tech"], room.channels["tech"].guess)  # type: ignore
    assert session.job.at == "halted"
