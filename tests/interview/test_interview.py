"""A card made by question and answer: by text, cut off at any line, from a record, for a fleet."""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.act import Said
from assistant.card import CardError, card_from_text, load_card
from assistant.card.draft import QUESTIONS, from_record
from assistant.card.fleet import card_of, chosen
from assistant.card.show import card_lines, toml_text
from assistant.cli.main import run
from assistant.clutch.thread import lead_in
from assistant.interview.talk import NAME, CardTalk
from assistant.interview.words import THREADS, CardWords, load_card_words, thread_said, unit_said
from assistant.record import RecordError
from assistant.sentences import DialogError
from assistant.texts.dialogs import Dialogs
from assistant.voice.recognition.expected import expected
from tests.demo import DEMO, DIALOGS, lugcall, script
from tests.examples import examples
from tests.heard import heard, unheard
from tests.tables import rows_of

LUGCALL = [sys.executable, "-m", "assistant"]
Begin = Callable[..., CardTalk]
SCRIPT = script("new_card")


@pytest.fixture(scope="module")
def texts() -> CardWords:
    """The words of the conversation."""
    return load_card_words(DIALOGS)


@pytest.fixture
def begin(dialogs: Dialogs, texts: CardWords, tmp_path: Path) -> Begin:
    """Begins a talk in a folder, the test's own if none is named, or goes on with one."""

    def begun(folder: Path | None = None, over: Any = None) -> CardTalk:
        return CardTalk.begin(folder or tmp_path, dialogs, texts, over)[0]

    return begun


@pytest.fixture
def talk(begin: Begin) -> CardTalk:
    """A talk just begun in the test's folder."""
    return begin()


def go_to(talk: CardTalk, key: str) -> None:
    """Answer until the question `key`, skipping what may be skipped."""
    while talk.interview.at != key:
        say(talk, RIGHT.get(talk.interview.at, "skip"))


def say(talk: CardTalk, *lines: str) -> list[Said]:
    """Lines in their order; gives the answer to the last."""
    said: list[Said] = []
    for line in lines:
        said = talk.hear("tech", line)
    return said


HEAD = ("T-9", "12", "a manual", "inches", "miles", "not synchronized", "by hand", "rod", "below")


def test_the_script_makes_the_card(talk: CardTalk, tmp_path: Path) -> None:
    say(talk, *SCRIPT)
    talk.close()
    assert talk.path == tmp_path / "t-7.toml" and not (tmp_path / NAME).exists()
    card = load_card(talk.path)
    assert (card.unit, card.lug_in, card.ring_lugs, card.thread) == ("T-7", 0.027, 18, "1/2-20")
    assert card.longer == "more clearance" and card.lash_in == 1 / 16 and card.ratio is None
    limits = {
        name: (f.low_in, f.high_in, f.target_in, f.source)
        for name, f in card.figures.items()
        if f is not None
    }
    manual = "T-7 manual (invented), page 12, set by 12"
    rule = "shop rule 7 (invented), set by 12"
    assert limits["gap"] == (1 / 2, 9 / 16, 17 / 32, rule)
    assert limits["clearance"] == (3 / 32, 5 / 32, 1 / 8, manual)
    assert limits["free-travel"] == (1.125, 2.0, 1.5, rule)
    assert limits["pedal-height"] == (8.0, 9.0, None, rule)
    assert limits["total-travel"] == (7.0, 9.0, None, rule)
    assert limits["brake-contact"] == (0.5, 1.0, None, rule)
    assert limits["bearing-travel"][3] == "common practice, no source"
    assert card.sources == {"ring": manual, "rod": manual, "pedal": manual}
    shown = "\n".join(card_lines(card))
    assert re.search(rf"gap +1/2 in to 9/16 in +{re.escape(rule)}", shown)


def test_cut_off_after_every_line(begin: Begin, tmp_path: Path) -> None:
    whole = begin(tmp_path / "whole")
    say(whole, *SCRIPT)
    for line in SCRIPT:
        talk = begin(tmp_path / "parts")
        talk.hear("tech", line)
        talk.close()
    one, other = (tmp_path / name / "t-7.toml" for name in ("whole", "parts"))
    assert one.read_text("utf-8") == other.read_text("utf-8")


