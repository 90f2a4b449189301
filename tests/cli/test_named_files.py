"""Whatever a user names is opened without waiting: a regular file, of bounded size, or one line."""

import os
import shutil
import struct
import wave
from functools import partial
from itertools import product
from pathlib import Path

import pytest

from assistant.named_file import Unfit, whole
from tests.demo import DEMO, DIALOGS, lugcall
from tests.records import events_of, sealed

RECORD = DEMO / "records" / "hard_day.jsonl"
READS = (
    "card {}", "chat --card {}", "plan --gap 1/2 --clearance 1/8 --card {}", "cause --card {}",
    "transcript {}", "page {}", "verify {}", "resume {}", "lead reviewed {} --by L7",
    "cause --record {}", "picture --record {}", "card --new cards --from {}",
    "hear --for gap {}", "listen --from {}", f"listen --from {RECORD} --helper {{}}",
    "devices --from {}", "card --new cards --sound {}",
)  # fmt: skip
WRITES = (f"page {RECORD} --out {{}}", f"picture --record {RECORD} --svg {{}}")
SPECIAL = {"pipe": "pipe", "link": "link to the pipe", "zeros": "/dev/zero"}


def run(folder: Path, *args: str, limit_s: float = 25.0, **env: str) -> tuple[int, str]:
    """A command in `folder`: its exit code, and all that it printed."""
    env = {"LUGCALL_RECORDS": f"{folder}/records", **env}
    done = lugcall(*args, cwd=folder, limit_s=limit_s, **env)
    return done.returncode, (done.stdout + done.stderr).strip()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("named")
    os.mkfifo(made / "pipe")
    (made / "link to the pipe").symlink_to("pipe")
    return made


@pytest.mark.parametrize(
    "what, command",
    [*product(["pipe"], READS), ("link", "card {}"), ("link", "transcript {}"),
     *product(["zeros"], ("card {}", "verify {}", "resume {}", "devices --from {}"))],
)  # fmt: skip
@pytest.mark.long
def test_what_is_no_file_is_never_waited_for(folder: Path, what: str, command: str) -> None:
    args = [SPECIAL[what] if part == "{}" else part for part in command.split()]
    code, told = run(folder, *args)
    assert code != 0 and "\n" not in told
    assert "pipe or a device" in told or "no record, or damaged" in told or "sound file" in told


@pytest.mark.parametrize("command", WRITES)
@pytest.mark.parametrize("what", ["pipe", "link"])  # no device: should this fail, it would be gone
def test_what_is_no_file_is_never_replaced(folder: Path, command: str, what: str) -> None:
    path = folder / SPECIAL[what]
    code, told = run(folder, *(str(path) if part == "{}" else part for part in command.split()))
    assert code != 0 and "\n" not in told and "pipe or a device" in told
    assert path.exists() and not path.is_file()


def test_a_file_that_waits_for_news_is_no_file(folder: Path) -> None:
    """Regular by its own word, and never at its end."""
    waits = Path("/proc/kmsg")
    if not os.access(waits, os.R_OK):
        pytest.skip("only for the system's own user")
    for command in ("card", "transcript", "verify"):
        code, told = run(folder, command, str(waits))
        assert code != 0 and "\n" not in told and "not a file" in told


def test_pipes_among_what_others_made(folder: Path, tmp_path: Path) -> None:
    """In a folder of cards, of unfinished cards, of pages, of dialogs, and of a record's sound."""
    cards = tmp_path / "cards"
    cards.mkdir()
    os.mkfifo(cards / "card-in-the-making.jsonl")
    os.mkfifo(cards / "t-1.toml")
    code, told = run(tmp_path, "card", "cards")
    assert code == 1 and "no card in" in told
    code, told = run(tmp_path, "card", "--new", "cards")
    assert code == 1 and "pipe or a device" in told
    pages = tmp_path / "pages"
    pages.mkdir()
    os.mkfifo(pages / "fleet.html")
    where = (str(DEMO / "records"), "--out", "pages")
    code, told = run(tmp_path, "pages", *where, limit_s=60)
    assert code == 1 and "pipe or a device" in told
    clips = tmp_path / "job.clips"
    clips.mkdir()
    digest = "0123456789abcdef" * 4
    clip = {"file": f"job.clips/{digest[:16]}.flac", "sha256": digest, "seconds": 1.0}
    os.mkfifo(tmp_path / clip["file"])
    lines = [(one["at"], one["kind"], one["data"]) for one in events_of(RECORD)]
    lines[20][2]["clip"] = clip
    (tmp_path / "job.jsonl").write_bytes(sealed(lines))
    code, told = run(tmp_path, "verify", "job.jsonl")
    assert code == 1 and "cannot be read" in told
    dialogs = shutil.copytree(DIALOGS, tmp_path / "dialogs")
    (dialogs / "en" / "steps.toml").unlink()
    os.mkfifo(dialogs / "en" / "steps.toml")
    code, told = run(tmp_path, "chat", LUGCALL_DIALOGS=str(dialogs))
    assert code == 1 and "pipe or a device" in told


