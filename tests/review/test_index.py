"""The index keeps up with what changed, whatever the folder holds, and never writes to it."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from assistant import named_file
from assistant.record import Journal, RecordError, verify_file
from assistant.review import Review, open_review, refresh
from assistant.review.columns import COLUMNS
from assistant.review.index import Index
from assistant.review.questions import QUESTIONS
from tests.review.jobs import Job, day, fleet, record_of, tell

NEW = record_of(Job("T-9", day(2025, 1, 1)))


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder with twelve records of four trucks in ten bays."""
    tell(tmp_path / "shop", fleet(4, 12), bays=10)
    return tmp_path / "shop"


def jobs(review: Review) -> int:
    return len(review.rows(review.tables.jobs))


def files(review: Review) -> dict[str, dict[str, Any]]:
    return {Path(f["path"]).name: f for f in review.rows(review.tables.files)}


def first(shop: Path) -> Path:
    return sorted(shop.rglob("*.jsonl"))[0]


def test_only_what_is_new_or_changed_is_read(shop: Path, home: Path) -> None:
    """Twelve, none, the new one and the one written anew; nothing is written among the records."""

    def facts() -> dict[str, tuple[int, int]]:
        paths = [shop, *shop.rglob("*")]
        return {str(p): (p.stat().st_size, p.stat().st_mtime_ns) for p in paths}

    before = facts()
    for read in (12, 0):
        with open_review([shop], home=home) as review:
            assert (review.refreshed[0].read, jobs(review)) == (read, 12)
    assert facts() == before
    (shop / "new.jsonl").write_bytes(NEW)
    os.utime(first(shop), ns=(1, 1))
    with open_review([shop], home=home) as review:
        assert (review.refreshed[0].read, jobs(review)) == (2, 13)


def test_a_growing_record_is_read_again(tmp_path: Path, home: Path) -> None:
    """Cut at any line, then signed off: each time as if it were read for the first time."""
    lines = NEW.splitlines(keepends=True)
    shop = tmp_path / "growing"
    shop.mkdir()
    for cut in (5, 6, 31, 40, len(lines) - 2, len(lines)):
        (shop / "job.jsonl").write_bytes(b"".join(lines[:cut]))
        with open_review([shop], home=home) as review:
            (job,) = review.rows(review.tables.jobs)
            assert (job["events"], job["signed_off"]) == (cut, cut == len(lines))
            grown = review.rows(review.tables.readings.order_by("n"))
        with open_review([shop], home=tmp_path / f"fresh-{cut}") as review:
            assert review.rows(review.tables.readings.order_by("n")) == grown


def test_a_changed_line_is_a_broken_chain_in_words(shop: Path, home: Path) -> None:
    """One digit of a reading changed: told by file and line, and first among what needs eyes."""
    path = first(shop)
    lines = path.read_bytes().splitlines(keepends=True)
    place = next(i for i, line in enumerate(lines) if b'"taken"' in line and i > 20)
    lines[place] = lines[place].replace(b'"who":"tech"', b'"who":"hlpr"', 1)
    path.write_bytes(b"".join(lines))
    with open_review([shop], home=home) as review:
        file = files(review)[path.name]
        eyes = review.ask("needs_eyes")
        assert jobs(review) == 12
    assert file["status"] == "BROKEN CHAIN"
    assert file["line"] == f"BROKEN CHAIN: {verify_file(path).problem}"
    assert f"line {place + 1} " in file["line"]
    assert (eyes[0]["job"], eyes[0]["chain"]) == (file["job"], "BROKEN CHAIN")


def test_foreign_files_are_a_line_each(shop: Path, home: Path) -> None:
    (shop / "list.jsonl").write_text("milk\neggs\n")
    (shop / "empty.jsonl").touch()
    (shop / "photo.jpg").write_bytes(os.urandom(5000))
    (shop / "folder.jsonl").mkdir()
    os.mkfifo(shop / "pipe.jsonl")
    (shop / "zero.jsonl").symlink_to("/dev/zero")
    (shop / "nowhere.jsonl").symlink_to(shop / "not there")
    with open_review([shop], home=home, patience_s=5) as review:
        found = files(review)
        assert jobs(review) == 12 and review.told == []
    assert found["list.jsonl"]["line"].startswith("not a record: line 1")
    assert found["empty.jsonl"]["line"] == "not a record: the file is empty"
    assert found["photo.jpg"]["line"] == "not a record: its name does not end in .jsonl"
    assert not {"pipe.jsonl", "zero.jsonl", "nowhere.jsonl"} & found.keys()
    assert all("\n" not in f["line"] for f in found.values())


