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

    def look(frame: FrameType, event: str, arg: object) -> None:
        if event != "call":
            return
        code = frame.f_code
        name = names.get(code)
        if name is None:
            file = code.co_filename
            inside = file.startswith(root) and code.co_name != "<module>"
            found = file.removeprefix(root).removesuffix(".py").replace("/", ".")
            name = names[code] = found if inside else ""
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
    from assistant.card import load_card
    from assistant.conversation import Session
    from assistant.texts.dialogs import load_dialogs

    lines = [x for x in (demo / SCRIPT).read_text("utf-8").splitlines() if x and x[0] != "#"]
    until = lines.index(f"tech: {words}") + after
    with tempfile.TemporaryDirectory() as name:
        session = Session.begin(load_card(demo / CARD), load_dialogs(), Path(name))[0]
        for line in lines[:until]:
            who, _, said = line.partition(": ")
            session.hear(who, said)
        yield session
        session.close()


def calls_of(turn: str, demo: Path, package: Path, wav: Path | None) -> list[str]:
    """The calls of one of the three turns."""
    with at(demo, LAST if turn == "check" else READING, turn == "check") as session:
        before = len(session.journal.events)
        if turn != "spoken":
            words = "check" if turn == "check" else READING
            calls = traced(lambda: session.hear("tech", words), package)
        else:
            from assistant.voice.devices.audio import load
            from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
            from assistant.voice.session.recorded import listen_files

            ears = Recognizers(open_recognizers()[0])
            sound = [("tech.wav", load(wav) if wav is not None else spoken(READING))]
            with contextlib.redirect_stdout(io.StringIO()):
                calls = traced(lambda: listen_files(session, ears, sound), package)
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
