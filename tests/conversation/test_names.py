"""Who names himself: understood where it is asked who goes on, asked about elsewhere."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from assistant.act import Act, Said
from assistant.conversation import Session
from assistant.record.history import JobHistory
from tests.job.test_hold import FOUND, HOLD, PLAN, TURN, text

Play = Callable[[Session, str], list[Said]]

NAMED = {
    "Earl here": "EARL",
    "earl here": "EARL",
    "Hey, Earl here now": "EARL",
    "it's Pat now": "PAT",
    "It's Pat.": "PAT",
    "this is the night shift, Robin": "ROBIN",
    "Night shift here, Robin": "ROBIN",
    "Robin from the late shift": "ROBIN",
    "this is kip": "KIP",
    "my name's Lee Park": "LEE",
    "I'm Kip, I'm new": "KIP",
    "you've got Marge now": "MARGE",
    "Kip": "KIP",
    "this is Robin, code thirty one": "31",
    "Earl here, number 31": "31",
    "my code is 31": "31",
}
"""Words of who goes on -> how the record keeps him."""


ONLY_ASKED = ("earl here", "Kip", "my code is 31")
"""Of these, too little is sure where nobody asked."""


@pytest.mark.parametrize("who", ["tech", "helper"])
@pytest.mark.parametrize("words", NAMED)
def test_where_it_is_asked_a_name_answers(
    session: Session, play: Play, who: str, words: str
) -> None:
    play(session, PLAN)
    session.hear(who, "taking over")
    assert session.job.asking == "code"
    said = session.hear(who, words)
    assert f"{NAMED[words]} takes over" in text(said)
    assert session.job.facts.people == [(who, NAMED[words])] and session.job.asking != "code"
    session.close()
    people = [t.person for t in JobHistory.read(session.journal.path).turns if t.person]
    assert [(p.who, p.code) for p in people] == [(who, ""), (who, NAMED[words])]


@pytest.mark.parametrize("who", ["tech", "helper"])
@pytest.mark.parametrize("words", [words for words in NAMED if words not in ONLY_ASKED])
def test_elsewhere_it_is_asked_who_goes_on(
    session: Session, play: Play, words: str, who: str
) -> None:
    play(session, FOUND)
    at = session.job.at
    said = session.hear(who, words)
    told = "31 takes over" if NAMED[words] == "31" else "Say code, and your code"
    assert told in text(said) and session.job.at == at and session.job.asking
    play(session, "0.530")
    assert not session.job.facts.readings[4:], "nothing goes on before"


def test_the_other_one_does_not_answer_for_him(session: Session, play: Play) -> None:
    play(session, f"{PLAN} / taking over")
    said = play(session, "h: Robin here")
    assert session.job.asking == "code" and "Who goes on" in text(said)
    assert session.job.facts.people == [("tech", "")]


@pytest.mark.parametrize("who", ["tech", "helper"])
def test_in_a_hold_a_name_stops_it(session: Session, play: Play, who: str) -> None:
    play(session, TURN)
    said = session.hear(who, "it's Pat now")
    assert session.job.at == "halted" and "STOP" in text(said, "helper")
    assert not session.job.facts.hazards.hold_confirmed


@pytest.mark.parametrize(
    "words",
    [
        *("it's Loose", "I'm Stuck", "it's slippin", "I'm Under here", "Still here", "Nobody here"),
        *("Helper here", "Smoke here", "Oil here", "it's bindin", "I'm ready", "It's Off now"),
        *("is this Earl?", "it's Earl?", "IT'S CRUNCHIN", "this is bad", "it's grindin"),
    ],
)
@pytest.mark.parametrize("asked", [True, False])
@pytest.mark.parametrize("before", [FOUND, HOLD])
def test_what_is_no_name_names_nobody(
    session: Session, play: Play, words: str, asked: bool, before: str
) -> None:
    play(session, before)
    if asked:
        play(session, "taking over")
    for who in ("tech", "helper"):
        meant = session.understood(words, who)
        assert not (isinstance(meant, Act) and meant.meaning == "takes_over"), words
