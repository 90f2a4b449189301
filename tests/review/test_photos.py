"""A photo beside a job: held by its hash, shown on its page, without the place it was taken at."""

import io
import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import jsonschema
import orjson
import pytest
from click.testing import CliRunner, Result
from PIL import ExifTags, Image, PngImagePlugin

import assistant.record
from assistant.card import Card
from assistant.cli.main import main
from assistant.conversation import Session
from assistant.record import Journal, verify_file
from assistant.record.clips import REMOVED
from assistant.record.events import WriteFailed
from assistant.record.history import JobHistory
from assistant.review import acts, open_review
from assistant.review.acts import LeadError
from assistant.review.evidence import photos
from assistant.review.evidence.photos import add, read_photo
from assistant.review.evidence.retention import look, remove
from assistant.review.pages.fleet_page import write_fleet, write_rest
from assistant.review.pages.job_page import job_page
from assistant.review.transcript import transcript
from assistant.texts.dialogs import Dialogs
from tests.records import HARD, reach
from tests.review.test_pages import Page

WORDS = "oil on the fork, left pad"
PLACE = (51.0, 30.0, 26.46)
TAKEN = "2026:11:25 12:31:07"
LINE = 1 + len(HARD.read_bytes().splitlines())


def picture(seed: int = 0) -> Image.Image:
    return Image.linear_gradient("L").resize((64, 48 + seed)).convert("RGB")


def jpeg(
    path: Path, gps: bool = False, owner: str = "", seed: int = 0, tail: bytes = b"", **how: Any
) -> Path:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = TAKEN
    if owner:
        exif[ExifTags.Base.Artist] = owner
    if gps:
        exif.get_ifd(ExifTags.IFD.GPSInfo).update({1: "N", 2: PLACE, 3: "W", 4: PLACE})
    out = io.BytesIO()
    picture(seed).save(out, "JPEG", exif=exif, quality=90, **how)
    path.write_bytes(out.getvalue() + tail)
    return path


@pytest.fixture
def record(tmp_path: Path) -> Path:
    (tmp_path / "shop").mkdir()
    return Path(shutil.copy(HARD, tmp_path / "shop" / "20261125-122433-t-104.jsonl"))


def kept_by(record: Path) -> list[Path]:
    return sorted((record.parent / f"{record.stem}.photos").glob("*"))


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [*map(str, words)])


def test_a_photo_is_held_by_its_hash_with_a_text(record: Path, tmp_path: Path) -> None:
    """Byte for byte, in one more line of the chain; the seal on paper stays good."""
    before, paper = record.read_bytes(), verify_file(record).seal
    photo = jpeg(tmp_path / "IMG_1.jpg")
    done = run("photo", record, photo, *WORDS.split(), "--by", "21")
    assert done.exit_code == 0 and "photo by 21" in done.output and "GPS" not in done.output
    assert record.read_bytes().startswith(before)
    (kept,) = kept_by(record)
    assert kept.read_bytes() == photo.read_bytes()
    verdict = verify_file(record, paper)
    assert verdict.ok and verdict.about_photos == "1 photo good"
    act = JobHistory.read(record).acts[-1]
    assert (act.act, act.lead, act.text, act.line) == ("photo", "21", WORDS, LINE)
    assert act.data["photo"]["taken"] == "2026-11-25T12:31:07"
    schema = Path(assistant.record.__file__).with_name("record.schema.json")
    last = orjson.loads(record.read_bytes().splitlines()[-1])
    jsonschema.validate(last, orjson.loads(schema.read_bytes()))
    (line,) = (x for x in transcript(JobHistory.read(record)) if "PHOTO" in x)
    assert f"BY 21 PHOTO: {WORDS}" in line
    with pytest.raises(LeadError, match="has this photo already"):
        add(record, photo, "21", WORDS)


