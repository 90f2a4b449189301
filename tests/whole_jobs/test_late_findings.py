"""Faults found by trying to break the whole program: each must stay mended."""

from pathlib import Path

import pytest

from assistant.act import Act, Said
from assistant.card import CardError, load_card
from assistant.conversation import Session, split_speaker
from assistant.conversation.understand import understand
from assistant.dialogue import Question
from assistant.job.state import Facts, Taken
from assistant.quantity import BRAKE_CONTACT, FREE_TRAVEL, TOTAL_TRAVEL
from assistant.record import Journal, RecordError, read_events
from assistant.record.history import JobHistory
from assistant.review.transcript import transcript
from tests import demo

CARD = demo.card()
DIALOGS = demo.shipped()
SCRIPT = demo.script("first_job")
TURN = SCRIPT.index("helper: holding") + 1
RELEASE = SCRIPT.index("helper: released")


def at(lines: int, folder: Path, *more: str) -> tuple[Session, list[Said]]:
    """A session after so many lines of the demo script and some more."""
    session, said = Session.begin(CARD, DIALOGS, folder)
    for line in (*SCRIPT[:lines], *more):
        said = session.hear(*split_speaker(line))
    return session, said


@pytest.mark.parametrize(
    "shout",
    ["stop...he is in there", "stop.hands", '"stop"', "stop-stop", "stop/stop", "s-t-o-p", "stop_"],
)
def test_stop_beside_any_punctuation(shout: str, tmp_path: Path) -> None:
    session, _ = at(TURN, tmp_path, f"tech: {shout}")
    assert session.job.at == "halted"


@pytest.mark.parametrize("shout", ["my hand is stuck", "ow", "not clear", "hold it", "hands in"])
def test_alarm_in_plain_words_stops_a_release(shout: str, tmp_path: Path) -> None:
    session, said = at(RELEASE, tmp_path, f"tech: {shout}")
    assert session.job.at == "halted"
    assert not any(s.cue == "RELEASE" for s in said)


def test_hands_in_is_never_taken_or_offered_for_hands_out(tmp_path: Path) -> None:
    session, said = at(RELEASE, tmp_path, "tech: stop", "tech: hands in")
    assert not any("hands out?" in s.text.lower() or "hands clear" in s.text.lower() for s in said)
    assert not session.job.facts.hazards.hands_clear


@pytest.mark.parametrize("words", ["pedal down", "pressing now", "my foot is on the pedal"])
def test_a_pedal_moved_unasked_with_hands_in_the_hole(words: str, tmp_path: Path) -> None:
    gap = SCRIPT.index("tech: twenty-one thirty-seconds")
    session, said = at(gap, tmp_path, f"helper: {words}")
    assert session.job.at == "halted"
    assert any("HANDS OUT" in s.text for s in said if s.to in ("tech", "both"))


def test_only_the_technician_lifts_a_stop(tmp_path: Path) -> None:
    session, _ = at(TURN, tmp_path, "helper: stop", "helper: carry on")
    assert session.job.at == "halted"


def test_a_question_signs_nothing_and_accepts_nothing(tmp_path: Path) -> None:
    session, _ = at(
        len(SCRIPT) - 1, tmp_path, "tech: sign off later?", "tech: signing off in a minute"
    )
    assert not session.job.finished
    assert session.job.at == "sign_off"


@pytest.mark.parametrize("words", ["clear?", "all clear?"])
def test_a_question_is_no_clear(words: str, tmp_path: Path) -> None:
    ready = SCRIPT.index("tech: clear")
    session, _ = at(ready, tmp_path)
    got = understand(words, "tech", session.job)
    assert isinstance(got, Question)


def test_a_corrected_count_keeps_its_way(tmp_path: Path) -> None:
    """Told 5 tighter, the next plan looser: "correct the lugs to four" is four tighter."""
    session, _ = at(RELEASE + 1, tmp_path, "tech: four fifty", "tech: check")
    plan = session.job.facts.plans.ring()
    assert plan is not None and plan.lugs < 0
    for line in ("tech: correct the lugs to four", "tech: check"):
        session.hear(*split_speaker(line))
    assert session.job.facts.moves[-1].moved == 4


def test_ratio_is_not_said_to_be_the_cards(tmp_path: Path) -> None:
    rod = SCRIPT.index("tech: eleven sixty-fourths") + 2
    session, said = at(rod, tmp_path, "tech: why")
    assert session.job.at == "fork_rod"
    assert CARD.ratio is None and not any("from card" in s.text for s in said)


