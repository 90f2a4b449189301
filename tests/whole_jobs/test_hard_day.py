"""A whole job gone wrong in every way, twice killed in the middle, ends in a correct record.

The invented truck behind the script: pedal ratio 12, lash 1/16 in, pedal at 8-1/2 in, lug 0.027 in.
Its as-left values are worked out here from the brief's geometry, by hand, not by lugcall:
clearance 0.040 + 4 * 0.027 - 0.050 (one turn of a 1/2-20 thread) = 0.098 in, gap 0.660 - 0.108 =
0.552 in, free travel 12 * 0.098 + 1/16 = 1.2385 in, brake contact
8.5 - 12 * (0.098 + 0.552) - 1/16 = 0.6375 in.
"""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.record import read_events, verify_file

DEMO = Path(__file__).parents[2] / "demo_sessions"
SCRIPT = (DEMO / "hard_day.txt").read_text(encoding="utf-8")
LUGCALL = [sys.executable, "-m", "assistant"]
TRUTH = {"gap": 0.552, "clearance": 0.098, "free-travel": 1.2385, "brake-contact": 0.6375}


def run(command: list[str], lines: list[str], kill: bool) -> str:
    """Feed lines one at a time, each only after the last was answered; then kill or finish."""
    child = subprocess.Popen(
        [*LUGCALL, *command], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    seen = []
    for line in lines:
        child.stdin.write(line + "\n")
        child.stdin.flush()
        # The echo of the line comes before its answer, and its answer after the sync.
        for out in child.stdout:
            seen.append(out)
            if out.strip() == line.strip():
                seen.append(child.stdout.readline())
                break
    if kill:
        child.send_signal(signal.SIGKILL)
        seen += child.stdout.readlines()
        child.wait()
    else:
        child.stdin.close()
        seen += child.stdout.readlines()
        assert child.wait() == 0
    return "".join(seen)


def spoken(part: str) -> list[str]:
    return [x for x in part.splitlines() if x.strip() and not x.startswith("#")]


def test_hard_day_with_kills_and_resumes(tmp_path: Path) -> None:
    head, *parts = SCRIPT.split("#KILL\n")
    records = ["--records", str(tmp_path)]
    card = ["--card", str(DEMO / "truck_t104.toml")]
    run(["chat", *card, *records], spoken(head), kill=True)
    for i, part in enumerate(parts):
        said = run(["resume", *records], spoken(part), kill=i < len(parts) - 1)
        assert "Resumed." in said
        if i == 1:
            assert "The hold is not certain any more" in said
    (path,) = tmp_path.glob("*.jsonl")
    check_record(path)


def test_hard_day_in_one_go(tmp_path: Path) -> None:
    """The same script piped whole, as a person would try it."""
    with (DEMO / "hard_day.txt").open("rb") as script:
        done = subprocess.run(
            [*LUGCALL, "chat", "--card", str(DEMO / "truck_t104.toml"), "--records", str(tmp_path)],
            stdin=script,
            capture_output=True,
            text=True,
            check=True,
        )
    assert "Signed off by 12" in done.stdout
    (path,) = tmp_path.glob("*.jsonl")
    check_record(path)


def check_record(path: Path) -> None:
    verdict = verify_file(path)
    assert verdict.ok and verdict.closed, verdict
    events, problem = read_events(path)
    assert problem is None
    closed = events[-1].data
    left = closed["as_left"]
    for quantity, truth in TRUTH.items():
        taken = left[quantity]
        slack = 0.002  # what was called out was rounded
        assert taken["low_in"] - slack <= truth <= taken["high_in"] + slack, (quantity, taken)
        assert taken["judged"]["decision"] == "in"
    assert closed["as_found"]["gap"]["value_in"] == pytest.approx(21 / 32)
    assert closed["as_found"]["clearance"]["value_in"] == pytest.approx(0.040)
    assert closed["as_found"]["free-travel"]["high_in"] == pytest.approx(9 / 16)
    assert closed["lugs"] == 4
    assert closed["ring_moves"] == [{"told": 5, "moved": 4}]
    assert [c["step"] for c in closed["linkage"]] == ["contact_rod"]
    assert closed["code"] == "12"
    # The order held, whatever was said: no turn before a confirmed hold, no release before clear.
    hold, clear = "up", False
    for event in events:
        hold = event.data.get("hold", hold)  # what the turn changed, before what it then said
        act = event.data.get("act") or {}
        clear = clear or (act.get("meaning") == "clear" and act["who"] == "tech")
        for said in event.data.get("said", []):
            if said["key"] == "prompt:ring_turn":
                assert hold == "held"
                clear = False
            if said.get("cue") == "RELEASE":
                assert clear
