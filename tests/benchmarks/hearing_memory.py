"""Prints the peak resident megabytes of a process that opens the ears and hears a whole job."""

from __future__ import annotations

import resource
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from assistant.card import load_card
from assistant.texts.dialogs import load_dialogs
from assistant.voice.recognition.expected import expected
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from tests.spoken.commands import moments


def main() -> None:
    card = load_card(Path(__file__).parents[2] / "demo_sessions" / "truck_t104.toml")
    dialogs = load_dialogs()
    ears = Recognizers(open_recognizers()[0])
    rng = np.random.default_rng(1)
    for job in moments(card, dialogs).values():
        ears.expect(expected(job))
        if job.expects():
            ears.listen(rng.normal(0, 0.05, 40_000).astype(np.float32))
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


if __name__ == "__main__":
    main()
