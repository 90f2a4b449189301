"""The truck card: what may stand on it, what an error says, whose figure is used."""

import re
from pathlib import Path

import pytest

from assistant.card import Card, CardError, card_from_text, default_card, load_card
from assistant.card.show import card_lines, card_report
from assistant.conversation import Session
from assistant.texts.dialogs import Dialogs
from tests.tables import length_in, rows_of


@rows_of("damaged_cards.txt", "text", "line", "told")("card")
def test_errors_name_file_line_and_key(text: str, line: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "truck 7.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(CardError) as caught:
        load_card(path)
    message = str(caught.value)
    assert "\n" not in message and message.startswith("truck 7.toml")
    assert line == "0" or f"line {line}:" in message
    assert [part for part in told.split("|") if part not in message] == []


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b'unit = "T-1\n', r"^card\.toml: not valid TOML: .*line 1"),
        ('unit = "T-1"\n'.encode("utf-16"), "UTF-8"),
        (b"# card\n" * 100_000, "too large"),
    ],
)
def test_files_that_are_no_card(content: bytes, told: str, tmp_path: Path) -> None:
    path = tmp_path / "card.toml"
    path.write_bytes(content)
    with pytest.raises(CardError, match=told):
        load_card(path)
    path.unlink()
    with pytest.raises(CardError, match=r"no card .*card\.toml"):
        load_card(path)
    with pytest.raises(CardError, match="is no file"):
        load_card(tmp_path)


def test_a_byte_order_mark_is_read_or_named(tmp_path: Path) -> None:
    """Some editors put one; it must not end in a riddle."""
    path = tmp_path / "card.toml"
    path.write_bytes(b'\xef\xbb\xbfunit = "T-1"\n')
    try:
        assert load_card(path).unit == "T-1"
    except CardError as error:
        assert "card.toml" in str(error)


@rows_of("card_limits.txt", "value", "low", "high")("limits")
def test_forms_of_limits(value: str, low: str, high: str) -> None:
    figure = card_from_text(f"[figures]\ngap = {value}\n", "c").figures["gap"]
    wanted = [pytest.approx(length_in(end)) if end else None for end in (low, high)]
    assert [figure.low_in, figure.high_in] == wanted
    assert figure.source == "truck card"


@pytest.mark.parametrize("lug", ["0.027 in", "27 thou", "27 thousandths", "0.69 mm"])
def test_forms_of_a_lug(lug: str) -> None:
    card = card_from_text(f'[ring]\nlug = "{lug}"\n', "c")
    assert card.lug_in == pytest.approx(0.027, abs=2e-4)
    assert "ring.lug" not in card.defaulted


def test_lugs_of_the_ring() -> None:
    card = card_from_text('[ring]\nlugs = 18\nsource = "manual"\n', "c")
    assert card.ring_lugs == 18 and card_report(card)["ring_lugs"] == 18
    assert re.search(r"lugs of the ring +18 +manual", "\n".join(card_lines(card)))
    assert card_from_text("", "c").ring_lugs is None


@pytest.mark.parametrize("thread", ["1/2-20", "M12x1.75", "5/8-11"])
def test_threads(thread: str) -> None:
    assert card_from_text(f'[rod]\nthread = "{thread}"\n', "c").lead_in > 0


def test_a_metric_card() -> None:
    text = '[shop]\nunits = "mm"\n[figures]\ngap = { low = "12.7", high = "14.3" }\n'
    card = card_from_text(text, "c")
    figure = card.figures["gap"]
    assert figure is not None and figure.low_in == pytest.approx(0.5)
    shown = "\n".join(card_lines(card))
    assert "12.7 mm to 14.3 mm" in shown


LOOKED_AT = (
    *("tech:skip", "tech:done", "tech:done", "tech:done", "tech:done", "tech:done", "tech:done"),
    *("helper:ready", "helper:sound", "tech:sound", "helper:foot off", "tech:sound", "tech:sound"),
)
"""Made safe, and the chain looked at: the pedal's readings come next."""


def test_no_inches_in_a_metric_shop(dialogs: Dialogs, tmp_path: Path) -> None:
    text = '[shop]\nunits = "mm"\n[ring]\nlug = "0.69 mm"\n[figures]\nsource = "card"\n'
    card = card_from_text(text, "metric.toml")
    session, _ = Session.begin(card, dialogs, tmp_path)
    told = []
    for line in (
        *LOOKED_AT,
        *("helper:216", "helper:210", "helper:11", "helper:16", "helper:foot off"),
        *(
            "tech:done",
            "tech:all good",
            "tech:skip",
            "tech:16.8",
            "tech:check",
            "tech:1",
            "tech:check",
            "tech:why",
            "tech:check",
        ),
    ):
        who, _, words = line.partition(":")
        told += session.hear(who, words)
    session.close()
    assert session.job.at == "ring_show"
    inches = [s.text for s in told if re.search(r"\d in\b", s.text)]
    assert not inches


def test_defaults_are_shown_as_such() -> None:
    card = card_from_text('[figures]\ngap = { low = "1/2 in" }\n', "c.toml")
    assert "figures.gap" not in card.defaulted
    assert {"ring.lug", "rod.thread", "figures.clearance", "pedal.ratio"} <= set(card.defaulted)
    shown = {line.split()[0]: line for line in card_lines(card) if line.startswith("  ")}
    assert "truck card" in shown["gap"] and "at least" in shown["gap"]
    assert "common practice" in shown["clearance"] and "common practice" in shown["lug"]
    assert "not on the card" in shown["pedal-height"]
    report = card_report(card)
    assert report["figures"]["gap"]["source"] == "truck card"
    assert "figures.free-travel" in report["defaulted"]


def test_no_card_is_all_defaults() -> None:
    card = default_card()
    assert all(f is None or "common practice" in f.source for f in card.figures.values())
    assert set(card.defaulted) >= {f"figures.{name}" for name in card.figures}


def test_a_figure_may_name_its_own_source() -> None:
    text = (
        '[figures]\nsource = "manual p. 3"\ngap = "1/2 to 9/16"\n'
        'clearance = { low = "3/32 in", source = "shop rule 7" }\n'
    )
    card = card_from_text(text, "c")
    gap, clearance = card.figures["gap"], card.figures["clearance"]
    assert (gap.source, clearance.source) == ("manual p. 3", "shop rule 7")


def test_replies_name_whose_figure_was_used(card: Card, dialogs: Dialogs, tmp_path: Path) -> None:
    lines = (*LOOKED_AT, "helper:8.5", "helper:8.25", "helper:5/8", "helper:3/4")
    for one, source in ((card, "test card"), (default_card(), "common practice")):
        session, _ = Session.begin(one, dialogs, tmp_path / source)
        said = []
        for line in lines:
            who, _, words = line.partition(":")
            said = session.hear(who, words)
        session.close()
        judged = [s.text for s in said if s.key == "reply:whose"]
        assert judged and all(source in text for text in judged)


def test_the_card_in_a_record_is_read_again_the_same(card: Card) -> None:
    assert card_from_text(card.text, card.name) == card