@pytest.mark.parametrize("command", ["transcript", "verify", "card", "devices --from"])
def test_a_terabyte_is_not_read(tmp_path: Path, command: str) -> None:
    """Of zeros, which take no room on the disk."""
    path = tmp_path / "large"
    with path.open("wb") as file:
        file.truncate(10**12)
    code, told = run(tmp_path, *command.split(), str(path), limit_s=10)
    assert code == 1 and "\n" not in told
    assert "too large" in told or "not a record" in told or "not a sound file" in told


def test_no_more_is_read_than_a_file_may_hold(tmp_path: Path) -> None:
    """Whatever it says of its own length: those of /proc say nothing."""
    path = tmp_path / "file"
    path.write_bytes(b"x" * 1000)
    assert whole(path, 1000) == b"x" * 1000
    for read in (partial(whole, path, 999), partial(whole, Path("/proc/self/status"), 99)):
        with pytest.raises(Unfit, match="too large"):
            read()


def sound(path: Path, rate: int, frames: int, channels: int = 1) -> Path:
    """Silence; the file holds what it tells, without taking room on the disk."""
    head, size = 44, frames * channels * 2
    with path.open("wb") as file:
        file.write(b"RIFF" + struct.pack("<I", (head - 8 + size) % 2**32) + b"WAVEfmt ")
        file.write(struct.pack("<IHHIIHH", 16, 1, channels, rate, rate * channels * 2 % 2**32,
                               channels * 2 % 2**16, 16))  # fmt: skip
        file.write(b"data" + struct.pack("<I", size))
        file.truncate(head + size)
    return path


@pytest.mark.parametrize(
    "rate, frames, channels, why",
    [
        (1, 40_000, 1, "1 samples a second"),
        (2_000_000_000, 40_000, 1, "2000000000 samples a second"),
        (8_000, 8_000 * 3600 * 3, 1, "longer than"),
        (16_000, 16_000, 900, "channels"),
    ],
)
@pytest.mark.sound
def test_a_sound_that_no_recorder_makes(
    tmp_path: Path, rate: int, frames: int, channels: int, why: str
) -> None:
    path = sound(tmp_path / "odd.wav", rate, frames, channels)
    for command in ("devices --from", "listen --from", "hear --for gap"):
        code, told = run(tmp_path, *command.split(), str(path))
        assert code != 0 and "\n" not in told
        assert why in told or (command[:4] == "hear" and "longer than" in told)
    assert not (tmp_path / "records").exists(), "nothing was begun"


@pytest.mark.sound
def test_an_utterance_is_no_hour(tmp_path: Path) -> None:
    path = sound(tmp_path / "hour.wav", 16_000, 16_000 * 3600)
    code, told = run(tmp_path, "hear", "--for", "gap", str(path))
    assert code == 2 and "longer than 1 minutes" in told


@pytest.mark.parametrize(
    "text",
    [
        "a" + ".a" * 20_000 + " = 1\n",
        '"a"' + " . 'a'" * 10_000 + " = 1\n",
        "[" + "a." * 20_000 + "a]\n",
        "a = {b" + ".b" * 20_000 + " = 1}\n",
        "a = " + "[" * 20_000,
        "a = " + "{a = " * 10_000,
    ],
)
def test_a_card_nested_far_too_deep(tmp_path: Path, text: str) -> None:
    (tmp_path / "deep.toml").write_text(text)
    code, told = run(tmp_path, "card", "deep.toml", limit_s=2.5)
    assert code == 1 and "\n" not in told and "deep.toml" in told and len(told) < 200


def test_a_line_that_is_no_utf8_is_named(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_bytes(b'unit = "T-1"\n\n# caf\xe9\n')
    code, told = run(tmp_path, "card", "card.toml")
    assert code == 1 and "line 3 is not UTF-8" in told
    lines = RECORD.read_bytes().split(b"\n")
    lines[6] = lines[6].replace(b"a", b"\xe9", 1)
    (tmp_path / "job.jsonl").write_bytes(b"\n".join(lines))
    for command in ("verify", "transcript"):
        code, told = run(tmp_path, command, "job.jsonl")
        assert code == 1 and "line 7" in told.splitlines()[-1] and "UTF-8" in told


def test_sounds_are_read_as_they_are(tmp_path: Path) -> None:
    """Two channels become their mean, at their own rate too."""
    path = tmp_path / "two.wav"
    with wave.open(str(path), "wb") as file:
        file.setparams((2, 2, 16_000, 0, "NONE", ""))
        file.writeframes(struct.pack("<4h", 8192, 0, 0, -8192))
    from assistant.voice.devices.audio import load, read_file

    assert load(path).tolist() == [0.125, -0.125]
    assert read_file(path, channel=0)[0].tolist() == [0.25, 0.0]