def test_a_folder_that_vanished_is_told_and_shown_as_last_seen(shop: Path, home: Path) -> None:
    with open_review([shop], home=home):
        pass
    away = shop.with_name("away")
    shop.rename(away)
    with open_review([shop], home=home) as review:
        assert "it is not there; its 12 jobs are shown as last seen 20" in review.told[0]
        assert jobs(review) == 12
    shop.mkdir()
    with open_review([shop], home=home) as review:
        assert "12 files are no longer there, last seen 20" in review.told[0]
        assert jobs(review) == 12
        assert {f["status"] for f in files(review).values()} == {"missing"}
        seen = {f["seen_utc"] for f in files(review).values()}
    assert all(datetime.now(UTC).replace(tzinfo=None) - s < timedelta(minutes=5) for s in seen)
    shutil.rmtree(shop)
    away.rename(shop)
    with open_review([shop], home=home) as review:
        assert review.told == [] and jobs(review) == 12
        assert {f["status"] for f in files(review).values()} == {"record"}


def test_a_drive_that_hangs_is_given_up(
    shop: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_review([shop], home=home):
        pass
    listing = os.scandir

    def stuck(path: str) -> Any:
        time.sleep(30)
        return listing(path)

    with monkeypatch.context() as patched:
        patched.setattr(refresh.os, "scandir", stuck)
        start = time.monotonic()
        with open_review([shop], home=home, patience_s=0.3) as review:
            assert "it has not answered for 0.3 s; its 12 jobs are shown" in review.told[0]
            assert jobs(review) == 12
        assert time.monotonic() - start < 10
    os.utime(first(shop), ns=(1, 1))
    monkeypatch.setattr("assistant.review.refresh.read_file", lambda *_: time.sleep(30))
    with open_review([shop], home=home, patience_s=0.3) as review:
        assert "it has not answered for 0.3 s; 0 of 1 files were read" in review.told[0]
        assert jobs(review) == 12


def test_a_folder_never_seen_is_one_line(tmp_path: Path, home: Path) -> None:
    with open_review([tmp_path / "nowhere"], home=home) as review:
        assert review.told == [
            f"{tmp_path / 'nowhere'}: it is not there; nothing of it was read before"
        ]
        for name in QUESTIONS:
            assert len(review.ask(name)) == (name in ("totals", "due_count"))


_HOLDS_IT = """
import sys, time, duckdb
held = duckdb.connect(sys.argv[1])
print("held", flush=True)
time.sleep(float(sys.argv[2]))
"""


@contextmanager
def held(shop: Path, home: Path, seconds: float) -> Iterator[None]:
    """Another process has the index for so long."""
    command = [sys.executable, "-c", _HOLDS_IT, str(place(shop, home)), str(seconds)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None and other.stdout.readline() == "held\n"
        yield
        other.kill()


def place(shop: Path, home: Path) -> Path:
    return Index(duckdb.connect(), "any", shop, home).file


def test_two_leads_at_once_wait_for_each_other(shop: Path, home: Path) -> None:
    """The second says so in one line, and goes on when the first is done; not for ever."""
    told: list[str] = []
    with open_review([shop], home=home):
        pass
    shutil.copy(first(shop), shop / "another.jsonl")
    with held(shop, home, 30), pytest.raises(RecordError, match="try again") as error:
        open_review([shop], home=home, wait_s=0.2)
    assert "\n" not in str(error.value)
    with held(shop, home, 0.5), open_review([shop], home=home, wait=told.append) as review:
        assert (jobs(review), review.refreshed[0].read) == (12, 1)
    assert told == [f"{shop}: another lead has its index now; waiting for that to end"]


def test_without_a_place_for_the_index_it_works_in_memory(shop: Path, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with open_review([shop], home=tmp_path / "file" / "index") as review:
        assert jobs(review) == 12 and review.ask("totals")[0]["jobs"] == 12
        assert [line.split(" (")[0] for line in review.told] == [
            f"{shop}: its index cannot be kept"
        ]


_IMPORTED = """
import sys
from pathlib import Path
from assistant.review import open_review
from assistant.review.wording import summary
with open_review([Path(sys.argv[1])], home=Path(sys.argv[2])) as review:
    assert list(summary(review, 10))
print([name for name in ("ibis", "pandas", "pyarrow", "numpy") if name in sys.modules])
"""


def test_a_review_of_what_is_known_imports_little(shop: Path, home: Path) -> None:
    """Ibis alone takes longer than all the rest; it is imported when a question is new."""
    command = [sys.executable, "-W", "ignore", "-c", _IMPORTED, str(shop), str(home)]
    for imported in (True, False):
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert ("ibis" in done.stdout) == imported, done.stderr
    assert done.stdout == "[]\n"


def test_values_go_in_as_they_are(tmp_path: Path) -> None:
    index = Index(duckdb.connect(), "one", tmp_path, tmp_path / "index")
    index.write()
    rows = [
        {"job": 1, "n": -(1 << 61), "at_utc": 0, "text": "a\0b ⅜ \"'\n", "kind": ""},
        {"job": 2, "n": (1 << 62) - 1, "at_utc": 1_700_000_000_000_001},
    ]
    index.insert("doubts", rows)
    got = index.run("SELECT * FROM one.doubts ORDER BY job")
    assert [(r["n"], r["text"], r["kind"]) for r in got] == [
        (rows[0]["n"], rows[0]["text"], ""),
        (rows[1]["n"], None, None),
    ]
    assert [r["at_utc"] for r in got] == [
        datetime(1970, 1, 1),
        datetime(2023, 11, 14, 22, 13, 20, 1),
    ]


def test_copies_of_a_record_count_once(shop: Path, home: Path) -> None:
    path = first(shop)
    lines = path.read_bytes().splitlines(keepends=True)
    (shop / "backup.jsonl").write_bytes(b"".join(lines[:30]))
    with open_review([shop], home=home) as review:
        found = files(review)
        assert jobs(review) == 12
        assert found["backup.jsonl"]["status"] == "copy"
        assert path.name in found["backup.jsonl"]["line"]
    shutil.copy(path, shop / "second.jsonl")
    with open_review([shop], home=home) as review:
        assert jobs(review) == 12


def test_folders_that_overlap_count_each_job_once(shop: Path, home: Path, tmp_path: Path) -> None:
    """A bay given beside its shop; and a backup of the shop elsewhere, told in one line."""
    with open_review([shop / "bay-1", shop, shop], home=home) as review:
        assert jobs(review) == 12 and review.told == []
    backup = tmp_path / "backup"
    shutil.copytree(shop, backup)
    with open_review([backup, shop], home=home) as review:
        assert review.told == ["12 jobs stand in two folders; each is counted once"]
        assert jobs(review) == 12
        total = review.ask("totals")[0]["jobs"]
    assert total == 12


def test_a_clock_set_wrong_is_a_doubt(tmp_path: Path, home: Path) -> None:
    moments = iter([0, 10, -3600, -3590])
    base = datetime(2025, 3, 3, 9, tzinfo=UTC)
    opened = {"unit": "T-1", "card": {}, "said": []}
    turn = {"who": "tech", "words": "done", "step": "a", "after": "a", "said": []}
    shop = tmp_path / "clocks"
    with Journal.create(shop, "back", opened, lambda: base + timedelta(seconds=next(moments))) as j:
        for _ in range(3):
            j.append("turn", turn)
    with Journal.create(shop, "ahead", opened, lambda: datetime(2199, 1, 1, tzinfo=UTC)) as j:
        j.append("turn", turn)
    with open_review([shop], home=home) as review:
        d = review.tables.doubts
        told = [r["text"] for r in review.rows(d.filter(d.kind == "clock").order_by("text"))]
        times = {j["path"]: j["time_s"] for j in review.rows(review.tables.jobs)}
    assert told == ["line 1 is dated in the future", "the clock went back 1 h 0 min before line 3"]
    assert sorted(times.values()) == [0.0, 20.0]


@pytest.mark.parametrize(
    "name", ["кабина 7", "離合器", "مخلب", "é" * 60, "a'b\"c;--", "\n\t x", "caf\udce9"]
)
def test_file_names_in_any_alphabet(name: str, tmp_path: Path, home: Path) -> None:
    """As folder and as file; its job leads back to it, also where the name is no text."""
    path = tmp_path / name / f"{name}.jsonl"
    path.parent.mkdir()
    path.write_bytes(NEW)
    for read in (1, 0):
        with open_review([path.parent], home=home) as review:
            job = review.rows(review.tables.jobs)[0]
            assert job["path"] == path.name.replace("\udce9", "\\xe9")
            assert review.record_path(job["job"]) == path
            assert review.refreshed[0].read == read


@pytest.mark.parametrize("spoilt", ["all of it", "its first page", "its middle", "its layout"])
def test_a_damaged_index_is_built_anew(shop: Path, home: Path, spoilt: str) -> None:
    """One line, and all jobs are there; of another layout, without a line."""
    with open_review([shop], home=home):
        pass
    file = place(shop, home)
    if spoilt == "its layout":
        duckdb.connect(str(file)).execute("UPDATE about SET layout = 1").close()
    else:
        data = bytearray(file.read_bytes())
        at = {"all of it": 0, "its first page": 4200, "its middle": len(data) // 2}[spoilt]
        file.write_bytes(b"rubbish" if at == 0 else data[:at] + b"rubbish" + data[at + 7 :])
    with open_review([shop], home=home) as review:
        assert jobs(review) == 12 and len(review.rows(review.tables.files)) == 12
        assert all("damaged" in line for line in review.told) and len(review.told) <= 1
    with open_review([shop], home=home) as review:
        assert review.refreshed[0].read == 0 and review.told == []


def test_a_record_that_cannot_be_read_now_keeps_its_job(
    shop: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_review([shop], home=home):
        pass
    path = first(shop)
    os.utime(path, ns=(1, 1))
    real = named_file.descriptor

    def refused(file: Path, *flags: int) -> int:
        if file == path:
            raise PermissionError(13, "Permission denied")
        return real(file, *flags)

    with monkeypatch.context() as patched:
        patched.setattr(named_file, "descriptor", refused)
        with open_review([shop], home=home) as review:
            assert jobs(review) == 12
            assert files(review)[path.name]["status"] == "unreadable"
    with open_review([shop], home=home) as review:
        assert review.refreshed[0].read == 1
        assert files(review)[path.name]["status"] == "record"


_KILLED = """
import os, signal, sys
from pathlib import Path
from assistant.review import open_review, refresh
from assistant.review.columns import COLUMNS
from assistant.review.index import Index
folder, home, files = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
refresh.BATCH = 20
insert, batches = Index.insert, 0
def kill():
    os.kill(os.getpid(), signal.SIGKILL)
def counted(self, table, rows):
    global batches
    insert(self, table, rows)
    batches += table == "hearing"
    if files % 20 and batches > files // 20:
        kill()
Index.insert = counted
open_review([folder], home=home, progress=lambda done, _: kill() if done >= files else None)
"""


def killed(shop: Path, home: Path, files: int) -> set[int]:
    """A build killed with no warning once so many files are kept, or, where that is no whole number
    of batches, while the next batch is written; gives how many jobs the tables then have."""
    run = subprocess.run([sys.executable, "-c", _KILLED, str(shop), str(home), str(files)])
    assert run.returncode == -signal.SIGKILL
    with duckdb.connect(str(place(shop, home)), read_only=True) as index:
        count = "SELECT count(DISTINCT job) FROM"
        tables = ("jobs", "steps", "files")
        return {index.execute(f"{count} {table}").fetchall()[0][0] for table in tables}


def everything(review: Review) -> dict[str, list[str]]:
    return {
        name: sorted(
            repr({**row, "seen_utc": 0, "fresh_utc": 0})
            for row in review.run(f"SELECT * FROM {name}")
        )
        for name in COLUMNS
    }


def test_a_killed_build_goes_on_from_what_is_done(tmp_path: Path, home: Path) -> None:
    """Killed between batches and within one: only whole jobs are there, and none is read again."""
    shop = tmp_path / "shop"
    tell(shop, fleet(9, 100), bays=10)
    assert killed(shop, home, 20) == {20}
    assert killed(shop, home, 21) == {40}
    assert killed(shop, home, 20) == {60}
    with open_review([shop], home=home) as review:
        assert (review.told, review.refreshed[0].read) == ([], 40)
        resumed = everything(review)
    with open_review([shop], home=tmp_path / "at once") as review:
        assert review.refreshed[0].read == 100 == len(resumed["jobs"])
        assert everything(review) == resumed