@pytest.mark.parametrize("contact", [0.25, 0.45])
@pytest.mark.parametrize("clearance", [0.100, 0.125])
def test_contact_rod_never_goes_against_contact(contact: float, clearance: float) -> None:
    """h' = h - R*y: a low contact needs y below zero, or no move at all."""
    read = {
        "gap": 0.53, "clearance": clearance, "free-travel": 12 * clearance,
        "pedal-height": 8.5, "brake-contact": contact,
    }  # fmt: skip
    facts = Facts(CARD)
    for quantity, value in read.items():
        ends = value - 0.005, value + 0.005
        facts.readings.append(Taken("x", "found", quantity, "tech", value, *ends, None, "", "", ""))
    plan = facts.plans.whole()
    assert plan is not None and plan.settings.possible
    assert plan.fork_in <= 0 and plan.settings.chosen.setting.lugs == 0
    assert plan.after["clearance"].value_in >= 3 / 32


def test_a_settled_quarrel_of_ratios_is_no_doubt(tmp_path: Path) -> None:
    free = SCRIPT.index("helper: nine sixteenths shy")
    planned = SCRIPT.index("tech: forty thou") + 2
    session, _ = Session.begin(CARD, DIALOGS, tmp_path)
    lines = [*SCRIPT[:free], "helper: two inches", *SCRIPT[free + 1 : planned]]
    for line in lines:
        session.hear(*split_speaker(line))
    assert any("disagree" in d for d in session.job.facts.doubts)
    for line in ("tech: correct the free travel to nine sixteenths shy", "tech: check"):
        session.hear(*split_speaker(line))
    assert not any("disagree" in d for d in session.job.facts.doubts)


def test_next_due_is_ahead(tmp_path: Path) -> None:
    session, _ = at(len(SCRIPT) - 2, tmp_path, "tech: one hundred thousand")
    assert session.job.at == "next_due"


def test_the_pedal_never_moves_with_the_cover_off_without_a_caution(tmp_path: Path) -> None:
    session, said = Session.begin(CARD, DIALOGS, tmp_path)
    for line in SCRIPT:
        said = session.hear(*split_speaker(line))
        step = session.job.step
        keys = [s.key for s in said]
        moves = step is not None and step.reading in (FREE_TRAVEL, TOTAL_TRAVEL, BRAKE_CONTACT)
        if moves and f"prompt:{step.id}" in keys and session.job.facts.hazards.cover_open:
            assert "caution:stroke" in keys, step.id


def test_transcript_shows_control_characters_and_damage(tmp_path: Path) -> None:
    session, _ = at(3, tmp_path, "tech: note x\r\x1b[2K12:00:00  SIGNED OFF")
    session.close()
    events, _ = read_events(session.journal.path)
    text = "\n".join(transcript(JobHistory.of(events, "line 9 was changed")))
    assert "\x1b" not in text and "\r" not in text
    assert "DAMAGED HERE" in text and "lugcall resume" not in text


def test_odd_but_well_chained_records_are_refused_in_one_line(tmp_path: Path) -> None:
    from assistant.conversation import SessionError

    with Journal.create(tmp_path, "x", {"card": [1]}) as journal:
        journal.append("turn", {"act": [1], "after": "chocks"})
        journal.append("closed", {})
    with pytest.raises(RecordError):
        JobHistory.read(journal.path)
    with Journal.create(tmp_path, "y", {"card": None}) as other:
        pass
    with pytest.raises(SessionError):
        Session.resume(other.path, DIALOGS)


def test_cards_of_any_shape_give_one_line(tmp_path: Path) -> None:
    for text in ("unit = " + "[" * 40_000, "[pedal]\nratio = " + "9" * 5000):
        path = tmp_path / "card.toml"
        path.write_text(text)
        with pytest.raises(CardError):
            load_card(path)
    path.write_bytes(b"\xef\xbb\xbfunit = 'B-1'\r\n")
    assert load_card(path).unit == "B-1"


def test_odd_words_are_kept_and_answered(tmp_path: Path) -> None:
    session, said = at(2, tmp_path, "tech: note caf\udce9", "tech: " + "x" * 100_000)
    assert said
    session.close()


def test_act_data_round_trips() -> None:
    act = Act("correct", "tech", {"value_in": 0.5}, "gap", "", "looser")
    assert Act(**act.as_data()) == act
