"""Who talks in the test: synthetic voices of three makes, in splits that share no speaker."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from .talkers import can_talk


@dataclass(frozen=True, slots=True)
class Voice:
    """One synthetic talker.

    Attributes:
        name: short, unique; also the name of its cache folder.
        make: "espeak-ng", "flite" or "festival".
        split: "tuning", "test" or "background".
        settings: the make's own, see `talkers.talk`.
    """

    name: str
    make: str
    split: str
    settings: tuple[str, ...]


def _espeak(name: str, split: str, voice: str, speed: int, pitch: int) -> Voice:
    return Voice(name, "espeak-ng", split, (voice, str(speed), str(pitch)))


VOICES: tuple[Voice, ...] = (
    _espeak("us-m1", "tuning", "en-us+m1", 165, 45),
    _espeak("us-f2", "tuning", "en-us+f2", 155, 60),
    _espeak("gb-m3", "tuning", "en-gb+m3", 160, 40),
    _espeak("scot-m7", "tuning", "en-gb-scotland+m7", 170, 50),
    _espeak("carib-f1", "tuning", "en-029+f1", 150, 55),
    _espeak("rp-klatt4", "tuning", "en-gb-x-rp+klatt4", 155, 45),
    _espeak("nyc-m5", "tuning", "en-us-nyc+m5", 175, 50),
    _espeak("mid-f4", "tuning", "en-gb-x-gbcwmd+f4", 160, 50),
    Voice("kal16", "flite", "tuning", ("kal16", "1.0")),
    Voice("rms", "flite", "tuning", ("rms", "0.95")),
    Voice("kal-diphone", "festival", "tuning", ("voice_kal_diphone",)),
    _espeak("us-f3", "test", "en-us+f3", 160, 65),
    _espeak("us-klatt2", "test", "en-us+klatt2", 150, 40),
    _espeak("gb-f5", "test", "en-gb+f5", 165, 50),
    _espeak("scot-m2", "test", "en-gb-scotland+m2", 155, 45),
    _espeak("carib-m4", "test", "en-029+m4", 160, 55),
    _espeak("rp-gene", "test", "en-gb-x-rp+Gene", 165, 50),
    _espeak("nyc-m6", "test", "en-us-nyc+m6", 170, 35),
    _espeak("mid-m8", "test", "en-gb-x-gbcwmd+m8", 150, 50),
    _espeak("lanc-adam", "test", "en-gb-x-gbclan+adam", 160, 50),
    Voice("awb", "flite", "test", ("awb", "1.0")),
    Voice("slt", "flite", "test", ("slt", "0.95")),
    Voice("ked-diphone", "festival", "test", ("voice_ked_diphone",)),
    Voice("slt-hts", "festival", "test", ("voice_cmu_us_slt_arctic_hts",)),
    _espeak("back-annie", "background", "en-gb+Annie", 170, 50),
    _espeak("back-andy", "background", "en-us+Andy", 175, 45),
    _espeak("back-linda", "background", "en-us+linda", 165, 55),
    _espeak("back-michael", "background", "en-gb-x-gbclan+Michael", 160, 40),
    _espeak("back-steph", "background", "en-029+steph", 180, 50),
    _espeak("back-max", "background", "en-gb+max", 170, 60),
)
"""Three splits that share no speaker: flite's and festival's kal are one person, so are their two
slt; an espeak-ng variant stands for a person. The background talks only in babble and on the radio.
"""


def voice_named(name: str) -> Voice:
    """The voice called `name`; raises KeyError with the names there are."""
    for voice in VOICES:
        if voice.name == name:
            return voice
    raise KeyError(f"no voice {name!r}; there are {', '.join(v.name for v in VOICES)}")


@lru_cache(maxsize=8)
def _talks(make: str) -> bool:
    return can_talk(make)


def available(split: str = "") -> tuple[Voice, ...]:
    """The voices whose program is installed, of one split or of both."""
    return tuple(v for v in VOICES if split in ("", v.split) and _talks(v.make))


def missing() -> str:
    """One line on what is not installed, fit for a skip; "" when all is there."""
    makes = sorted({v.make for v in VOICES if not _talks(v.make)})
    return f"not installed: {', '.join(makes)} (apt-get install {' '.join(makes)})" if makes else ""
