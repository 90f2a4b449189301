"""The engines that listen to one person, chosen and run together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .audio import Samples
from .decide import Decision, Interpret, decide
from .engine import Engine, EngineError
from .grammar import Grammar
from .heard import Hearing

BEST_FIRST = ("vosk", "whisper", "sphinx")


def open_engines(wanted: Sequence[str] = ()) -> tuple[list[Engine], list[str]]:
    """The engines to listen with, the best first, and a line on each that cannot be had.

    Without `wanted`, the two best that can be had: one gives the words, the other agrees or not.
    Whisper adapted to the shop listens alone: fitted beside it, PocketSphinx's agreement made no
    difference to how sure one can be (logistic loss 0.197 with and without, 420 utterances).

    Raises:
        EngineError: one that was asked for cannot be used, or none can.
    """
    opened: list[Engine] = []
    problems: list[str] = []
    for name in wanted or BEST_FIRST:
        if not wanted and (len(opened) == 2 or any(getattr(e, "shop", False) for e in opened)):
            break
        try:
            engine = _open(name)
        except EngineError as error:
            if wanted:
                raise
            problems.append(str(error))
            continue
        if engine is not None:
            opened.append(engine)
        elif wanted:
            raise EngineError(f"there is no {name} model here; see models_readme, or name another")
    if not opened:
        raise EngineError("no speech engine can be used: " + "; ".join(problems))
    return opened, problems


def _open(name: str) -> Engine | None:
    from . import models

    if name == "vosk":
        from .vosk_engine import VoskEngine

        folder = models.vosk_folder()
        return VoskEngine(folder) if folder is not None else None
    if name == "whisper":
        from .whisper import WhisperEngine

        found = models.whisper_folder()
        return WhisperEngine(found.folder, shop=found.checked) if found is not None else None
    if name == "sphinx":
        from .sphinx import SphinxEngine

        return SphinxEngine()
    raise EngineError(f"there is no engine {name!r}; use one of {', '.join(BEST_FIRST)}")


class Ears:
    """One person's engines together.

    Args:
        engines: as `open_engines` gives them.
    """

    def __init__(self, engines: Sequence[Engine]) -> None:
        self.engines = list(engines)

    @property
    def names(self) -> tuple[str, ...]:
        """The engines' names, the best first."""
        return tuple(engine.name for engine in self.engines)

    def expect(self, grammar: Grammar) -> None:
        """Narrow all of them to `grammar`."""
        for engine in self.engines:
            engine.expect(grammar)

    def listen(self, samples: Samples) -> list[Hearing]:
        """What each engine makes of one whole utterance."""
        hearings = []
        peak = float(np.abs(samples).max()) if len(samples) else 0.0
        # A far voice and a near one should not differ in anything but noise.
        even = samples * np.float32(0.5 / peak) if peak > 1e-4 else samples
        for engine in self.engines:
            engine.feed(even)
            hearings.append(engine.finish())
        return hearings

    def dictate(self, samples: Samples) -> str:
        """Free words, of the best engine that writes such; "" where none does."""
        for engine in self.engines:
            free = getattr(engine, "dictate", None)
            if free is not None:
                return str(free(samples))
        return ""

    def hear(self, samples: Samples, interpret: Interpret) -> Decision:
        """Decide about one whole utterance."""
        return decide(self.listen(samples), interpret)
