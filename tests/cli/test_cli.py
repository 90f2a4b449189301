"""The commands as a shell sees them: output, exit codes, one-line errors, nothing lost."""

import json
import shlex
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from assistant.record import verify_file
from tests.demo import DEMO, lugcall
from tests.tables import rows_of


def test_demo_ends_signed_off_and_verifies(tmp_path: Path) -> None:
    start = time.monotonic()
    done = lugcall("demo", "--records", str(tmp_path))
    assert done.returncode == 0
    assert time.monotonic() - start < 60  # the promise is "under a minute", not a benchmark
    assert "HOLD: pedal to the floor" in done.stdout and "Signed off by 12." in done.stdout
    (path,) = tmp_path.glob("*.jsonl")
    check = lugcall("verify", str(path))
    assert check.returncode == 0 and check.stdout.startswith("GOOD")
    assert "signed off" in check.stdout
    seal = check.stdout.rsplit("seal ", 1)[1].strip()
    assert seal in done.stdout
    assert lugcall("verify", "--seal", seal, str(path)).returncode == 0
    assert lugcall("verify", "--seal", "0000-0000", str(path)).returncode == 1
    report = json.loads(lugcall("verify", "--json", str(path)).stdout)
    assert report["ok"] and report["signed_off"]
    transcript = lugcall("transcript", str(path)).stdout
    assert "as found" in transcript and "SIGNED OFF by 12" in transcript


@pytest.mark.parametrize("seal", ["XYZ", "", "3F2A-91B", "3F2A-91BCD"])
def test_a_seal_mistyped_is_no_damage(seal: str) -> None:
    """The record is not called damaged for what was typed wrong."""
    record = DEMO / "records" / "first_job.jsonl"
    done = lugcall("verify", "--seal", seal, str(record))
    assert done.returncode == 2 and "is no seal: it is 8 digits" in done.stderr
    assert done.stdout == "" and "DAMAGED" not in done.stderr and done.stderr.count("\n") == 1


def test_verify_finds_a_changed_line(tmp_path: Path) -> None:
    lugcall("demo", "--records", str(tmp_path))
    (path,) = tmp_path.glob("*.jsonl")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("21/32", "19/32", 1), encoding="utf-8")
    done = lugcall("verify", str(path))
    assert done.returncode == 1 and "line" in done.stdout
    assert lugcall("transcript", str(path)).returncode == 1


@rows_of("commands.txt", "line", "code", "part")("reading")
def test_reading(line: str, code: str, part: str) -> None:
    done = lugcall("reading", *shlex.split(line))
    assert done.returncode == int(code)
    assert part in done.stdout


def test_reading_json_and_stream() -> None:
    keys = {"status", "value_in", "low_in", "high_in", "count", "kind", "readback", "why"}
    one = json.loads(lugcall("reading", "half inch shy", "--for", "gap", "--json").stdout)
    assert keys <= set(one)
    assert one["low_in"] < one["value_in"] < one["high_in"] == 0.5
    lines = b"gap\tnine sixteenths\nlugs\tthree\n\tfour\nbanana\tx\nno tab here\n\ngap\t\xff\n"
    done = lugcall("reading", "-", "--json", stdin=lines)
    assert done.returncode == 0
    got = [json.loads(x) for x in done.stdout.splitlines()]
    assert [g["status"] for g in got] == "read read ask refused none none none".split()
    assert got[0]["value_in"] == 0.5625 and got[1]["count"] == 3