def test_killed_and_torn(begin: Begin, dialogs: Dialogs, texts: CardWords, tmp_path: Path) -> None:
    """What was answered was on the disk before it was answered; a torn line is cut off."""
    child = subprocess.Popen(
        [*LUGCALL, "card", "--new", str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdin is not None and child.stdout is not None
    for line in HEAD:
        child.stdin.write(line + "\n")
    child.stdin.flush()
    for out in child.stdout:
        if "What locks the ring" in out:
            break
    child.kill()
    child.wait()
    with (tmp_path / NAME).open("ab") as stream:
        stream.write(b'{"set": "ring.lo')
    talk, said = CardTalk.begin(tmp_path, dialogs, texts)
    assert said[0].text == "Going on with the card of T-9."
    assert said[-1].text.startswith("What locks the ring")
    say(talk, "plate")
    talk.close()
    assert (tmp_path / NAME).read_bytes().endswith(b"}\n")
    assert begin().interview.draft.value("ring.lock") == "plate"


def test_a_document_is_a_plain_line(talk: CardTalk) -> None:
    """Nothing that a lead's screen would obey, and no page of it."""
    say(talk, "T-9", "12", "note sheet\x1b[31m 4\x07 \t of " + "x" * 300)
    name = str(talk.interview.draft.value("source"))
    assert name.startswith("sheet[31m 4 of xxx") and len(name) == 80 and name.isprintable()


def test_one_at_a_time(talk: CardTalk, begin: Begin, tmp_path: Path) -> None:
    with pytest.raises(RecordError):
        begin()
    talk.close()
    assert list(tmp_path.iterdir()) == [], "a card nobody began leaves nothing"


def test_a_foreign_draft_is_named(begin: Begin, tmp_path: Path) -> None:
    for text in ('{"set": "wheel"}\n', "[1]\n", '{"x": 1}\n', "nonsense\n", '{"set": "unit"}\n'):
        (tmp_path / NAME).write_text(text, "utf-8")
        with pytest.raises(CardError, match="move it away"):
            begin()


@pytest.mark.parametrize(
    ("answers", "asked", "not_asked"),
    [
        ((), {"ring.lug", "figures.brake-contact.low"}, set()),
        (("synchronized",), {"ring.lug"}, {"figures.brake-contact.low"}),
        (("not synchronized", "itself"), {"rod.thread"}, {"ring.lug", "ring.lock", "ring.type"}),
    ],
)
def test_only_what_this_truck_has_is_asked(
    answers: tuple[str, ...], asked: set[str], not_asked: set[str], talk: CardTalk
) -> None:
    """No ring on a clutch that adjusts itself, no brake where there is none."""
    say(talk, *HEAD[:5], *answers, *("not synchronized", "by hand", "rod", "below", "plate"))
    seen = set()
    while talk.interview.at != "review":
        seen.add(talk.interview.at)
        say(talk, "half an inch" if talk.interview.at == "figures.gap.low" else "skip")
        if talk.interview.at != "review" and not talk.interview.question.optional:
            say(talk, RIGHT[talk.interview.at])
    assert asked <= seen and not not_asked & seen


def test_without_a_brake_the_gap_is_the_maker_s(talk: CardTalk, tmp_path: Path) -> None:
    """It cannot be skipped, nor left out with the rest."""
    say(talk, *HEAD[:5], "synchronized", "by hand", "rod", "below", "plate")
    assert "No clutch brake" in say(talk, "done")[0].text
    assert talk.interview.at == "figures.gap.high"
    assert "No clutch brake" in say(talk, "skip")[0].text
    say(talk, "three quarters", "done", "check")
    talk.close()
    card = load_card(tmp_path / "t-9.toml")
    assert card.transmission == "synchronized" and not card.unsupported()


RIGHT = {
    **{"unit": "T-9", "by": "12", "source": "a manual", "shop.units": "inches"},
    **{"shop.distance": "miles", "truck.transmission": "not synchronized"},
    **{"truck.clutch": "by hand", "truck.linkage": "rod", "truck.cover": "below"},
    **{"ring.lock": "plate", "figures.gap.low": "half an inch"},
    **{"figures.gap.high": "nine sixteenths"},
}


@rows_of("card_answers.txt", "key", "words", "told")("wrong")
def test_what_cannot_be_is_asked_again(key: str, words: str, told: str, talk: CardTalk) -> None:
    go_to(talk, key)
    before = dict(talk.interview.draft.answers)
    said = say(talk, words)
    assert told in said[0].text and "\n" not in said[0].text
    assert talk.interview.at == key and talk.interview.draft.answers == before


@pytest.mark.parametrize("sure", ["check", "skip", "done"])
def test_a_lowest_alone_is_asked_about(talk: CardTalk, sure: str) -> None:
    """A gap of "at least 9/16" is seldom meant: it is the highest, heard at the wrong question."""
    go_to(talk, "figures.gap.low")
    said = say(talk, "nine sixteenths", sure if sure != "check" else "skip")
    assert "no highest?" in said[0].text and talk.interview.at == "figures.gap.high"
    assert "figures.gap.high" not in talk.interview.draft.answers
    say(talk, "check" if sure == "done" else sure)
    assert talk.interview.draft.value("figures.gap.low") == "9/16 in"
    assert talk.interview.at == "figures.gap.target"
    say(talk, "back", "back", "skip", "five eighths")
    assert talk.interview.draft.value("figures.gap.high") == "5/8 in"


def test_much_lash_is_asked_about(talk: CardTalk) -> None:
    go_to(talk, "pedal.lash")
    assert "slack is much" in say(talk, "half an inch")[0].text
    assert talk.interview.draft.value("pedal.lash") is None
    say(talk, "no", "half an inch", "check")
    assert talk.interview.draft.value("pedal.lash") == "1/2 in"


@pytest.mark.parametrize("words", ["I dont know", "don't know", "note I don't know", "dunno mate"])
def test_a_document_nobody_knows_is_asked_for(talk: CardTalk, words: str) -> None:
    go_to(talk, "source")
    assert "needs its document" in say(talk, words)[0].text
    talk.beforehand("source", words.removeprefix("note "))
    assert talk.interview.at == "source"
    say(talk, "note no document")
    assert talk.interview.draft.value("source") == "no document"


def test_back_no_and_correct(talk: CardTalk, tmp_path: Path) -> None:
    assert say(talk, "back")[0].text == "Nothing to take back."
    say(talk, *HEAD, "plate", "fine")
    assert talk.interview.at == "ring.lug"
    say(talk, "no", "coarse")
    assert talk.interview.draft.value("ring.type") == "coarse"
    say(talk, "done")
    assert say(talk, "correct that")[-1].text.startswith("Correct which?")
    assert say(talk, "the gap")[-1].text == "Gap, the lowest? Or skip."
    say(talk, "half to nine sixteenths", "skip")
    assert talk.interview.at == "review"
    assert say(talk, "no")[-1].text == "Gap, what to aim for? Or skip."
    say(talk, "start over")
    assert talk.interview.at == "unit" and not talk.interview.draft.answers
    talk.close()
    assert not (tmp_path / NAME).exists()


def test_stop_leaves_off(talk: CardTalk, begin: Begin) -> None:
    said = say(talk, *HEAD, "stop")
    assert talk.interview.left_off and "Nothing answered is lost" in said[0].text
    talk.close()
    assert begin().interview.at == "ring.lock"


def test_a_card_that_stands_is_replaced_only_when_told(begin: Begin, tmp_path: Path) -> None:
    """The old one is kept beside it; what nobody asked for stays on the card."""
    path = tmp_path / "old name.toml"
    path.write_text(
        'unit = "T-9"\n[stops]\nheight = "1/8 in"\n[figures]\nsource = "page 1"\nset_by = "7"\n'
        'gap = "1/2 to 9/16"\npedal-height = { low = "8 in" }\n',
        "utf-8",
    )
    was = path.read_text("utf-8")
    talk = begin()
    assert say(talk, "t 9")[0].text.startswith("T-9 has a card: old name.toml.")
    say(talk, "T-10")
    assert talk.interview.draft.value("unit") == "T-10"
    say(talk, "no", "T9", "replace", "12", "page 3", "done", "correct the pedal height", "7 in")
    say(talk, "done", "check")
    talk.close()
    assert talk.path == path and path.with_name("old name.toml.old").read_text("utf-8") == was
    card = load_card(path)
    gap, height = card.figures["gap"], card.figures["pedal-height"]
    assert gap is not None and height is not None
    assert (gap.low_in, gap.high_in, gap.source) == (0.5, 0.5625, "page 1, set by 7")
    assert (height.low_in, height.source) == (7.0, "page 3, set by 12")
    assert card.height_turn_in == 0.125


def test_from_a_finished_record(
    begin: Begin, dialogs: Dialogs, texts: CardWords, tmp_path: Path
) -> None:
    over = from_record(DEMO / "records" / "metric_job.jsonl")
    talk, said = CardTalk.begin(tmp_path, dialogs, texts, over)
    assert "record metric_job.jsonl, opened with truck_m31.toml" in said[0].text
    talk.close()
    talk = begin()  # gone on with
    say(talk, "4", "none other", "done", "check")
    talk.close()
    made, was = load_card(tmp_path / "m-31.toml"), load_card(DEMO / "truck_m31.toml")
    for name in ("unit", "units", "lug_in", "thread", "longer", "ratio", "traits", "figures"):
        assert getattr(made, name) == getattr(was, name), name
    assert made.left is not None
    assert (made.left.record, made.left.by, made.left.lugs) == ("metric_job.jsonl", "7", 4)
    assert made.left.readings_in["gap"] == pytest.approx(13.1 / 25.4)
    assert "# Taken over from record metric_job.jsonl" in made.text
    shown = "\n".join(card_lines(made))
    assert "Left by the last job, record metric_job.jsonl, signed off by 7" in shown


def test_a_record_does_not_replace_a_card_unasked(begin: Begin, tmp_path: Path) -> None:
    """The truck's card that stands there is replaced only when told; what was left set stays."""
    path = tmp_path / "mine.toml"
    path.write_text('unit = "M 31"\n[pedal]\nlash = "1/8 in"\n', "utf-8")
    over = from_record(DEMO / "records" / "metric_job.jsonl")
    talk = begin(tmp_path, over)
    told = say(talk, "4", "none other", "done", "check")[0].text
    assert told == "M-31 has a card: mine.toml. Say replace, or stop."
    assert "mine.toml" in say(talk, "check")[-1].text and not talk.interview.done
    assert say(talk, "back")[-1].text.startswith("Keep this card?")
    say(talk, "check", "replace")
    talk.close()
    assert talk.path == path and path.with_name("mine.toml.old").exists()
    talk = begin()
    say(talk, "m31", "replace", "5", "a list", "done", "check")
    talk.close()
    left = load_card(path).left
    assert left is not None and left.record == "metric_job.jsonl" and left.by == "7"


def test_what_no_card_can_be_taken_from(begin: Begin, tmp_path: Path) -> None:
    whole = (DEMO / "records" / "first_job.jsonl").read_bytes()
    lines = whole.splitlines(keepends=True)
    damaged, cut = tmp_path / "damaged.jsonl", tmp_path / "cut.jsonl"
    damaged.write_bytes(whole.replace(b"nine sixteenths", b"five sixteenths", 1))
    cut.write_bytes(b"".join(lines[:20]))
    with pytest.raises(CardError, match="damaged"):
        from_record(damaged)
    with pytest.raises(CardError, match="not signed off"):
        from_record(cut)
    with pytest.raises((CardError, RecordError)):
        from_record(tmp_path / "none.jsonl")
    talk = begin(tmp_path / "cards")
    say(talk, "T-9")
    talk.close()
    with pytest.raises(CardError, match="a card is being made"):
        begin(tmp_path / "cards", from_record(DEMO / "records" / "first_job.jsonl"))


def test_a_fleet_s_cards_by_unit(tmp_path: Path) -> None:
    """None, one or two; a broken card hinders nobody, but is named where it may be the one."""
    for name in ("t104", "m31", "s22"):
        shutil.copy(DEMO / f"truck_{name}.toml", tmp_path)
    (tmp_path / "notes.txt").write_text("no card")
    for unit in ("T-104", "t104", "T 104"):
        assert card_of(tmp_path, unit).unit == "T-104"
    assert chosen(tmp_path / "truck_m31.toml", "m31").unit == "M-31"
    with pytest.raises(CardError, match="there are M-31, S-22, T-104"):
        card_of(tmp_path, "T-10")
    with pytest.raises(CardError, match="is the card of M-31, not of T-104"):
        chosen(tmp_path / "truck_m31.toml", "T-104")
    with pytest.raises(CardError, match="say which truck with --unit"):
        chosen(tmp_path)
    (tmp_path / "broken.toml").write_text("[ring]\nlug = 3\n")
    assert card_of(tmp_path, "T-104").unit == "T-104"
    with pytest.raises(CardError, match=r"not readable: broken.toml, line 2: ring\.lug"):
        card_of(tmp_path, "X-1")
    shutil.copy(DEMO / "truck_t104.toml", tmp_path / "again.toml")
    with pytest.raises(CardError, match=r"2 cards .* for T-104: again.toml and truck_t104.toml"):
        card_of(tmp_path, "T-104")
    with pytest.raises(CardError, match="name a folder"):
        card_of(tmp_path / "nowhere", "T-104")


def within(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str
) -> tuple[int, str, str]:
    """The program in this process: what a shell would see, without waiting for a start."""
    monkeypatch.setattr(sys, "argv", ["lugcall", *arguments])
    code = 0
    try:
        run()
    except SystemExit as end:
        code = int(end.code or 0)
    return code, *capsys.readouterr()


def test_on_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    cards, records = str(tmp_path / "cards"), str(tmp_path / "records")
    first = ("--unit", "T-7", "--code", "12", "--document", "T-7 manual (invented), page 12")
    done = lugcall("card", "--new", cards, *first, stdin="\n".join(SCRIPT[5:]).encode())
    assert done.returncode == 0 and "Kept as t-7.toml." in done.stdout, done.stderr
    assert "T-7" in within(monkeypatch, capsys, "card", cards)[1]
    assert "shop rule 7" in within(monkeypatch, capsys, "card", cards, "--unit", "t7")[1]
    report = json.loads(within(monkeypatch, capsys, "card", cards, "--unit", "t7", "--json")[1])
    assert report["figures"]["gap"]["target_in"] == 17 / 32
    job = lugcall("chat", "--card", cards, "--unit", "T-7", "--records", records, stdin=b"done\n")
    assert job.returncode == 0 and "Card: T-7." in job.stdout
    readings = ("--gap", "0.66 in", "--clearance", "40 thou")
    mine = ("--card", cards, "--unit", "T-7")
    code, out, told = within(monkeypatch, capsys, "plan", *mine, *readings)
    assert code == 0 and "5 lugs tighter" in out, told
    code, _, told = within(monkeypatch, capsys, "cause", "slips", *mine, "--json")
    assert code == 0, told
    (tmp_path / "none").mkdir()
    for arguments, told in (
        (("cause", "slips", "--card", cards, "--unit", "T-8"), "no card in"),
        (("card",), "name a card"),
        (("card", str(tmp_path / "none")), "card --new"),
        (("card", cards, "--unit", "T-8"), "no card in"),
        (("chat", "--card", cards), "--unit"),
        (("chat", "--unit", "T-7"), "--card FOLDER"),
        (("card", "--new", str(DEMO / "truck_t104.toml")), "is a file"),
        (("card", cards, "--from", "x.jsonl"), "go with --new"),
        (("card", cards, "--listen"), "go with --new"),
        (("card", "--new", cards, "--from", "x.jsonl"), "there is no record x.jsonl"),
        (("card", "--new", cards, "--from", cards + "/t-7.toml"), "is no record"),
    ):
        code, _, line = within(monkeypatch, capsys, *arguments)
        assert code != 0 and told in line, arguments
        assert len(line.strip().splitlines()) == 1, line


def test_left_off_on_the_command_line(tmp_path: Path) -> None:
    done = lugcall("card", "--new", str(tmp_path), stdin=b"T-9\n12\n")
    assert done.returncode == 0 and "carries on" in done.stderr
    assert "Going on with the card of T-9" in lugcall("card", "--new", str(tmp_path)).stdout


def test_every_answer_is_in_its_grammar(talk: CardTalk) -> None:
    """What a voice session would listen for holds what the script says; notes are free words."""
    digits = "zero one two three four five six seven eight nine".split()
    free = 0
    for line in SCRIPT:
        question = talk.interview.question
        named = question.kind in ("unit", "document")
        if line.startswith("note ") or (named and line not in ("no", "back")):
            free += 1
        else:
            grammar = expected(talk.interview, "tech", talk.asked)
            spoken = re.sub(r"\d", lambda m: f"{digits[int(m[0])]} ", line).strip()
            assert grammar.accepts(spoken.replace("-", " ")), (talk.interview.at, line)
        say(talk, line)
    assert talk.path is not None and free == 4


def test_every_choice_can_be_said(begin: Begin, texts: CardWords, tmp_path: Path) -> None:
    for question in (q for q in QUESTIONS if q.kind in ("choice", "thread")):
        said = THREADS if question.kind == "thread" else texts.questions[question.words].phrases
        talk = begin(tmp_path / question.key)
        go_to(talk, question.key)
        grammar = expected(talk.interview)
        for value, phrases in said.items():
            for phrase in phrases:
                say(talk, phrase)
                assert talk.interview.draft.value(question.key) == value, phrase
                say(talk, "back")
                assert re.search(r"[\d/]", phrase) or grammar.accepts(phrase.replace("-", " "))
        talk.close()


def test_speech_not_taken(talk: CardTalk) -> None:
    say(talk, *HEAD, "plate", *["skip"] * 7)
    assert talk.interview.at == "figures.gap.low"
    ear = {"decision": "choose", "alternatives": ["one half", "five eighths"]}
    said = unheard(talk, "tech", ear)
    assert said[0].text == "One half or five eighths?"
    say(talk, "the second")
    assert talk.interview.draft.value("figures.gap.low") == "5/8 in"
    assert unheard(talk, "tech", {"decision": "again"})[0].text == "Say again."
    assert unheard(talk, "tech", {"decision": "nothing"}) == []


def test_a_length_said_aloud_is_read_back(talk: CardTalk) -> None:
    """What was heard wrong does not get on the card unchecked; what is typed stands at once."""
    go_to(talk, "pedal.ratio")
    ear = {"decision": "accept"}
    assert heard(talk, "tech", "twelve", ear)[0].text == "12 to 1. Pedal ratio. Check?"
    assert heard(talk, "tech", "check", ear)[0].text == "12 to 1."
    heard(talk, "tech", "skip", ear)
    said = heard(talk, "tech", "five eighths", ear)
    assert [s.text for s in said] == ["5/8 in. Five eighths. Check?"]
    assert talk.interview.draft.value("figures.gap.low") is None
    assert talk.interview.allowed() == ["check", "no"] and talk.interview.pending is not None
    assert heard(talk, "tech", "repeat", ear) == said
    assert heard(talk, "tech", "no", ear)[0].text == "Dropped."
    heard(talk, "tech", "five eighths", ear)
    assert heard(talk, "tech", "one half", ear)[0].text == "1/2 in. One half. Check?"
    heard(talk, "tech", "check", ear)
    assert talk.interview.draft.value("figures.gap.low") == "1/2 in"
    say(talk, "nine sixteenths")
    assert talk.interview.draft.value("figures.gap.high") == "9/16 in"


@pytest.mark.parametrize(
    ("words", "ratio"),
    [("12", 12), ("11.8 to 1", 11.8), ("twelve", 12), ("thirty", 30), ("eleven point eight", 11.8)],
)
def test_ratios_as_they_are_said(words: str, ratio: float, talk: CardTalk) -> None:
    go_to(talk, "pedal.ratio")
    assert say(talk, words)[0].text == f"{ratio:g} to 1."
    assert talk.interview.draft.value("pedal.ratio") == ratio


@pytest.mark.parametrize(
    ("words", "unit"),
    [
        *(("T-104", "T-104"), ("t104", "T104"), ("t one oh four", "T-104")),
        *(("tango one hundred four", "T-104"), ("kilo forty", "K-40"), ("m dash 31", "M-31")),
        *(("seven seven", "77"), ("the red one", ""), ("", ""), ("../../x", ""), ("a" * 40, "")),
    ],
)
def test_units_as_they_are_said(words: str, unit: str) -> None:
    """Letters and figures; nothing that could be another folder."""
    assert unit_said(words) == unit


def test_threads_as_they_are_said() -> None:
    """Every phrase means one published thread, whose lead the arithmetic knows."""
    phrases = [p for said in THREADS.values() for p in said]
    assert len(phrases) == len(set(phrases))
    for name, said in THREADS.items():
        assert lead_in(name) > 0
        assert all(thread_said(phrase) == name for phrase in said)
    assert thread_said("M12 x 1.75") == "M12 x 1.75" and thread_said("m12x1.8") == ""


KEYS = st.text(min_size=1, max_size=8)
SCALARS = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"])),
    st.integers(-(2**40), 2**40),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
)


@given(st.dictionaries(KEYS, st.one_of(SCALARS, st.dictionaries(KEYS, SCALARS, min_size=1))))
@examples(60)
def test_toml_reads_back(tables: dict[str, Any]) -> None:
    assert tomllib.loads(toml_text({"s": {"t": tables}})) == {"s": {"t": tables}}
    assert tomllib.loads(toml_text(tables)) == tables


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.long
def test_whatever_is_said_the_card_can_be_read(
    seed: int, begin: Begin, dialogs: Dialogs, texts: CardWords
) -> None:
    """Random words from everybody's mouth: no traceback, and the draft gives the same card."""
    chance = random.Random(seed)
    phrases = [p for m in dialogs.words.values() for p in m.phrases]
    phrases += [p for a in texts.questions.values() for said in a.phrases.values() for p in said]
    lengths = ["half an inch", "nine sixteenths", "eight inches", "12.7 mm", "27 thou"]
    lengths.append("1/2 to 9/16")
    other = [*lengths, "replace", "from page 2", "correct the gap", "T-9", "12", "", "½", "note x"]
    talk = begin()
    for _ in range(150):
        right = chance.random() < 0.6
        usual = RIGHT.get(talk.interview.at, chance.choice([*lengths, "skip"]))
        talk.hear("tech", usual if right else chance.choice(chance.choice([phrases, other])))
        if talk.interview.finished:
            kept = talk.path is not None and bool(load_card(talk.path).unit)
            assert kept == talk.interview.done
            talk.close()
            talk = begin()
        if chance.random() < 0.1:
            here = (
                talk.interview.draft.answers,
                talk.interview.draft.at,
                talk.interview.draft.text(),
            )
            talk.close()
            talk = begin()
            again = talk.interview.draft
            assert (again.answers, again.at, again.text()) == here
        card_from_text(talk.interview.draft.text(), "now.toml")
    talk.close()


@rows_of("damaged_dialogs.txt", "where", "old", "new", "part")("card questions")
def test_damaged_words_are_named(where: str, old: str, new: str, part: str, tmp_path: Path) -> None:
    shop = Path(shutil.copytree(DIALOGS, tmp_path / "dialogs"))
    path = shop / "en" / f"{where}.toml"
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(DialogError) as caught:
        load_card_words(shop)
    assert part in str(caught.value) and "card.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_reply_left_out_is_said_as_in_ours(tmp_path: Path, texts: CardWords) -> None:
    """A shop's file made for an earlier lugcall still serves; a question left out is named."""
    path = Path(shutil.copytree(DIALOGS, tmp_path / "dialogs")) / "en" / "card.toml"
    text = path.read_text("utf-8")
    path.write_text(text.replace("no_lug =", "# no_lug =", 1), "utf-8")
    assert load_card_words(tmp_path / "dialogs").replies == texts.replies
    path.write_text(re.sub(r"\[unit\](?:\n.+)+", "", text), "utf-8")
    with pytest.raises(DialogError, match=r"\[unit\] is missing"):
        load_card_words(tmp_path / "dialogs")