def test_it_is_shown_on_the_page_with_its_text(record: Path, tmp_path: Path) -> None:
    """As it is now: the pages of a fleet are made again when a photo was changed or is gone."""
    add(record, jpeg(tmp_path / "a.jpg"), "21", '<b>"oil"')
    add(record, jpeg(tmp_path / "b.jpg", seed=5), "L7", "the pad again")

    def made() -> Page:
        with open_review([record.parent], tmp_path / "index") as desk:
            assert desk.rows(desk.tables.jobs)[0]["photos"] == 2
            files = [row["path"] for row in desk.rows(desk.tables.files)]
            assert [path for path in files if path.endswith(".jsonl")] == [record.name]
            write_rest(desk, tmp_path / "out", *write_fleet(desk, tmp_path / "out"), lambda t: t)
        (file,) = (tmp_path / "out" / "jobs").glob("*.html")
        return Page(file.read_text("utf-8"))

    page = made()
    images = [a for t, a in page.tags if t == "img"]
    assert [a["alt"] for a in images] == ['<b>"oil"', "the pad again"]
    copies = [tmp_path / "out" / "jobs" / str(a["src"]) for a in images]
    assert sorted(copy.name for copy in copies) == [file.name for file in kept_by(record)]
    files = {file.name: file for file in kept_by(record)}
    assert all(copy.read_bytes() == files[copy.name].read_bytes() for copy in copies)
    assert "added by 21" in page.words and "taken 2026-11-25 12:31" in page.words
    first = files[copies[0].name]
    first.write_bytes(bytes(reversed(first.read_bytes())))  # of the same size
    page = made()
    assert f"CHANGED: the photo of line {LINE} is not the one that was taken" in page.words
    assert not copies[0].exists() and copies[1].exists()
    first.unlink()
    page = made()
    assert "MISSING" in page.words and [t for t, _ in page.tags].count("img") == 1
    shutil.rmtree(first.parent)
    made()
    assert not copies[0].parent.exists()


def test_a_changed_photo_is_told_wherever_a_broken_record_is(record: Path, tmp_path: Path) -> None:
    """Fleet page, audit and review, with exit code 1, each time; the record itself is whole."""
    add(record, jpeg(tmp_path / "a.jpg"), "21", WORDS)
    shop, out, index = record.parent, tmp_path / "out", {"LUGCALL_INDEX": str(tmp_path / "index")}

    def shown(*words: object) -> Result:
        return CliRunner().invoke(main, [*map(str, words)], env=index)

    assert shown("review", shop).exit_code == 0
    (photo,) = kept_by(record)
    raw = photo.read_bytes()
    photo.write_bytes(raw[:-1] + b"x")
    not_the_one = f"the photo of line {LINE}"
    for _ in range(2):
        done = shown("review", shop)
        assert done.exit_code == 1 and "BROKEN" not in done.output
        assert done.output.startswith(f"{photo}: CHANGED: {not_the_one}"), done.output
        eye = done.output.partition("Needs eyes first:\n")[2]
        assert f"{not_the_one} is not the one that was taken" in eye.splitlines()[0]
    acts.add(record, "reviewed", "L7")
    assert not_the_one in shown("review", shop).output.partition("Needs eyes")[2]
    days = ("--since", "2026-01-01", "--until", "2030-01-01")
    done = shown("audit", shop, *days, "--out", tmp_path / "audit.html")
    assert done.exit_code == 1 and "1 file damaged or gone" in done.output
    assert not_the_one in Page((tmp_path / "audit.html").read_text("utf-8")).words
    shown("pages", shop, "--out", out)
    words = Page((out / "fleet.html").read_text("utf-8")).words
    assert "CHANGED: 1 photo or clip" in words and "BROKEN CHAIN in" not in words
    assert words.count(not_the_one) >= 3
    (page,) = (Page(one.read_text("utf-8")) for one in (out / "jobs").glob("*.html"))
    assert "Chain VERIFIED" in page.words and "The record itself is whole." in page.words
    assert "relied on" not in page.words and page.words.count(f"{not_the_one} is not") == 2
    photo.unlink()
    done = shown("audit", shop, *days, "--out", tmp_path / "audit.html")
    assert done.exit_code == 1 and "1 file damaged or gone" in done.output
    done = shown("review", shop)
    assert done.exit_code == 0 and f"{not_the_one} of {record.name} is gone" in done.output
    photo.write_bytes(raw)
    assert not_the_one not in shown("review", shop).output