def test_plan_json() -> None:
    done = lugcall("plan", "--gap", "21/32", "--clearance", "forty thou", "--json")
    plan = json.loads(done.stdout)
    keys = "lugs gap_after_in clearance_after_in free_travel_after_in brake_contact_after_in "
    keys += "rod_turns rod_flats chance_in_tolerance judgements cautions"
    assert set(keys.split()) <= set(plan)
    # By the brief's geometry: the ring takes n lugs of 0.027 from the gap.
    assert plan["gap_after_in"] == pytest.approx(21 / 32 - plan["lugs"] * 0.027)
    assert 0.5 <= plan["gap_after_in"] <= 0.5625
    ring = 0.040 + plan["lugs"] * 0.027
    rod = (plan["rod_turns"] + plan["rod_flats"] / 6) / 20  # a 1/2-20 thread, the default
    assert plan["clearance_after_in"] == pytest.approx(ring + rod)
    assert plan["clearance_after_in"] == pytest.approx(1 / 8, abs=1 / 20 / 12)
    assert plan["brake_contact_after_in"] is None
    assert "ring.lug" in plan["defaulted"]
    assert any("DANGER" in c for c in plan["cautions"])


@rows_of("commands.txt", "line")("bad")
def test_bad_input_is_one_line(line: str, tmp_path: Path) -> None:
    done = lugcall(*line.split(), LUGCALL_RECORDS=str(tmp_path))
    assert done.returncode != 0
    said = (done.stderr + done.stdout).strip()
    assert said and "\n" not in said


def test_records_that_cannot_be_written(tmp_path: Path) -> None:
    wrong = tmp_path / "file"
    wrong.write_text("x")
    done = lugcall("chat", "--records", str(wrong), stdin=b"skip\n")
    assert done.returncode == 1 and "Do not start work" in done.stderr
    assert "Chock" not in done.stdout


def test_resume_without_a_job(tmp_path: Path) -> None:
    done = lugcall("resume", "--records", str(tmp_path))
    assert done.returncode == 1 and "lugcall chat begins one" in done.stderr


def test_unsupported_truck_is_refused_before_it_begins(tmp_path: Path) -> None:
    card = tmp_path / "card.toml"
    card.write_text('[truck]\ntransmission = "synchronized"\n')
    done = lugcall("chat", "--card", str(card), "--records", str(tmp_path / "r"))
    assert done.returncode == 1 and "maker's manual" in done.stderr
    assert not (tmp_path / "r").exists()


def test_interrupt_keeps_everything(tmp_path: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-m", "assistant", "chat", "--records", str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stdin and child.stdout and child.stderr
    watchdog = threading.Timer(60, child.kill)  # should what it waits for never be said
    watchdog.start()
    child.stdin.write("tech: skip\ntech: done\n")
    child.stdin.flush()
    for line in child.stdout:
        if "parking brake" in line:
            break
    child.send_signal(signal.SIGINT)
    errors = child.stderr.read()
    assert child.wait() == 130
    watchdog.cancel()
    assert "resume" in errors and "Traceback" not in errors
    (path,) = tmp_path.glob("*.jsonl")
    assert verify_file(path).ok
    resumed = lugcall("resume", "--records", str(tmp_path))
    assert "Who goes on" in resumed.stdout


def test_pipe_as_a_script_with_odd_bytes(tmp_path: Path) -> None:
    script = "# a comment\n\ntech: skip\r\ntech: done\r\nhelper: ¿qué?\n".encode()
    script += b"tech: \xff\xfe\n"
    done = lugcall("chat", "--records", str(tmp_path), stdin=script)
    assert done.returncode == 0
    assert "parking brake" in done.stdout
    (path,) = tmp_path.glob("*.jsonl")
    assert verify_file(path).ok


def test_help_of_every_command() -> None:
    names = ("demo", "chat", "resume", "reading", "plan", "verify", "transcript", "card")
    for name in names:
        assert lugcall(name, "--help").returncode == 0
    assert lugcall().returncode == 0


def test_card_command() -> None:
    done = lugcall("card", str(DEMO / "truck_t104.toml"))
    assert done.returncode == 0 and "T-104 card (invented)" in done.stdout
    report = json.loads(lugcall("card", "--json", str(DEMO / "truck_t104.toml")).stdout)
    assert report["figures"]["gap"]["high_in"] == 0.5625
