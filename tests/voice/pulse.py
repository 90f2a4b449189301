"""A private PulseAudio daemon with null sinks, so that real sound paths are tested without sound.

A null sink swallows what is played on it and repeats it on its monitor. `lug_speaker` is the
loudspeaker: programs play on it, `Pulse.recording` listens to its monitor. `lug_mic` is the
microphone: `Pulse.play` plays on it, programs record from its monitor. `lug_speaker_2` and
`lug_mic_2` are the helper's. PortAudio sees the four under these names, through ALSA.

PortAudio reads the environment once, so programs under test are started with `Pulse.env`.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

RATE = 16_000
SPEAKERS = ("lug_speaker", "lug_speaker_2")
MICROPHONES = ("lug_mic", "lug_mic_2")
_PCM = """
pcm.{name} {{
    type pulse
    device {device}
    hint {{ show on description "{name}" }}
}}
"""
# Without norewinds a null sink works in blocks of up to two seconds.
_SINK = "module-null-sink sink_name={} rate=48000 norewinds=1"
_QUIET: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}


def missing() -> str:
    """Why there can be no such daemon here, or ""."""
    for program in ("pulseaudio", "pactl", "pacmd", "parec", "pacat"):
        if shutil.which(program) is None:
            return f"{program} is not installed (Debian: pulseaudio, pulseaudio-utils)"
    if not any(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")):
        return "ALSA cannot talk to PulseAudio here (Debian: libasound2-plugins)"
    try:
        import sounddevice  # noqa: F401
    except (ImportError, OSError):
        return "PortAudio is not installed (Debian: libportaudio2)"
    return ""


class Pulse:
    """A running daemon. Use `pulse()`.

    Attributes:
        env: the environment in which programs find it, and only it.
    """

    def __init__(self, folder: Path) -> None:
        runtime = folder / "run"
        runtime.mkdir(mode=0o700)
        alsa = "pcm.!default { type pulse }\nctl.!default { type pulse }\n"
        alsa += "".join(_PCM.format(name=name, device=name) for name in SPEAKERS)
        alsa += "".join(_PCM.format(name=name, device=f"{name}.monitor") for name in MICROPHONES)
        (folder / ".asoundrc").write_text(alsa, encoding="utf-8")
        self.env = {
            **{k: v for k, v in os.environ.items() if not k.startswith("PULSE_")},
            "HOME": str(folder),
            "XDG_RUNTIME_DIR": str(runtime),
            "XDG_CONFIG_HOME": str(folder / "config"),
        }
        modules = [_SINK.format(name) for name in (*SPEAKERS, *MICROPHONES)]
        modules += ["module-native-protocol-unix", "module-cli-protocol-unix"]
        options = ["--daemonize=no", "--system=false", "--exit-idle-time=-1", "--log-target=null"]
        command = ["pulseaudio", "-n", *options, *(f"--load={module}" for module in modules)]
        self._daemon = subprocess.Popen(command, env=self.env, **_QUIET)
        end = time.monotonic() + 15.0
        while not set(SPEAKERS + MICROPHONES) <= set(self._names("sinks")):
            if time.monotonic() > end:
                self.stop()
                raise TimeoutError("PulseAudio does not start")
            time.sleep(0.05)
        self.ctl("set-default-sink", SPEAKERS[0])
        self.ctl("set-default-source", f"{MICROPHONES[0]}.monitor")

    def stop(self) -> None:
        self._daemon.terminate()
        try:
            self._daemon.wait(timeout=5.0)
        except subprocess.TimeoutExpired:
            self._daemon.kill()
            self._daemon.wait()

    def ctl(self, *words: str) -> str:
        return subprocess.run(
            ["pactl", *words], env=self.env, capture_output=True, text=True
        ).stdout

    def unplug(self, name: str) -> None:
        """Take a sink and its monitor away, and the streams on them with it.

        PulseAudio moves such streams to another device, which would play on as if nothing had
        happened; so they are ended as well.
        """
        streams = []
        for where, what, device in (
            ("sinks", "sink-inputs", name),
            ("sources", "source-outputs", f"{name}.monitor"),
        ):
            number = self._names(where).get(device)
            streams += [(what[:-1], row[0]) for row in self._rows(what) if row[1] == number]
        for row in self._rows("modules"):
            if f"sink_name={name} " in "\t".join(row):
                self.ctl("unload-module", row[0])
        for kind, number in streams:
            subprocess.run(["pacmd", f"kill-{kind}", number], env=self.env, **_QUIET)

    def plug(self, name: str) -> None:
        self.ctl("load-module", *_SINK.format(name).split())

    def play(self, samples: npt.NDArray[np.float32], name: str = MICROPHONES[0]) -> None:
        """Say `samples` (mono, 16 kHz) into a microphone; returns when they are said."""
        with self.playing(name) as feed:
            feed.write(samples)

    @contextlib.contextmanager
    def playing(self, name: str = MICROPHONES[0]) -> Iterator[Feed]:
        """An open feed into a microphone, for samples that come bit by bit."""
        process = self._stream("pacat", "--playback", name, stdin=subprocess.PIPE)
        try:
            yield Feed(process.stdin)
        finally:
            with contextlib.suppress(OSError):
                process.stdin.close()
            process.wait(timeout=60)

    @contextlib.contextmanager
    def recording(self, name: str = SPEAKERS[0]) -> Iterator[Tape]:
        """What is heard on a loudspeaker (or said into a microphone), while it runs."""
        process = self._stream("parec", "--record", f"{name}.monitor", stdout=subprocess.PIPE)
        tape = Tape(process.stdout)
        try:
            yield tape
        finally:
            process.terminate()
            process.wait(timeout=5)
            tape.join(timeout=5)  # until the last block is in

    def _stream(self, program: str, way: str, device: str, **pipe: int) -> Any:
        shape = ["--format=float32le", f"--rate={RATE}", "--channels=1", "--latency-msec=20"]
        command = [program, way, f"--device={device}", *shape, "--raw"]
        return subprocess.Popen(command, env=self.env, **{**_QUIET, **pipe})

    def _rows(self, what: str) -> list[list[str]]:
        rows = [line.split("\t") for line in self.ctl("list", "short", what).splitlines()]
        return [row for row in rows if len(row) > 1]

    def _names(self, what: str) -> dict[str, str]:
        return {row[1]: row[0] for row in self._rows(what)}


class Feed:
    """Samples on their way into a microphone."""

    def __init__(self, pipe: Any) -> None:
        self._pipe = pipe

    def write(self, samples: npt.NDArray[np.float32]) -> None:
        """Append samples, mono at 16 kHz."""
        self._pipe.write(np.asarray(samples, dtype="<f4").tobytes())
        self._pipe.flush()


class Tape(threading.Thread):
    """What a recording has taken so far; `times` has when each block came, by `time.monotonic`."""

    def __init__(self, pipe: Any) -> None:
        super().__init__(daemon=True)
        self._pipe = pipe
        self._data = bytearray()
        self.times: list[tuple[float, int]] = []
        self.start()

    def run(self) -> None:
        while data := self._pipe.read1(4096):
            self._data += data
            self.times.append((time.monotonic(), len(self._data) // 4))

    def samples(self, last: int = 0) -> npt.NDArray[np.float32]:
        """All of it, mono at 16 kHz, or the `last` so many."""
        end = len(self._data) // 4 * 4
        return np.frombuffer(bytes(self._data[max(0, end - 4 * last) if last else 0 : end]), "<f4")


@contextlib.contextmanager
def pulse() -> Iterator[Pulse]:
    """A daemon of one's own for the time of a `with` block."""
    with tempfile.TemporaryDirectory(prefix="lugpulse-") as folder:
        daemon = Pulse(Path(folder))
        try:
            yield daemon
        finally:
            daemon.stop()