def test_the_pages_can_be_carried_away(record: Path, tmp_path: Path) -> None:
    """Every link and picture is in the folder itself; none leads to the records."""
    add(record, jpeg(tmp_path / "a.jpg"), "21", WORDS)
    with open_review([record.parent], tmp_path / "index") as desk:
        write_rest(desk, tmp_path / "out", *write_fleet(desk, tmp_path / "out"), lambda t: t)
    carried = tmp_path / "stick"
    shutil.move(tmp_path / "out", carried)
    shutil.rmtree(record.parent)
    shown = 0
    for file in carried.rglob("*.html"):
        for tag, attributes in Page(file.read_text("utf-8")).tags:
            target = str(attributes.get("src") or attributes.get("href") or "#").partition("#")[0]
            assert not target or (file.parent / unquote(target)).is_file(), (file, target)
            shown += tag == "img"
    assert shown == 1


def test_verify_tells_a_changed_and_a_missing_photo(record: Path, tmp_path: Path) -> None:
    add(record, jpeg(tmp_path / "a.jpg"), "21", WORDS)
    (kept,) = kept_by(record)
    raw = kept.read_bytes()
    kept.write_bytes(raw[:-1] + b"x")
    done = run("verify", record)
    assert done.exit_code == 1 and f"the photo of line {LINE} was changed" in done.output
    kept.unlink()
    done = run("verify", record)
    assert done.exit_code == 0 and "0 photos good, 1 MISSING" in done.output
    kept.write_bytes(raw)
    assert verify_file(record).about_photos == "1 photo good"


def test_retention_removes_it_and_says_so(record: Path, tmp_path: Path) -> None:
    then = datetime(2027, 3, 1, 12, tzinfo=UTC)
    add(record, jpeg(tmp_path / "a.jpg"), "21", WORDS, lambda: then)
    add(record, jpeg(tmp_path / "b.jpg", seed=9), "21", WORDS, lambda: then + timedelta(days=80))
    found = look([record.parent], 30, then + timedelta(days=90))
    assert [one.line for one in found.old] == [LINE]
    assert remove(found, "L7") == (1, [])
    assert verify_file(record).ok
    assert verify_file(record).about_photos == "1 photo good, 1 removed"
    last = JobHistory.read(record).acts[-1]
    assert last.kind == REMOVED and last.text == "1 photo removed" and last.data["photos"]
    words = Page(job_page(record, tmp_path)).words
    assert "removed by the shop's rule" in words and "MISSING" not in words
    kept_by(record)[0].unlink()
    assert verify_file(record).about_photos == "0 photos good, 1 removed, 1 MISSING"


@pytest.mark.parametrize("how", ["exif", "png", "xmp", "film", "owner", "pictures"])
def test_the_place_it_was_taken_at_is_not_kept(record: Path, tmp_path: Path, how: str) -> None:
    """Nor its owner, nor what lies behind it; the picture, how it is held and the time are."""
    photo = tmp_path / "photo"
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><exif:GPSLatitude>51,30N</exif:GPSLatitude>'
    if how == "png":
        text = PngImagePlugin.PngInfo()
        text.add_text("Description", "GPS 51.5 N")
        picture().save(photo, "PNG", pnginfo=text)
    elif how == "pictures":
        picture().save(photo, "MPO", save_all=True, append_images=[picture()])
    else:
        more: dict[str, Any] = {"xmp": xmp} if how == "xmp" else {}
        more |= {"tail": b"\0\0\0\x18ftypmp42 GPS +51.5-000.1"} if how == "film" else {}
        jpeg(photo, gps=how == "exif", owner="Ann Owner" if how == "owner" else "", **more)
    done = run("photo", record, photo, "a pad", "--by", "L7")
    assert done.exit_code == 0, done.output
    assert ("GPS" in done.output) == (how in ("exif", "png", "xmp"))
    assert ("was left out" in done.output) == (how != "exif")
    (kept,) = kept_by(record)
    raw = kept.read_bytes()
    assert not any(word in raw for word in (b"GPS", b"Owner", b"ftyp"))
    with Image.open(kept) as now, Image.open(photo) as was:
        exif = now.getexif()
        assert not exif.get_ifd(ExifTags.IFD.GPSInfo) and getattr(now, "n_frames", 1) == 1
        held = was.getexif().get(ExifTags.Base.Orientation)
        assert exif.get(ExifTags.Base.Orientation) == held == (None if "p" in how[:1] else 6)
        apart = [abs(a - b) for a, b in zip(now.tobytes(), was.tobytes(), strict=True)]
    assert max(apart) <= 8
    assert verify_file(record).about_photos == "1 photo good"


