"""What is wrong with a microphone, in plain lines that say what to do."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from .audio import RATE, Samples
from .meter import Measured, measure

DEAD_DBFS = -84.0
"""Two steps of 16 bits: no microphone is as silent as this."""
QUIET_DBFS = -42.0
"""Speech weaker than this leaves recognition some 8 bits."""
POOR_SNR_DB = 10.0


@dataclass(frozen=True, slots=True)
class Problem:
    """One finding.

    Attributes:
        kind: "dead", "quiet", "clipped", "narrowband", "noisy", "hum", "offset", "gaps", "gate",
            "short" or "no speech".
        text: one line: what is wrong, and what to do.
        grave: whether readings will suffer; else it is only worth knowing.
    """

    kind: str
    text: str
    grave: bool = True


@dataclass(frozen=True, slots=True)
class Verdict:
    """A microphone's figures and what is wrong with it, gravest first."""

    measured: Measured
    problems: tuple[Problem, ...]

    @property
    def ok(self) -> bool:
        """Whether it will do."""
        return not any(p.grave for p in self.problems)

    def lines(self) -> list[str]:
        """For people: levels in one line, then a line a problem."""
        m = self.measured
        speech = f"speech {m.speech_dbfs:.0f} dBFS" if m.speech_dbfs is not None else "no speech"
        over = f", {m.snr_db:.0f} dB over the noise" if m.snr_db is not None else ""
        out = [f"noise {m.noise_dbfs:.0f} dBFS, {speech}{over}, peak {m.peak_dbfs:.0f} dBFS"]
        out += [p.text for p in self.problems]
        return out if self.problems else [*out, "This microphone will do."]

    def as_json(self) -> dict[str, Any]:
        """For programs: `ok`, `problems` (kind, text, grave) and the figures."""
        figures = {
            k: round(v, 5) if isinstance(v, float) else v for k, v in asdict(self.measured).items()
        }
        return {"ok": self.ok, "problems": [asdict(p) for p in self.problems], **figures}


def microphone_verdict(samples: Samples, rate: int = RATE) -> Verdict:
    """Judge a recording in which somebody spoke, or only the shop was heard.

    Args:
        samples: mono, full scale -1 to 1, as the device delivered them.
        rate: samples a second.
    """
    m = measure(samples, rate)
    if m.seconds < 0.5:
        return Verdict(m, (Problem("short", "Too short to judge; record two seconds or more."),))
    if m.peak_dbfs < DEAD_DBFS:
        return Verdict(m, (Problem("dead", _DEAD),))
    return Verdict(m, tuple(sorted(_problems(m), key=lambda p: not p.grave)))


_DEAD = (
    "It hears nothing at all: muted, switched off or not plugged in. Check its switch and cable."
)


def _problems(m: Measured) -> list[Problem]:
    out = []
    if m.clipped > 5e-4:
        out.append(
            Problem(
                "clipped",
                f"Clipped: {m.clipped:.2%} of the samples are at the rail. "
                "Turn its gain down, or move it away from the mouth.",
            )
        )
    if m.speech_dbfs is not None and m.speech_dbfs < QUIET_DBFS:
        out.append(
            Problem(
                "quiet",
                f"Too quiet: speech at {m.speech_dbfs:.0f} dBFS. "
                "Turn its gain up, or bring it nearer to the mouth.",
            )
        )
    if m.narrow:
        out.append(
            Problem(
                "narrowband",
                "Narrowband: nothing above 3.6 kHz comes through, as by telephone. Readings will "
                "have to be said again more often; use it by cable, or another headset.",
            )
        )
    if m.snr_db is not None and m.snr_db < POOR_SNR_DB:
        out.append(
            Problem(
                "noisy",
                f"Noisy: speech is only {m.snr_db:.0f} dB over the noise. "
                "Bring it nearer to the mouth, or turn the noise off.",
            )
        )
    if m.hum_hz and m.hum_dbfs > -55.0:
        out.append(
            Problem(
                "hum",
                f"Mains hum of {m.hum_hz:.0f} Hz at {m.hum_dbfs:.0f} dBFS. "
                "Check its cable and ground, and keep it away from motors and chargers.",
                grave=m.hum_dbfs > -30.0,
            )
        )
    if abs(m.offset) > 0.02:
        out.append(
            Problem(
                "offset",
                f"It is off its middle by {abs(m.offset):.0%} of full scale. "
                "Try another socket or sound adapter.",
                grave=abs(m.offset) > 0.2,
            )
        )
    if m.gaps >= 3:
        out.append(
            Problem(
                "gaps",
                f"{m.gaps} gaps in {m.seconds:.0f} seconds: sound is lost on the way. "
                "Check its cable or radio link, or close other programs.",
            )
        )
    if m.gated > 0.05:
        out.append(
            Problem(
                "gate",
                f"Switched to silence {m.gated:.0%} of the time: a noise gate eats the beginnings "
                "of words. Turn it off.",
                grave=False,
            )
        )
    if m.speech_dbfs is None:
        out.append(Problem("no speech", "Nobody was heard speaking; say a few words.", grave=False))
    return out
