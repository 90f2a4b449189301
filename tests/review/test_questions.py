"""A lead's question waits for the next session on that truck, and is put once."""

from __future__ import annotations

from pathlib import Path

from assistant.record import Journal
from assistant.review.acts import add, waiting
from tests.review.jobs import Job, day, tell


def told(folder: Path) -> list[Path]:
    """Two jobs of one truck and one of another, named as lugcall names them."""
    jobs = [Job("T-1", day(2025, 1, 1)), Job("T-1", day(2025, 2, 1)), Job("T-11", day(2025, 3, 1))]
    paths = tell(folder, jobs)
    return [
        path.rename(path.with_name(f"{path.name[:15]}-{job.unit.lower()}.jsonl"))
        for path, job in zip(paths, jobs, strict=True)
    ]


def texts(folder: Path, unit: str = "T-1") -> list[str]:
    """What waits."""
    return [one.text for one in waiting(folder, unit)]


def test_a_question_waits_until_it_was_put(tmp_path: Path) -> None:
    """Oldest first, of this truck only; a later notice with its hash ends it."""
    first, second, other = told(tmp_path)
    assert texts(tmp_path) == []
    add(first, "question", "L7", "Why 5 lugs?")
    add(first, "question", "L7", "Which gauge?")
    add(second, "question", "L8", "Who held the pedal?")
    add(other, "question", "L7", "Other truck?")
    assert texts(tmp_path) == ["Why 5 lugs?", "Which gauge?", "Who held the pedal?"]
    assert texts(tmp_path, "T-11") == ["Other truck?"] and texts(tmp_path, "T-111") == []
    ask = waiting(tmp_path, "T-1")[0]
    assert ask.lead == "L7"
    with Journal.create(tmp_path, "T-1", {"unit": "T-1"}) as journal:
        journal.append("notice", {"said": [], "question": ask.hash})
    assert texts(tmp_path) == ["Which gauge?", "Who held the pedal?"]


def test_what_the_lead_settled_waits_no_longer(tmp_path: Path) -> None:
    """Reviewed after it, or accepted: nobody need be asked; asked anew, it waits again."""
    first, second, _ = told(tmp_path)
    add(first, "question", "L7", "Why 5 lugs?")
    add(first, "reviewed", "L7")
    add(second, "question", "L7", "Which gauge?")
    add(second, "accepted", "L7", "dial gauge, he told me")
    assert texts(tmp_path) == []
    add(first, "question", "L7", "Still: why 5 lugs?")
    assert texts(tmp_path) == ["Still: why 5 lugs?"]


def test_nothing_to_read_is_no_question(tmp_path: Path) -> None:
    """No folder, junk in it, a truck without a name: a session must begin all the same."""
    assert waiting(tmp_path / "none", "T-1") == []
    (tmp_path / "20250101-080000-t-1.jsonl").write_bytes(b"\x00junk" * 1000)
    (tmp_path / "20250102-080000-t-1.jsonl").mkdir()
    assert waiting(tmp_path, "T-1") == [] and waiting(tmp_path, "") == []