def test_what_is_no_photo_is_refused_and_nothing_is_added(record: Path, tmp_path: Path) -> None:
    before = record.read_bytes()
    good = jpeg(tmp_path / "whole.jpg")
    picture().save(tmp_path / "x.gif")
    (tmp_path / "cut.jpg").write_bytes(good.read_bytes()[:-300])
    (tmp_path / "words.jpg").write_text("no picture")
    os.mkfifo(tmp_path / "pipe.jpg")
    with (tmp_path / "large.jpg").open("wb") as file:
        file.truncate(10**12)
    Image.new("1", (20_000, 20_000)).save(tmp_path / "bomb.png")
    said = {
        "x.gif": "no JPEG or PNG",
        "words.jpg": "no JPEG or PNG",
        "cut.jpg": "not whole",
        "pipe.jpg": "pipe or a device",
        "large.jpg": "too large",
        "bomb.png": "million pixels",
        "none.jpg": "not there",
        ".": "folder",
    }
    for name, why in said.items():
        done = run("photo", record, tmp_path / name, "a pad", "--by", "21")
        assert done.exit_code == 1 and why in done.output, done.output
        assert done.output.count("\n") == 1 and "Nothing was added" in done.output
    for words, code, why in (
        (" ", "21", "what the photo shows"),
        ("x", "Jo Smith", "never a name"),
    ):
        done = run("photo", record, good, words, "--by", code)
        assert done.exit_code == 1 and why in done.output and done.output.count("\n") == 1
    assert record.read_bytes() == before and not kept_by(record)


def test_a_disk_that_does_not_take_it_leaves_nothing(
    record: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, photo = record.read_bytes(), jpeg(tmp_path / "a.jpg")

    def full(*_: object) -> None:
        raise WriteFailed("no space left on the disk. Stop work")

    with monkeypatch.context() as m:
        m.setattr(Journal, "append", full)
        with pytest.raises(LeadError, match=r"no space left.*othing was added"):
            add(record, photo, "21", WORDS)
    assert record.read_bytes() == before and not kept_by(record)

    def no_room(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(photos, "write_whole", no_room)
    with pytest.raises(LeadError, match=r"no space left.*Nothing was added"):
        add(record, photo, "21", WORDS)
    assert record.read_bytes() == before


def test_an_open_job_takes_a_photo_and_goes_on(
    card: Card, dialogs: Dialogs, tmp_path: Path
) -> None:
    session = Session.begin(card, dialogs, tmp_path)[0]
    reach(session, "found_height")
    path, photo = session.journal.path, jpeg(tmp_path / "a.jpg")
    with pytest.raises(LeadError, match="in use by a session"):
        add(path, photo, "21", WORDS)
    assert not kept_by(path)
    session.close()
    add(path, photo, "21", WORDS)
    again, _ = Session.resume(path, dialogs)
    reach(again, "found_free")
    again.close()
    assert verify_file(path).ok and verify_file(path).about_photos == "1 photo good"


def test_a_picture_that_tells_nothing_more_is_kept_as_it_is(record: Path, tmp_path: Path) -> None:
    picture().save(tmp_path / "a.png", dpi=(72, 72))
    add(record, tmp_path / "a.png", "21", "one")
    add(record, jpeg(tmp_path / "b.jpg"), "21", "two")
    assert sorted(p.suffix for p in kept_by(record)) == [".jpg", ".png"]
    assert read_photo(tmp_path / "a.png").content == (tmp_path / "a.png").read_bytes()
