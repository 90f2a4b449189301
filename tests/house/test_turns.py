"""How much of the program a turn passes through; the rule is in `benchmarks/trace_turn.py`."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

from tests.benchmarks.trace_turn import GOALS, HERE


@pytest.mark.parametrize(
    "turn",
    ["typed", "check", pytest.param("spoken", marks=pytest.mark.sound)],
)
def test_a_turn_passes_few_modules(turn: str) -> None:
    script = HERE / "tests" / "benchmarks" / "trace_turn.py"
    done = subprocess.run(
        [sys.executable, str(script), "--turn", turn],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    counted = {
        name: int(number.replace(",", ""))
        for number, name in re.findall(r"([\d,]+) (modules|switches)", done.stdout)
    }
    most, what = GOALS[turn]
    assert counted[what] <= most, done.stdout
