"""The procedure drawn from the machine itself, as a Mermaid state diagram.

    python -m assistant.job.diagram            prints it
    python -m assistant.job.diagram --write    writes diagram.md beside this file

A test holds the written file against the machine.
"""

from __future__ import annotations

import sys
from pathlib import Path

from assistant.job.machine import transitions
from assistant.texts.dialogs import load_dialogs

FILE = Path(__file__).with_name("diagram.md")
_DRAWN = ("advance", "not_sound", "repaired", "let_up", "stay", "close")
_HEAD = """# The procedure

Drawn from the machine: `python -m assistant.job.diagram --write`. Do not edit.

Edges carry their guards in brackets. Left out for the eye: `halt` leads from every step to
`halted`, `carry_on` from `halted` back to the step (through the same guards; into the hold and the
release only through `clear` again), `back` to the step before that moved nothing, and `reroute`
from any step after the ring to the reading or plan that a correction upset. `leave` leads from
everywhere, with the pedal up, to `leaving`, where it is asked how an unfinished job is left.

```mermaid
stateDiagram-v2
"""


def draw() -> str:
    """The whole file's text."""
    dialogs = load_dialogs()
    lines = []
    for phase in dialogs.phases:
        lines.append(f'    state "{phase.heading} {phase.name}" as phase_{phase.id} {{')
        lines += [f"        {s.id}" for s in dialogs.steps if s.phase == phase.id]
        lines.append("    }")
    lines.append(f"    [*] --> {dialogs.steps[0].id}")
    for trigger in _DRAWN:
        for edge in transitions(dialogs.steps):
            if edge["trigger"] != trigger:
                continue
            label = trigger if trigger != "advance" else ""
            if edge["conditions"]:
                label = f"{label} [{', '.join(edge['conditions'])}]".strip()
            tail = f" : {label}" if label else ""
            lines.append(f"    {edge['source']} --> {edge['dest']}{tail}")
    lines += [f"    {end} --> [*]" for end in ("signed_off", "left_unfinished")]
    return _HEAD + "\n".join(lines) + "\n```\n"


if __name__ == "__main__":
    if "--write" in sys.argv:
        FILE.write_text(draw(), encoding="utf-8")
    else:
        print(draw())
