"""Pages of the lead: what a record holds is on them, escaped; nothing from elsewhere is needed."""

import copy
import json
import random
import re
import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from assistant.act import Said
from assistant.card import card_from_text
from assistant.conversation import Session
from assistant.record import RecordError, read_events, verify_file
from assistant.record.history import JobHistory
from assistant.review.acts import add
from assistant.review.pages.job_page import job_page
from assistant.texts.dialogs import Dialogs
from tests.heard import heard
from tests.records import DEMOS, HARD, events_of, reach, sealed

NASTY = "<script>alert(1)</script><img src=x onerror=alert(2)>'\"&"


class Page(HTMLParser):
    """The tags and the text of a page; raises on a tag that is closed without being open."""

    VOID = frozenset({"meta", "br", "input", "link", "img", "hr"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert tag in self.open, tag
        while self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "script"):
            self.text += data + " "

    @property
    def words(self) -> str:
        return " ".join(self.text.split())

    def ids(self) -> list[str]:
        return [v for _, a in self.tags for k, v in a.items() if k == "id" and v]


def made(path: Path) -> Page:
    return Page(job_page(path, path.parent))


def nothing_from_elsewhere(page: Page) -> None:
    """No network: every address is inside the page or a file beside it."""
    for tag, attributes in page.tags:
        for name in ("src", "href", "action", "data"):
            value = attributes.get(name) or ""
            assert not re.match(r"(?i)(https?:|//|javascript:|data:)", value), (tag, value)


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_a_job_page_of_every_demo_record(path: Path) -> None:
    """Whole, self-contained, ids unique, every link to a line leads to one; the seal is there."""
    page = made(path)
    nothing_from_elsewhere(page)
    ids = page.ids()
    assert len(ids) == len(set(ids)) and page.open == []
    for _, attributes in page.tags:
        href = attributes.get("href") or ""
        if href.startswith("#"):
            assert href[1:] in ids, href
    events = read_events(path)[0]
    assert [i for i in ids if i.startswith("line-")] == [f"line-{e.n + 1}" for e in events]
    assert f"Chain VERIFIED: all {len(events)} lines" in page.words
    assert verify_file(path).seal in page.words and "SIGNED OFF" in page.words


def test_what_the_hard_day_shows() -> None:
    """Readings with whose limits, moves with what was expected, holds, stops, what was skipped."""
    words = made(HARD).words
    for text in (
        "gap 21/32 in = 0.656 in OUT 0.551 in IN 1/2 to 9/16 in T-104 card (invented)",
        "ring: 4 lugs tighter line 72 told +5 lugs",
        "rod for the fork clearance: 1 turn shorter line 90",
        "ring told +5 lugs, moved +4 as called line 72",
        "odometer skipped, no reason given line 2",
        "stop by the technician at: turning the ring line 64",
        "the pedal was let up before it was asked for line 74",
        "DANGER A cranked engine takes fingers. The key stays with you. TECH: okay done line 11",
        "the lock plate bolt wants replacing next time",
        "gap as found: 2",
    ):
        assert text in words, text


def test_a_clutch_that_adjusts_itself_has_no_plan_and_no_ring() -> None:
    """The maker's procedure set it: named once, and nothing that lugcall would have planned."""
    words = made(HARD.with_name("self_adjusting_job.jsonl")).words
    assert "maker's procedure line 28" in words
    assert "Planned and measured" not in words and "0 lugs" not in words


def test_a_truck_in_millimetres_differs_by_tenths() -> None:
    words = made(HARD.with_name("metric_job.jsonl")).words
    assert "as planned" in words and " 0.0 mm" not in words


def test_a_page_escapes_what_people_said(
    dialogs: Dialogs, tmp_path: Path, play: Callable[[Session, str], list[Said]]
) -> None:
    card = card_from_text(
        f"unit = {json.dumps(NASTY)}\n[figures]\nsource = {json.dumps(NASTY)}\n"
        'gap = { low = "1/2 in", high = "9/16 in" }\n',
        "<b>card.toml",
    )
    session = Session.begin(card, dialogs, tmp_path)[0]
    play(session, f"done / note {NASTY} \x1b[2J")
    session.close()
    add(session.journal.path, "question", "L7", NASTY)
    page = made(session.journal.path)
    assert not [t for t, a in page.tags if t in ("script", "img") or "onerror" in a]
    assert page.words.count("<script>alert(1)</script>") >= 4
    assert "<b>card.toml" in page.words
    assert "NOT SIGNED OFF" in page.words and "QUESTION of the lead open" in page.words


def test_a_broken_chain_is_said_in_words(tmp_path: Path) -> None:
    path = Path(shutil.copy(HARD, tmp_path / "x.jsonl"))
    lines = path.read_bytes().splitlines(keepends=True)
    lines[60] = lines[60].replace(b"tech", b"tach", 1)
    path.write_bytes(b"".join(lines))
    page = made(path)
    assert "Chain BROKEN: line 61 was changed" in page.words
    assert "Nothing after the damage can be relied on" in page.words
    assert "SIGN-OFF NOT PROVEN" in page.words and "Nothing: all in" not in page.words
    assert "line-60" in page.ids() and "line-61" not in page.ids()
    path.write_bytes(HARD.read_bytes()[:-30])
    words = made(path).words
    assert "VERIFIED, but for a torn end: line 115 is torn" in words and "BROKEN" not in words
    for junk in (b"", b"no record\n"):
        path.write_bytes(junk)
        with pytest.raises(RecordError, match=r"x\.jsonl"):
            job_page(path, tmp_path)


def test_the_lead_on_the_page(tmp_path: Path) -> None:
    path = Path(shutil.copy(HARD, tmp_path / "x.jsonl"))
    paper = verify_file(path).seal
    add(path, "accepted", "L7", "odometer board is out for repair", "odometer")
    page = made(path)
    assert "L7 ACCEPTED odometer odometer board is out for repair line 116" in page.words
    assert f"Seal at sign-off: {paper} ." in page.words and "covers lines 1 to 115" in page.words
    assert verify_file(path).seal in page.words and "ACCEPTED by the lead" in page.words


def test_an_open_question_is_told_whatever_else_the_lead_did(tmp_path: Path) -> None:
    path = Path(shutil.copy(HARD, tmp_path / "x.jsonl"))
    add(path, "question", "L7", "which gauge?")
    add(path, "accepted", "L7", "so be it")
    words = made(path).words
    assert "ACCEPTED by the lead, QUESTION of the lead open" in words
    assert "which gauge? line 116 open" in words
    add(path, "withdrawn", "L7")
    words = made(path).words
    assert "which gauge? line 116 withdrawn" in words and "QUESTION of the lead open" not in words


def test_clips_are_pointed_at_not_copied(
    card: object, dialogs: Dialogs, tmp_path: Path, play: Callable[[Session, str], list[Said]]
) -> None:
    session = Session.begin(card, dialogs, tmp_path, keep_audio=True)[0]  # type: ignore[arg-type]
    reach(session, "found_height")
    sound = np.sin(np.arange(16_000) / 9.0).astype(np.float32)
    heard(session, "helper", "eight and a half", None, sound)
    session.close()
    path = session.journal.path
    clip = next(tmp_path.glob("*.clips/*.flac"))
    page = Page(job_page(path, tmp_path / "pages"))
    source = next(a["src"] for t, a in page.tags if t == "audio")
    assert source is not None and (tmp_path / "pages" / source).resolve() == clip.resolve()
    data = clip.read_bytes()
    clip.write_bytes(data + b"x")
    words = made(path).words
    assert "CHANGED: the clip of line" in words and "The record itself is whole." in words
    assert "Chain VERIFIED" in words and "relied on" not in words
    clip.unlink()
    page = made(path)
    assert "removed" in page.words and not [t for t, _ in page.tags if t == "audio"]


def test_holds_by_the_clock(
    card: object, dialogs: Dialogs, tmp_path: Path, play: Callable[[Session, str], list[Said]]
) -> None:
    now = [datetime(2026, 3, 2, 8, 0).astimezone()]

    def clock() -> datetime:
        now[0] += timedelta(seconds=5)
        return now[0]

    session = Session.begin(card, dialogs, tmp_path, clock)[0]  # type: ignore[arg-type]
    reach(session, "ring_hold")
    play(session, "h: holding")
    now[0] += timedelta(seconds=200)
    play(session, "stop")
    session.close()
    holds = JobHistory.read(session.journal.path).holds
    assert [(h.end, h.seconds) for h in holds] == [("stopped", 205.0)]
    words = made(session.journal.path).words
    assert "the pedal was held for 3 min 25 s" in words and "205 s LONG stopped" in words


def test_a_correction_stands_with_what_it_was(
    card: object, dialogs: Dialogs, tmp_path: Path, play: Callable[[Session, str], list[Said]]
) -> None:
    session = Session.begin(card, dialogs, tmp_path)[0]  # type: ignore[arg-type]
    reach(session, "found_height")
    play(session, "h: eight and a half / correct the pedal height to eight / check")
    session.close()
    readings = JobHistory.read(session.journal.path).readings
    told = [(r.kept.figures, r.was, r.replaced) for r in readings]
    assert told[0] == ("412,000 miles", "", False)
    assert told[1:] == [("8-1/2 in", "", True), ("8 in", "8-1/2 in", False)]
    assert "pedal height corrected from 8-1/2 in to 8 in" in made(session.journal.path).words


def _places(value: object) -> list[tuple[object, object]]:
    """Every (container, key) of JSON data."""
    out: list[tuple[object, object]] = []
    items = value.items() if isinstance(value, dict) else enumerate(value)  # type: ignore[arg-type]
    for key, inner in items:
        out.append((value, key))
        if isinstance(inner, dict | list):
            out += _places(inner)
    return out


def test_a_whole_chain_of_nonsense_is_a_page_or_one_line(tmp_path: Path) -> None:
    """Values of other kinds, taken away or put in, sealed anew: never another error, no markup."""
    rng = random.Random(5)
    lines = events_of(HARD)
    odd = [None, True, -1, 1e300, "x", NASTY, [], {}, [1], {"a": 1}, "2025-01-01"]
    path, pages = tmp_path / "x.jsonl", 0
    for i in range(60):
        events = copy.deepcopy(lines)
        for event in (rng.choice(events), events[-1 if i % 3 else 0]):
            places = [p for p in _places(event["data"]) if p[1] != "format"]
            for container, key in rng.sample(places, 1):
                if rng.random() < 0.3 and isinstance(container, dict):
                    container.pop(key, None)
                else:
                    container[key] = rng.choice(odd)  # type: ignore[index]
        path.write_bytes(sealed((e["at"], e["kind"], e["data"]) for e in events))
        try:
            page = made(path)
        except RecordError as error:
            assert "x.jsonl" in str(error) and "\n" not in str(error)
            continue
        pages += 1
        assert not [t for t, a in page.tags if t in ("script", "img") or "onerror" in a]
    assert pages > 5
