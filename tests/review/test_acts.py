"""The lead's acts: lines at the end of a record's own chain; nothing before them changes."""

from __future__ import annotations

import errno
import json
import multiprocessing
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from assistant.act import Said
from assistant.conversation import Session
from assistant.record import Journal, RecordError, read_events, verify_file
from assistant.record.history import ACTS, JobHistory
from assistant.review import open_review
from assistant.review.acts import LeadError, WaitingQuestion, add, waiting
from assistant.review.transcript import transcript
from tests.records import HARD
from tests.review.jobs import Job, day, tell
from tests.review.test_pages import Page


@pytest.fixture(autouse=True)
def own_index(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LUGCALL_INDEX", str(home))


@pytest.fixture
def record(tmp_path: Path) -> Path:
    return Path(shutil.copy(HARD, tmp_path / "20261125-122433-t-104.jsonl"))


def test_acts_are_appended_and_nothing_else_changes(record: Path) -> None:
    """All four, in order; the bytes before stay; the chain and the seal on paper stay good."""
    before, paper = record.read_bytes(), verify_file(record).seal
    for act in ACTS:
        add(record, act, "l7", f"because {act}", "gap")
    raw = record.read_bytes()
    assert raw.startswith(before)
    kinds = [json.loads(line)["kind"] for line in raw[len(before) :].splitlines()]
    assert kinds == [f"lead-{act}" for act in ACTS]
    verdict = verify_file(record, paper)
    assert verdict.ok and verdict.closed and verdict.paper_seal == paper != verdict.seal
    job = JobHistory.read(record)
    assert [(a.act, a.lead, a.about) for a in job.acts] == [(a, "L7", "gap") for a in ACTS]
    assert job.standing == "reopened"


def test_a_cut_off_act_shows_against_the_newer_seal(record: Path) -> None:
    """The paper's seal does not cover the lead's lines; a seal taken after them does."""
    before = record.read_bytes()
    paper = verify_file(record).seal
    add(record, "reviewed", "L7")
    newer = verify_file(record).seal
    record.write_bytes(before)
    assert verify_file(record, paper).ok
    assert not verify_file(record, newer).ok


@pytest.mark.parametrize(
    ("act", "lead", "text", "says"),
    [
        ("reviewed", "J. Smith", "", "never a name"),
        ("reviewed", "SMITH", "", "never a name"),
        ("reviewed", "", "", "never a name"),
        ("question", "L7", "  ", "the question itself"),
        ("accepted", "L7", "", "the reason it is accepted"),
        ("reopened", "L7", "", "the reason it is reopened"),
        ("accepted", "L7", "x" * 501, "shorter"),
        ("question", "L7", "one two three four five six seven eight nine ten 11 12 13", "12 words"),
    ],
)
def test_what_does_not_fit_adds_nothing(
    record: Path, act: str, lead: str, text: str, says: str
) -> None:
    before = record.read_bytes()
    with pytest.raises(LeadError, match=says) as error:
        add(record, act, lead, text)  # type: ignore[arg-type]
    assert "\n" not in str(error.value) and record.read_bytes() == before


def test_the_same_act_twice_is_refused(record: Path) -> None:
    add(record, "reviewed", "L7")
    before = record.read_bytes()
    with pytest.raises(LeadError, match="already"):
        add(record, "reviewed", "L7")
    assert record.read_bytes() == before
    add(record, "reviewed", "L8")
    add(record, "reopened", "L7", "gap reads wide")
    with pytest.raises(LeadError, match="reopened already"):
        add(record, "reopened", "L8", "so I think")
    assert verify_file(record).ok


def test_an_open_job_takes_questions_only(
    session: Session, play: Callable[[Session, str], list[Said]]
) -> None:
    play(session, "done / done")
    path = session.journal.path
    with pytest.raises(LeadError, match="in use by a session or another lead"):
        add(path, "question", "L7", "chocks on a slope?")
    session.close()
    for act in ("accepted", "reopened"):
        with pytest.raises(LeadError, match="not signed off"):
            add(path, act, "L7", "why not")  # type: ignore[arg-type]
    add(path, "question", "L7", "chocks on a slope?")
    again, _ = Session.resume(path, session.dialogs)
    play(again, "done")
    again.close()
    assert verify_file(path).ok


def _lead(path: Path, code: str, times: int, out: multiprocessing.Queue[int]) -> None:
    done = 0
    for i in range(times):
        try:
            add(path, "question", code, f"number {i}")
            done += 1
        except LeadError:
            pass
    out.put(done)


def test_two_leads_at_once(record: Path) -> None:
    """Whatever both manage to add is one good chain with every act in it that was acknowledged."""
    before = len(read_events(record)[0])
    context = multiprocessing.get_context("fork")
    out: multiprocessing.Queue[int] = context.Queue()
    both = [context.Process(target=_lead, args=(record, c, 30, out)) for c in ("L1", "L2")]
    for one in both:
        one.start()
    done = sum(out.get(timeout=60) for _ in both)
    for one in both:
        one.join(60)
    events, problem = read_events(record)
    assert problem is None and done > 0 and len(events) == before + done


def test_a_second_lead_is_told_in_one_line(record: Path) -> None:
    with Journal.open(record), pytest.raises(LeadError, match="try again in a moment") as error:
        add(record, "reviewed", "L8")
    assert "\n" not in str(error.value)


def test_nothing_is_added_to_what_is_damaged_or_foreign(record: Path, tmp_path: Path) -> None:
    raw = bytearray(record.read_bytes())
    raw[len(raw) // 2] ^= 1
    record.write_bytes(raw)
    with pytest.raises(LeadError, match="BROKEN at line"):
        add(record, "reviewed", "L7")
    assert record.read_bytes() == raw
    foreign = tmp_path / "notes.jsonl"
    foreign.write_text("shopping list\n")
    with pytest.raises(LeadError, match="nothing was added"):
        add(foreign, "reviewed", "L7")
    with pytest.raises(RecordError):
        add(tmp_path / "none.jsonl", "reviewed", "L7")


def test_the_transcript_tells_them(record: Path) -> None:
    add(record, "question", "L7", "why 4 lugs\x1b[2J and not 5?", "ring")
    line = list(transcript(JobHistory.read(record)))[-2]
    assert "LEAD L7 QUESTION (ring): why 4 lugs\\x1b[2J and not 5?" in line


# --- A question waits for the next session on that truck, and is put once.


def three_jobs(folder: Path) -> list[Path]:
    """Two jobs of one truck and one of another, named as lugcall names them."""
    jobs = [Job("T-1", day(2025, 1, 1)), Job("T-1", day(2025, 2, 1)), Job("T-11", day(2025, 3, 1))]
    paths = tell(folder, jobs)
    return [
        path.rename(path.with_name(f"{path.name[:15]}-{job.unit.lower()}.jsonl"))
        for path, job in zip(paths, jobs, strict=True)
    ]


def texts(folder: Path, unit: str = "T-1") -> list[str]:
    return [one.text for one in waiting(folder, unit)]


def put(folder: Path, asked: WaitingQuestion, answer: str = "") -> Path:
    """A session in which a question was put, and answered, if it was."""
    with Journal.create(folder, "T-1", {"unit": "T-1"}) as journal:
        where = {"of_record": asked.record, "of_line": str(asked.line)}
        journal.append("notice", {"said": [], "step": "a", "question": asked.hash, **where})
        if answer:
            turn = {"step": "a", "after": "a", "who": "tech", "words": f"note {answer}", "said": []}
            act = {"meaning": "note", "who": "tech", "text": answer}
            journal.append("turn", {**turn, "act": act})
    return journal.path


def test_a_question_waits_until_it_is_answered(tmp_path: Path) -> None:
    """To have been put is not enough: the session may have ended there."""
    first, second, other = three_jobs(tmp_path)
    assert texts(tmp_path) == []
    add(first, "question", "L7", "Why 5 lugs?")
    add(first, "question", "L7", "Which gauge?")
    add(second, "question", "L8", "Who held the pedal?")
    add(other, "question", "L7", "Other truck?")
    three = ["Why 5 lugs?", "Which gauge?", "Who held the pedal?"]
    assert texts(tmp_path) == three
    assert texts(tmp_path, "T-11") == ["Other truck?"] and texts(tmp_path, "T-111") == []
    ask = waiting(tmp_path, "T-1")[0]
    assert (ask.lead, ask.record, ask.line) == ("L7", first.name, 51)
    put(tmp_path, ask)
    assert texts(tmp_path) == three
    put(tmp_path, ask, "it was worn")
    assert texts(tmp_path) == three[1:]


def test_a_question_is_asked_in_the_folders_looked_at_together(tmp_path: Path) -> None:
    """A job in one bay is asked about in the next, once a lead had both before him."""
    first, other = (tmp_path / "shop" / f"bay-{n}" for n in (1, 2))
    add(three_jobs(first)[0], "question", "L7", "Why 5 lugs?")
    other.mkdir()
    assert texts(other) == []
    with open_review([tmp_path / "shop"]):
        pass
    assert texts(other) == texts(first) == ["Why 5 lugs?"]
    put(other, waiting(other, "T-1")[0], "it was worn")
    assert texts(other) == texts(first) == []


def test_the_answer_is_shown_and_linked_both_ways(
    tmp_path: Path, lugcall: Callable[..., Result], home: Path
) -> None:
    shop = tmp_path / "shop"
    path = three_jobs(shop)[0]
    add(path, "question", "L7", "Why 5 lugs?", "ring")
    told = lugcall("review", shop).output
    assert "T-1, L7 asks: Why 5 lugs? (open; it is put when the next job on this" in told
    lugcall("pages", shop, "--out", tmp_path / "out")
    answered = put(shop, waiting(shop, "T-1")[0], "it was worn")
    told = lugcall("review", shop).output
    assert "L7 asks: Why 5 lugs? ANSWERED" in told and "it was worn" in told
    assert f"{answered}, line 3" in told and str(path) in told
    lugcall("pages", shop, "--out", tmp_path / "out")
    pages = {p: Page(p.read_text("utf-8")) for p in (tmp_path / "out" / "jobs").glob("*.html")}
    asking = next(
        p for p, page in pages.items() if "Why 5 lugs?" in page.words and "L7" in page.words
    )
    answering = next(p for p, page in pages.items() if "note it was worn" in page.words)
    assert "QUESTION of the lead answered" in pages[asking].words
    assert f"it was worn {answered_day(answered)}, {answered.name}, line 3" in pages[asking].words
    links = [{a.get("href") for _, a in pages[page].tags} for page in (asking, answering)]
    assert f"{answering.name}#line-3" in links[0] and f"{asking.name}#line-51" in links[1]
    add(path, "reviewed", "L7")
    assert "L7 asks" not in lugcall("review", shop).output


def answered_day(path: Path) -> str:
    return JobHistory.read(path).lines[-1].at[:10]


def test_a_lead_never_cuts_a_torn_line(
    session: Session, play: Callable[[Session, str], list[Said]], record: Path
) -> None:
    """It is the technician's, whose session repairs it; behind the sign-off it is a lead's own."""
    play(session, "done / done")
    path = session.journal.path
    session.close()
    path.write_bytes(path.read_bytes() + b'{"at":"2026-')
    before = path.read_bytes()
    for act in ("reviewed", "question"):
        with pytest.raises(LeadError, match="lugcall resume repairs it"):
            add(path, act, "L7", "chocks on a slope?")  # type: ignore[arg-type]
        assert path.read_bytes() == before
    record.write_bytes(record.read_bytes() + b'{"at":"2026-')
    add(record, "reviewed", "L7")
    job = JobHistory.read(record)
    assert [line.kind for line in job.lines[-2:]] == ["repaired", "lead-reviewed"]
    assert job.own_lines[-1] is job.closed


def test_a_lead_is_told_the_seal_that_there_is(
    session: Session, play: Callable[[Session, str], list[Said]], record: Path,
    lugcall: Callable[..., Result],
) -> None:  # fmt: skip
    play(session, "done / done")
    session.close()
    told = lugcall("lead", "reviewed", session.journal.path, "--by", "L7").output
    assert "there is no seal on paper yet" in told and "covers up to" not in told
    assert "covers up to the sign-off" in lugcall("lead", "reviewed", record, "--by", "L7").output


@pytest.mark.parametrize("about", ["line 121", "line 900", "the gap, line 0", "Line 4000"])
def test_an_act_is_about_a_line_that_is_there(about: str, record: Path) -> None:
    before = record.read_bytes()
    with pytest.raises(LeadError, match=r"there is no .* it has 115; nothing was added"):
        add(record, "question", "L7", "why?", about)
    assert record.read_bytes() == before
    add(record, "question", "L7", "why?", "the gap, line 115")


def test_on_a_read_only_disk_a_lead_is_told_what_he_can_do(
    record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """He need stop no work and resume no job."""

    def refused(*_: object, **__: object) -> int:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("assistant.record.journal.named_file.descriptor", refused)
    with pytest.raises(
        LeadError, match="the disk or folder is read-only; make it writable, then do"
    ) as e:
        add(record, "reviewed", "L7")
    assert "resume" not in str(e.value) and "Stop work" not in str(e.value)


def test_a_question_is_open_until_it_is_answered_or_withdrawn(
    tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    """Whatever else the lead does with the job, in the session and in his own list; then it is over
    in both. One of several is taken back by its line, and an answer stays until he has seen it."""
    first, second, _ = three_jobs(tmp_path)

    def both() -> list[str]:
        lines = lugcall("review", tmp_path).output.splitlines()
        listed = [line.partition("asks: ")[2].split(" (open")[0] for line in lines]
        waits = texts(tmp_path)
        assert sorted(filter(None, listed)) == sorted(waits)
        return waits

    add(first, "question", "L7", "Why 5 lugs?")
    add(second, "question", "L7", "Which gauge?")
    add(second, "question", "L7", "Whose gauge?")
    for act in ("accepted", "reviewed", "reopened"):
        add(first, act, "L7", "as he told me")  # type: ignore[arg-type]
        add(second, act, "L7", "as he told me")  # type: ignore[arg-type]
    assert both() == ["Why 5 lugs?", "Which gauge?", "Whose gauge?"]
    line = waiting(tmp_path, "T-1")[1].line
    done = lugcall("lead", "withdrawn", second, "--by", "L7", "--about", f"line {line}")
    assert done.exit_code == 0 and both() == ["Why 5 lugs?", "Whose gauge?"], done.output
    with pytest.raises(LeadError, match=f"no open question in line {line}; nothing was added"):
        add(second, "withdrawn", "L7", "", f"line {line}")
    add(first, "withdrawn", "L7")
    assert both() == ["Whose gauge?"] and verify_file(first).ok
    with pytest.raises(LeadError, match="has no open question; nothing was added"):
        add(first, "withdrawn", "L7")
    add(first, "question", "L7", "Still: why 5 lugs?")
    assert both() == ["Still: why 5 lugs?", "Whose gauge?"]
    put(tmp_path, waiting(tmp_path, "T-1")[1], "the foreman's")
    told = lugcall("review", tmp_path).output
    assert "Whose gauge? ANSWERED" in told and texts(tmp_path) == ["Still: why 5 lugs?"]
    add(second, "reviewed", "L7")
    assert "Whose gauge?" not in lugcall("review", tmp_path).output


def test_nothing_to_read_is_no_question(tmp_path: Path) -> None:
    assert waiting(tmp_path / "none", "T-1") == []
    (tmp_path / "20250101-080000-t-1.jsonl").write_bytes(b"\x00junk" * 1000)
    (tmp_path / "20250102-080000-t-1.jsonl").mkdir()
    assert waiting(tmp_path, "T-1") == [] and waiting(tmp_path, "") == []
