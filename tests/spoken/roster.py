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
        make: "espeak-ng", "flite", "festival", "piper" or "kokoro".
        split: "tuning", "training", "test", "background" or "calibration".
        settings: the make's own, see `talkers.talk`.
    """

    name: str
    make: str
    split: str
    settings: tuple[str, ...]


def _espeak(name: str, split: str, voice: str, speed: int, pitch: int) -> Voice:
    return Voice(name, "espeak-ng", split, (voice, str(speed), str(pitch)))


ACCENTS = ("en-us", "en-gb", "en-gb-scotland", "en-029", "en-gb-x-rp", "en-us-nyc",
            "en-gb-x-gbcwmd")  # fmt: skip
VARIANTS = (
    "m1 m3 m5 m6 m7 f1 f2 f3 f4 klatt klatt3 klatt4 klatt5 klatt6 Alex Alicia Andrea Lee Marco "
    "Mario Mike Nguyen Storm Tweaky anika antonio aunty belinda benjamin boris caleb david ed "
    "edward grandma grandpa iven john marcelo michel miguel norbert pablo paul pedro quincy rob "
    "robert sandro shelby travis victor zac"
).split()


def _training() -> tuple[Voice, ...]:
    """Each variant in two accents, slow and quick, low and high in turn."""
    pairs = [(v, ACCENTS[(n + k) % 7], n, k) for n, v in enumerate(VARIANTS) for k in (0, 3)]
    return tuple(
        _espeak(
            f"train-{v}-{k}".lower(), "training", f"{a}+{v}", 130 + 13 * (n % 5), 35 + n % 4 * 9
        )
        for v, a, n, k in pairs
    )


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
    _espeak("us-jacky", "test", "en-us+Jacky", 160, 50),
    _espeak("us-klatt2", "test", "en-us+klatt2", 150, 40),
    _espeak("gb-denis", "test", "en-gb+Denis", 165, 50),
    _espeak("scot-hugo", "test", "en-gb-scotland+Hugo", 155, 45),
    _espeak("carib-diogo", "test", "en-029+Diogo", 160, 55),
    _espeak("rp-gustave", "test", "en-gb-x-rp+gustave", 165, 50),
    _espeak("nyc-f5", "test", "en-us-nyc+f5", 170, 50),
    _espeak("mid-m8", "test", "en-gb-x-gbcwmd+m8", 150, 50),
    _espeak("lanc-adam", "test", "en-gb-x-gbclan+adam", 160, 50),
    Voice("awb", "flite", "test", ("awb", "1.0")),
    Voice("slt", "flite", "test", ("slt", "0.95")),
    Voice("ked-diphone", "festival", "test", ("voice_ked_diphone",)),
    Voice("slt-hts", "festival", "test", ("voice_cmu_us_slt_arctic_hts",)),
    Voice("joe", "piper", "test", ("1.0", "1.0")),
    _espeak("back-annie", "background", "en-gb+Annie", 170, 50),
    _espeak("back-andy", "background", "en-us+Andy", 175, 45),
    _espeak("back-linda", "background", "en-us+linda", 165, 55),
    _espeak("back-michael", "background", "en-gb-x-gbclan+Michael", 160, 40),
    _espeak("back-steph", "background", "en-029+steph", 180, 50),
    _espeak("back-max", "background", "en-gb+max", 170, 60),
    Voice("nezumi", "kokoro", "calibration", ("jf_nezumi", "1.1")),
    *_training(),
)
"""Test and background share no speaker with any other split: flite's and festival's kal are one
person, so are their two slt; an espeak-ng variant stands for a person. The background talks only in
babble and on the radio, and with the calibration's voice when it is measured how sure to be. With
the training voices and the tuning ones Whisper is adapted; these share some variants; the accent
of Lancashire, and the only voice of its make, piper's, are left to the test.
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
