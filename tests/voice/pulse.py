"""A private PulseAudio daemon with null sinks, so that real sound paths are tested without sound.

A null sink swallows what is played on it and repeats it on its monitor. `lug_speaker` is the
loudspeaker: programs play on it, `Pulse.record` listens to its monitor. `lug_mic` is the
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
import time
from collections.abc import Iterator
from pathlib import Path

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


def missing() -> str:
    """Why there can be no such daemon here, or ""."""
    for program in ("pulseaudio", "pactl", "pacmd", "parec", "pacat"):
        if shutil.which(program) is None:
            return f"{program} is not installed (Debian: pulseaudio, pulseaudio-utils)"
    places = Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")
    if not any(places):
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
        self._write_alsa(folder / ".asoundrc")
        self.env = {
            **{k: v for k, v in os.environ.items() if not k.startswith("PULSE_")},
            "HOME": str(folder),
            "XDG_RUNTIME_DIR": str(runtime),
            "XDG_CONFIG_HOME": str(folder / "config"),
        }
        self._daemon: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        """Start the daemon with its four sinks and wait until it answers."""
        # Without norewinds a null sink works in blocks of up to two seconds.
        sinks = [
            f"--load=module-null-sink sink_name={name} rate=48000 norewinds=1"
            for name in (*SPEAKERS, *MICROPHONES)
        ]
        self._daemon = subprocess.Popen(
            [
                "pulseaudio",
                "-n",
                "--daemonize=no",
                "--system=false",
                "--exit-idle-time=-1",
                "--log-target=null",
                "--load=module-native-protocol-unix",
                "--load=module-cli-protocol-unix",
                *sinks,
            ],
            env=self.env,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        end = time.monotonic() + 15.0
        while not set(SPEAKERS + MICROPHONES) <= set(self._names("sinks")):
            if time.monotonic() > end:
                self.stop()
                raise TimeoutError("PulseAudio does not start")
            time.sleep(0.05)
        self.ctl("set-default-sink", SPEAKERS[0])
        self.ctl("set-default-source", f"{MICROPHONES[0]}.monitor")

    def stop(self) -> None:
        """End the daemon."""
        if self._daemon is not None:
            self._daemon.terminate()
            try:
                self._daemon.wait(timeout=5.0)
            except subprocess.TimeoutExpired:
                self._daemon.kill()
                self._daemon.wait()
            self._daemon = None

    def ctl(self, *words: str) -> str:
        """One `pactl` command; its output."""
        got = subprocess.run(["pactl", *words], env=self.env, capture_output=True, text=True)
        return got.stdout

    def unplug(self, name: str) -> None:
        """Take a sink and its monitor away, and the streams on them with it.

        PulseAudio moves such streams to another device, which would play on as if nothing had
        happened; so they are ended as well.
        """
        kinds = (("sinks", "sink-inputs", name), ("sources", "source-outputs", f"{name}.monitor"))
        streams = []
        for where, what, device in kinds:
            number = self._names(where).get(device)
            for line in self.ctl("list", "short", what).splitlines():
                if line.split("\t")[1] == number:
                    streams.append((what[:-1], line.split("\t")[0]))
        for line in self.ctl("list", "short", "modules").splitlines():
            if f"sink_name={name} " in line:
                self.ctl("unload-module", line.split("\t")[0])
        for kind, number in streams:
            subprocess.run(
                ["pacmd", f"kill-{kind}", number], env=self.env, capture_output=True, check=False
            )

    def plug(self, name: str) -> None:
        """Put it back."""
        self.ctl(
            "load-module", "module-null-sink", f"sink_name={name}", "rate=48000", "norewinds=1"
        )

    def play(self, samples: npt.NDArray[np.float32], name: str = MICROPHONES[0]) -> None:
        """Say `samples` (mono, 16 kHz) into a microphone; returns when they are said."""
        with self.playing(name) as pipe:
            pipe.write(samples)

    @contextlib.contextmanager
    def playing(self, name: str = MICROPHONES[0]) -> Iterator[Feed]:
        """An open feed into a microphone, for samples that come bit by bit."""
        process = self._stream("pacat", "--playback", name, stdin=subprocess.PIPE)
        try:
            yield Feed(process)
        finally:
            assert process.stdin is not None
            with contextlib.suppress(OSError):
                process.stdin.close()
            process.wait(timeout=60)

    @contextlib.contextmanager
    def recording(self, name: str = SPEAKERS[0]) -> Iterator[Tape]:
        """What is heard on a loudspeaker (or said into a microphone), while it runs."""
        process = self._stream("parec", "--record", f"{name}.monitor", stdout=subprocess.PIPE)
        tape = Tape(process)
        try:
            yield tape
        finally:
            process.terminate()
            process.wait(timeout=5)
            tape.close()

    def _stream(
        self,
        program: str,
        way: str,
        device: str,
        stdin: int | None = None,
        stdout: int | None = None,
    ) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [
                program,
                way,
                f"--device={device}",
                "--format=float32le",
                f"--rate={RATE}",
                "--channels=1",
                "--latency-msec=20",
                "--raw",
            ],
            env=self.env,
            stdin=stdin,
            stdout=stdout,
            stderr=subprocess.DEVNULL,
        )

    def _names(self, what: str) -> dict[str, str]:
        lines = (line.split("\t") for line in self.ctl("list", "short", what).splitlines())
        return {fields[1]: fields[0] for fields in lines if len(fields) > 1}

    @staticmethod
    def _write_alsa(path: Path) -> None:
        text = "pcm.!default { type pulse }\nctl.!default { type pulse }\n"
        for name in SPEAKERS:
            text += _PCM.format(name=name, device=name)
        for name in MICROPHONES:
            text += _PCM.format(name=name, device=f"{name}.monitor")
        path.write_text(text, encoding="utf-8")


class Feed:
    """Samples on their way into a microphone."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process = process

    def write(self, samples: npt.NDArray[np.float32]) -> None:
        """Append samples, mono at 16 kHz."""
        assert self._process.stdin is not None
        self._process.stdin.write(np.asarray(samples, dtype="<f4").tobytes())
        self._process.stdin.flush()


class Tape:
    """What a recording has taken so far; `times` has when each block came, by `time.monotonic`."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        import threading

        self._process = process
        self._blocks: list[bytes] = []
        self.times: list[tuple[float, int]] = []
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        count = 0
        while data := self._process.stdout.read1(4096):  # type: ignore[attr-defined]
            self._blocks.append(data)
            count += len(data) // 4
            self.times.append((time.monotonic(), count))

    def samples(self) -> npt.NDArray[np.float32]:
        """All of it, mono at 16 kHz."""
        data = b"".join(self._blocks)
        return np.frombuffer(data[: len(data) // 4 * 4], dtype="<f4")

    def close(self) -> None:
        """Wait until the last block is in."""
        self._thread.join(timeout=5)


@contextlib.contextmanager
def pulse() -> Iterator[Pulse]:
    """A daemon of one's own for the time of a `with` block."""
    with tempfile.TemporaryDirectory(prefix="lugpulse-") as folder:
        daemon = Pulse(Path(folder))
        try:
            yield daemon
        finally:
            daemon.stop()
