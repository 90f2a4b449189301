"""How much of the program one turn passes through: modules, and switches between them.

    python tests/benchmarks/trace_turn.py [--list] [--turn typed|check|spoken] [--of CHECKOUT]
        [--wav FILE]

Three turns of the first demo job, each in a process of its own, so that no earlier turn has filled
a cache:

- typed: the gap as found, "twenty-one thirty-seconds", typed at the step that asks for it;
- check: the typed "check" that completes the as-found readings, after which the plan is worked out;
- spoken: the first one from a recording, through the whole of listening: from the first sample to
  the turn in the record. The engines are open before.

What is counted:

- Only calls are looked at, not returns, of code whose file lies in the package: functions, lambdas,
  comprehensions and the resuming of generators, as `sys.setprofile` tells them. A module's own body
  (an import within the turn) is no call; nor is what dataclasses write, which has no file.
- A module is passed if anything in it is called. `__init__.py` counts like any other.
- A switch is a call in another module than the call before it. Calls into libraries in between are
  not seen.
- Threads begun in the turn are counted as well; one that runs since the session began is not.

Goals, at most: 18 modules typed, 300 switches for the check, 35 modules spoken. In November 2026 it
was 31 modules and 91 switches, 49 and 1,286, and 59 modules.
"""

import argparse
import contextlib
import io
import subprocess
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

HERE = Path(__file__).resolve().parents[2]
READING = "twenty-one thirty-seconds"
LAST = "forty thou"
"""The last of the as-found readings; "check" comes after it."""
SCRIPT, CARD = "first_job.txt", "truck_t104.toml"
VOICE = "us-jacky"
GOALS = {"typed": (18, "modules"), "check": (300, "switches"), "spoken": (35, "modules")}


def begun(demo: Path, folder: Path) -> Any:
    """A session on the demo truck, just begun; it has `hear(who, words)` and `close()`."""
    from assistant.card import load_card
    from assistant.conversation import Session
    from assistant.texts.dialogs import load_dialogs

    return Session.begin(load_card(demo / CARD), load_dialogs(), folder)[0]


def ears() -> Any:
    from assistant.voice.recognition.recognizers import Recognizers, open_recognizers

    return Recognizers(open_recognizers()[0])


def listened(session: Any, engines: Any, name: str, samples: Any) -> Callable[[], object]:
    """What plays a recording into a session when it is called."""
    from assistant.voice.session.recorded import listen_files

    return lambda: listen_files(session, engines, [(name, samples)])


def spoken(words: str) -> Any:
    """`words` in a test voice, 16 kHz, with a faint second before and after."""
    import numpy as np

    from tests.spoken import voices

    rng = np.random.default_rng(0)
    faint = [(rng.standard_normal(16_000) * 1e-4).astype(np.float32) for _ in range(2)]
    return np.concatenate([faint[0], voices.say(VOICE, words), faint[1]])


def traced(turn: Callable[[], object], package: Path) -> list[str]:
    """The module of every call inside `package` that `turn` makes, in order."""
    root = f"{package}/"
    names: dict[CodeType, str] = {}
    calls: list[str] = []

    def module(file: str) -> str:
        return file[len(root) :].removesuffix(".py").replace("/", ".")

    def look(frame: FrameType, event: str, arg: object) -> None:
        if event != "call":
            return
        code = frame.f_code
        name = names.get(code)
        if name is None:
            inside = code.co_filename.startswith(root) and code.co_name != "<module>"
            name = names[code] = module(code.co_filename) if inside else ""
        if name:
            calls.append(name)

    threading.setprofile(look)
    sys.setprofile(look)
    try:
        turn()
    finally:
        sys.setprofile(None)
        threading.setprofile(None)
    return calls


def switches(calls: list[str]) -> int:
    """How often the flow of calls goes from one module into another."""
    return sum(one != other for one, other in pairwise(calls))


@contextlib.contextmanager
def at(demo: Path, words: str, after: bool) -> Iterator[Any]:
    """A session where `words` of the script, said by the technician, are next, or just `after`."""
    lines = [x for x in (demo / SCRIPT).read_text("utf-8").splitlines() if x and x[0] != "#"]
    until = lines.index(f"tech: {words}") + after
    with tempfile.TemporaryDirectory() as name:
        session = begun(demo, Path(name))
        for line in lines[:until]:
            who, _, said = line.partition(": ")
            session.hear(who, said)
        yield session
        session.close()


def calls_of(turn: str, demo: Path, package: Path, wav: Path | None) -> list[str]:
    """The calls of one of the three turns."""
    with at(demo, LAST if turn == "check" else READING, turn == "check") as session:
        before = len(session.journal.events)
        if turn == "typed":
            calls = traced(lambda: session.hear("tech", READING), package)
        elif turn == "check":
            calls = traced(lambda: session.hear("tech", "check"), package)
        else:
            if wav is not None:
                import soundfile

                samples = soundfile.read(wav, dtype="float32")[0]
            else:
                samples = spoken(READING)
            play = listened(session, ears(), "tech.wav", samples)
            with contextlib.redirect_stdout(io.StringIO()):
                calls = traced(play, package)
        new = [e.data["act"]["meaning"] for e in session.journal.events[before:] if "act" in e.data]
    if new != ["check" if turn == "check" else "reading"]:
        raise SystemExit(f"{turn}: not the turn that was meant; it was taken for {new}")
    return calls


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--turn", choices=tuple(GOALS), help="only this one")
    parser.add_argument("--list", action="store_true", help="name the modules, most called first")
    parser.add_argument("--of", type=Path, default=HERE, help="the checkout to trace")
    parser.add_argument("--wav", type=Path, help="the spoken reading, 16 kHz; else it is made")
    a = parser.parse_args()
    if a.turn is None:
        for turn in GOALS:
            again = [sys.executable, *sys.argv, "--turn", turn]
            if subprocess.run(again).returncode:
                raise SystemExit(1)
        return
    of = a.of.resolve()
    sys.path.insert(0, str(of))
    import assistant

    package = Path(assistant.__file__).parent
    calls = calls_of(a.turn, of / "demo_sessions", package, a.wav)
    named = Counter(calls)
    print(
        f"{a.turn:<8}{len(named):>4} modules {switches(calls):>7,} switches {len(calls):>8,} calls"
        f"   (goal: {' '.join(map(str, GOALS[a.turn]))})",
        flush=True,
    )
    if a.list:
        for name, count in named.most_common():
            print(f"{count:>12,}  {name}")


if __name__ == "__main__":
    main()
