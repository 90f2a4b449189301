"""Adapts Whisper to the shop: writes `assistant/voice/recognition/whisper_shop.npz`.

    python -m tests.benchmarks.fit_whisper hear --n 24000 --work FOLDER [--part 0/2]
    python -m tests.benchmarks.fit_whisper fit --work FOLDER [--write] [--without PERSON]
    python -m tests.benchmarks.fit_whisper check [--changes FILE]

`hear` speaks phrases in training and tuning voices through noise and line and keeps their
spectra. Where there are recordings of people (`$LUGCALL_PEOPLE`, see tests/spoken/recordings.py),
every third example is people's digits in a row, and half of the people's sentences are talk that is
not for the program; `--without` leaves one person out, to measure on. `fit` trains low-rank changes
of the matrices of encoder and decoder (Hu et al., "LoRA: Low-Rank Adaptation of Large Language
Models", 2021, cited from memory) so that a reading or a command is written as the grammar spells
it, and a sound that was not meant for the program gives the token for no speech at once. It needs
PyTorch besides (two cores do; an accelerator is used where there is one), and Debian's fortunes for
what people say beside the job; no test voice, no test noise and no test chatter. `check` counts
readings taken rightly in voices that are in neither: those of the background.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import re
import sys
import time
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import soxr
from tokenizers import Tokenizer

from assistant.readings.speak import number_words
from assistant.texts.dialogs import load_dialogs
from assistant.voice.devices.audio import RATE
from assistant.voice.devices.audio import load as load_sound
from assistant.voice.recognition.expected import _sayable, expected, reading_grammar
from assistant.voice.recognition.models import whisper_folder
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.recognition.whisper import WhisperRecognizer, in_window
from assistant.voice.recognition.whisper_model import CHANGES, WeightsFile, places
from tests.benchmarks.hearing_utterances import hear_all, judge, plan
from tests.demo import card
from tests.spoken import channels, forms, noises, nonspeech, recordings, voices
from tests.spoken.commands import moments
from tests.spoken.phrases import QUOTA, drawn, plain
from tests.spoken.talkers import installed
from tests.spoken.voices import ACCENTS, VARIANTS, Voice, available

FORTUNES = Path("/usr/share/games/fortunes")
RANK = 32
SEED = 5_000_000
ROOMS = (7, 12, 24)
"""Tokens that a batch has room for: short phrases go together."""


# -- what is said ---------------------------------------------------------------------------------


def sentences() -> list[str]:
    """Sentences of 3 to 11 plain words from fortunes."""
    text = " ".join(p.read_text("utf-8", "ignore") for p in sorted(FORTUNES.glob("*.u8")))
    found = re.findall(
        r"(?<=[.!?] )([A-Z][a-z',]*(?: [a-z',]+){2,10})[.!?]", text.replace("\n", " ")
    )
    return [f.replace(",", "").lower() for f in dict.fromkeys(found)]


class Words:
    """Draws (text for the talker, words as the grammar spells them; "" for not meant for us)."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.talk = sentences()
        self.grammars = {q: reading_grammar(q) for q in QUOTA}
        dialogs = load_dialogs()
        jobs = moments(card(), dialogs)
        self.places = [(j, who) for j in jobs.values() for who in ("tech", "helper")]
        self.now = [expected(j, who) for j, who in self.places[::3]]
        phrases = {w for m in dialogs.words.values() for w in m.phrases}
        phrases |= {a for step in dialogs.steps for a in step.answers}
        self.common = [m.phrases[:6] for m in dialogs.words.values() if m.phrases]
        self.phrases = sorted(phrases)

    def draw(self) -> tuple[str, str]:
        kind = self.rng.choices(
            ("reading", "grammar", "now", "command", "phrase", "chatter"),
            (45, 9, 8, 14, 9, 15),
        )[0]
        often = {"odometer": 2.5, "lugs": 1.5, "turns": 1.5, "flats": 1.5}
        weights = [n * often.get(q, 1) for q, n in QUOTA.items()]
        quantity = self.rng.choices(list(QUOTA), weights)[0]
        if kind == "reading":
            text = drawn(quantity, "tuning", self.rng).text
            if self.rng.random() < 0.15:
                text = self.rng.choice(forms.LEADS["tuning"]).format(text)
            return text, plain(text)
        if kind in ("grammar", "now"):
            grammar = self.grammars[quantity] if kind == "grammar" else self.rng.choice(self.now)
            (text,) = grammar.sentences(1, self.rng)
            return text, text
        if kind == "chatter":
            return self.rng.choice(self.talk), ""
        listed = self.rng.choice(self.common) if kind == "command" else self.phrases
        text = _sayable(self.rng.choice(listed)) or "check"
        return text, text


# -- as it is heard -------------------------------------------------------------------------------


def talker(rng: random.Random) -> Voice:
    """Somebody: an espeak-ng variant of the training in any accent, speed and pitch; or another."""
    dice = rng.random()
    if dice < 0.03 and installed("kokoro"):
        people = ("jf_alpha", "jf_gongitsune", "jf_tebukuro", "jm_kumo")
        one, other = rng.sample(people, 2)
        share = rng.choice((1.0, 0.7, 0.5, 0.3))
        return Voice(
            f"kokoro-{one}-{other}-{share}", "kokoro", "training",
            (f"{one}/{other}/{share}", str(rng.choice((0.85, 1.0, 1.2, 1.35)))),
        )  # fmt: skip
    others = [v for v in available("tuning") if v.make != "espeak-ng"]
    if dice < 0.25 and others:
        return rng.choice(others)
    settings = (
        f"{rng.choice(ACCENTS)}+{rng.choice(VARIANTS)}",
        str(rng.randrange(125, 206, 10)),
        str(rng.randrange(25, 71, 5)),
    )
    return Voice("any-" + "-".join(settings).replace("+", "-"), "espeak-ng", "training", settings)


def hear(n: int, work: Path, part: int, parts: int) -> None:
    """Write `n` examples in files of 200: spectrum (80, frames), tokens."""
    rng = random.Random(SEED + part)
    words = Words(rng)
    work.mkdir(parents=True, exist_ok=True)
    noise, events = nonspeech.stream(60, SEED + part, "tuning")
    hum = Hum(words, SEED + part)
    people = recordings.sentences()[::2] if recordings.folder() else []
    for start in range(0, n, 200):
        file = work / f"part{part}-{start:05}.npz"
        todo = []
        for _ in range(200):
            text, said = words.draw()
            todo.append((talker(rng), text, said, rng.random(), rng.randrange(1 << 30)))
        if file.exists():
            continue
        voices.prepare([(v, t) for v, t, *_ in todo], 1)
        kept = {}
        for i, (voice, text, said, dice, seed) in enumerate(todo):
            r, person = np.random.default_rng(seed), ""
            if people and dice > 0.94:
                path, said = people[int(r.integers(len(people)))], ""
                talk = load_sound(path)
                at, person = int(r.integers(max(1, len(talk) - 2 * RATE))), "many"
                sound = hum.around(changed(talk[at : at + 5 * RATE], r), seed, r)
            elif people and dice > 0.62:
                made = recordings.row(r)
                person, said = made.person, made.words
                sound = hum.around(changed(made.clean(), r, 0.22), seed, r)
            elif people and dice > 0.55:
                clean, said = joined(voice, r)
                sound = hum.around(changed(clean, r, 0.22), seed, r)
            elif dice < 0.08:
                event = events[r.integers(len(events))]
                at = int(max(event.start_s - r.uniform(0, 0.4), 0) * RATE)
                sound, said = noise[at : int((event.end_s + r.uniform(0, 0.5)) * RATE)], ""
                sound = sound[: 6 * RATE]
            else:
                sound = hum.around(changed(voices.say(voice, text), r), seed, r)
            level = 0.5 / max(float(np.abs(sound).max()), 1e-4)
            kept[f"x{i}"] = in_window(sound * np.float32(level), True).astype(np.float16)
            kept[f"y{i}"], kept[f"p{i}"] = np.array(said), np.array(person)
        np.savez(file.with_suffix(".tmp.npz"), **kept)
        file.with_suffix(".tmp.npz").rename(file)
        print(f"{part}: {start + 200} of {n}", file=sys.stderr, flush=True)


def joined(voice: Voice, r):
    """One to five figures, each said alone by the voice and cut tight: what people's rows are made
    like, in voices that no recordings are needed of."""
    count = int(r.choice((1, 2, 3, 4, 5), p=recordings.COUNTS))
    said = [number_words(int(figure)) for figure in r.integers(0, 10, count)]
    voices.prepare([(voice, word) for word in said], 1)
    before, after = (round((s - 0.01) * RATE) for s in voices.KEPT_S)
    digits = [voices.say(voice, word)[before:-after] for word in said]
    return recordings.in_a_row(digits, r), " ".join(said)


class Hum:
    """Noise, line and level around words, cut as the endpointer would cut."""

    def __init__(self, words: Words, seed: int) -> None:
        rng = random.Random(seed)
        self.crowd = []
        for _ in range(60):
            voice = talker(rng)
            if voice.make == "espeak-ng":
                text = ". ".join(rng.choice(words.talk) for _ in range(6))
                self.crowd.append(voices.say(voice, text))

    def around(self, said, seed: int, r):
        """`said` in a scene; the cut is up to half a second wide of the words."""
        kind = str(
            r.choice(
                ("idle", "impacts", "hiss", "babble", "crowd", "color", ""),
                p=(0.17, 0.17, 0.13, 0.12, 0.16, 0.15, 0.1),
            )
        )
        ranges = ((18, 30), (8, 15), (3, 8), (-1, 3))
        snr = float(r.uniform(*ranges[r.choice(4, p=(0.32, 0.4, 0.21, 0.07))]))
        channel = str(
            r.choice(("wideband", "narrowband", "headset", "far"), p=(0.42, 0.36, 0.12, 0.1))
        )
        if kind in ("crowd", "color"):
            n = len(said) + 2 * RATE
            made = self._crowd(n, r) if kind == "crowd" else colored(n, r)
            noises.KINDS["made"] = lambda m, _: made[:m]
            kind = "made"
        scene = channels.scene(said, kind, snr, channel, seed)
        at = int((scene.start_s - r.uniform(-0.05, 0.45)) * RATE)
        end = int((scene.end_s + r.uniform(-0.05, 0.6)) * RATE)
        return scene.samples[at:end]

    def _crowd(self, n: int, r):
        """One to six people at once."""
        out = np.zeros(n)
        for k in r.choice(len(self.crowd), r.integers(1, 7), replace=False):
            talk = np.resize(np.roll(self.crowd[k], r.integers(len(self.crowd[k]))), n)
            out += noises.scaled(talk) * r.uniform(0.5, 1)
        return out


def colored(n: int, r):
    """Noise of any slope, in any band, steady or swelling."""
    f = np.fft.rfftfreq(n, 1 / RATE)
    spectrum = np.fft.rfft(r.normal(size=n)) * np.maximum(f, 30) ** -r.uniform(-0.3, 1.3)
    center, width = np.exp(r.uniform(np.log(150), np.log(5000))), r.uniform(0.3, 2)
    spectrum *= 0.3 + np.exp(-0.5 * (np.log(np.maximum(f, 1) / center) / width) ** 2)
    out = np.fft.irfft(spectrum, n)
    if r.random() < 0.5:
        out = out * (1 + 0.8 * np.sin(2 * np.pi * r.uniform(0.3, 9) * np.arange(n) / RATE))
    return noises.scaled(out)


def changed(samples, r, most: float = 0.14):
    """Another speaker of the same words: quicker or slower, higher or lower, by up to `most`."""
    rate = RATE * float(np.exp(r.uniform(-most, most)))
    return np.asarray(soxr.resample(samples, rate, RATE), np.float32)


# -- the fit --------------------------------------------------------------------------------------


def load(work: Path, held: int, without: str, spelled):
    """Examples by shape: {(frames, room): (spectra, token lists)}, and those held back; none of the
    person `without`. `spelled` gives the tokens of words."""
    out, back = {}, {}
    for n, file in enumerate(sorted(work.glob("part*-*.npz"))):
        if ".tmp" in file.name:
            continue
        with np.load(file) as data:
            into = back if n % held == held - 1 else out
            for name in data.files:
                if name[0] == "x" and (not without or str(data["p" + name[1:]]) != without):
                    x, y = data[name], spelled(str(data["y" + name[1:]]))
                    room = next((r for r in ROOMS if len(y) <= r), 0)
                    xs, ys = into.setdefault((x.shape[1], room), ([], []))
                    if room:
                        xs.append(x)
                        ys.append(y)
    return out, back


class Net:
    """The model of `base` in PyTorch, with low-rank changes of every matrix; norms too."""

    def __init__(self, torch: Any, weights, start: Path | None, rank: int = RANK) -> None:
        self.torch, self.functional = torch, torch.nn.functional
        self.on = "cuda" if torch.cuda.is_available() else "cpu"
        self.fixed = {
            k: torch.from_numpy(v.astype(np.float32)).contiguous().to(self.on)
            for k, v in weights.items()
            if v.dtype.kind == "f"
        }
        self.heads = weights["embeddings"].shape[1] // 64
        self.kept = torch.from_numpy(weights["kept"].astype(np.int64)).to(self.on)
        self.change = {}
        before = {k: v.astype("f4") for k, v in np.load(start).items() if v.ndim} if start else {}
        draw = torch.Generator().manual_seed(0)
        for name, value in self.fixed.items():
            if name.endswith(".w"):
                a, b = value.shape
                down = torch.randn(a, rank, generator=draw) / a**0.5
                up = torch.zeros(rank, b)
                if name + ".a" in before:
                    down[:, : before[name + ".a"].shape[1]] = torch.tensor(before[name + ".a"])
                    up[: before[name + ".b"].shape[0]] = torch.tensor(before[name + ".b"])
                self.change[name + ".a"], self.change[name + ".b"] = down, up
            elif name.endswith((".g", ".n")):
                new = before.get(name, np.zeros(value.shape, np.float32))
                self.change[name] = torch.tensor(new)
        self.change = {k: v.to(self.on).requires_grad_(True) for k, v in self.change.items()}

    def linear(self, x, name):
        # The product of the changes is never formed: the fixed weights then need no gradient.
        down, up = self.change[name + ".w.a"], self.change[name + ".w.b"]
        fixed = self.functional.linear(x, self.fixed[name + ".w"].T, self.fixed[name + ".b"])
        return fixed + (x @ down) @ up

    def norm(self, x, name):
        gain, shift = (self.fixed[f"{name}.{k}"] + self.change[f"{name}.{k}"] for k in "gn")
        return self.functional.layer_norm(x.float(), gain.shape, gain, shift)

    def attend(self, q, k, v, causal=False):
        def split(x):
            return x.reshape(*x.shape[:2], self.heads, -1).transpose(1, 2)

        attention = self.functional.scaled_dot_product_attention
        seen = attention(split(q), split(k), split(v), is_causal=causal)
        return seen.transpose(1, 2).reshape(q.shape)

    def own(self, x, name, causal=False):
        """One layer's look at what it has itself."""
        q, k, v = self.linear(self.norm(x, f"{name}.own"), f"{name}.inward").chunk(3, -1)
        return x + self.linear(self.attend(q, k, v, causal), f"{name}.outward")

    def mlp(self, x, name):
        h = self.functional.gelu(self.linear(self.norm(x, f"{name}.mlp"), f"{name}.first"))
        return x + self.linear(h, f"{name}.second")

    def encode(self, spectra):
        f, gelu, conv = self.fixed, self.functional.gelu, self.functional.conv1d
        x = gelu(conv(spectra, f["encoder.conv1"], f["encoder.conv1.b"], padding=1))
        x = gelu(conv(x, f["encoder.conv2"], f["encoder.conv2.b"], stride=2, padding=1))
        x = x.transpose(1, 2) + f["encoder.positions"][: x.shape[2]]
        n = 0
        while f"encoder.{n}.first.w" in f:
            x = self.mlp(self.own(x, f"encoder.{n}"), f"encoder.{n}")
            n += 1
        return self.norm(x, "encoder.last")

    def logits(self, encoded, tokens):
        f = self.fixed
        x = f["embeddings"][tokens] + f["positions"][: tokens.shape[1]]
        n = 0
        while f"{n}.first.w" in f:
            x = self.own(x, str(n), causal=True)
            q = self.linear(self.norm(x, f"{n}.cross"), f"{n}.query")
            k, v = self.linear(encoded, f"{n}.keys").chunk(2, -1)
            x = x + self.linear(self.attend(q, k, v), f"{n}.seen")
            x = self.mlp(x, n)
            n += 1
        return self.norm(x, "last") @ f["embeddings"][self.kept].T

    def loss(self, spectra, tokens, targets):
        """Mean over phrases of the negative log probability of their tokens."""
        spectra, tokens, targets = (x.to(self.on) for x in (spectra, tokens, targets))
        with self.torch.autocast(self.on, self.torch.bfloat16):
            out = self.logits(self.encode(spectra), tokens)[:, -targets.shape[1] :]
        out = out.float().reshape(-1, out.shape[-1])
        total = self.functional.cross_entropy(
            out, targets.reshape(-1), ignore_index=-1, reduction="sum"
        )
        return total / len(tokens)


def masked(spectra, rng):
    """Another throat, another microphone's tilt, stretches of time and bands of pitch left out.

    After Jaitly and Hinton, "Vocal Tract Length Perturbation" (2013), and Park et al.,
    "SpecAugment" (2019), both cited from memory.
    """
    bands = np.arange(80)
    for x in spectra:
        longer = bands * rng.uniform(0.87, 1.15) + rng.normal(0, 0.5)
        low = np.clip(longer.astype(int), 0, 78)
        part = np.clip(longer - low, 0, 1).astype(np.float32)[:, None]
        x[:] = x[low] * (1 - part) + x[low + 1] * part
        level = x.mean()
        x += np.interp(np.arange(80), np.linspace(0, 79, 6), rng.normal(0, 0.08, 6))[:, None]
        for _ in range(rng.integers(0, 3)):
            width = rng.integers(1, 10)
            at = rng.integers(0, 80 - width)
            x[at : at + width] = level
        for _ in range(rng.integers(0, 3)):
            width = rng.integers(1, 14)
            at = rng.integers(0, x.shape[1] - width)
            x[:, at : at + width] = level
    return spectra


def fit(
    work: Path,
    given: Path,
    epochs: float,
    write: bool,
    rate: float,
    start: Path | None,
    without: str = "",
    rank: int = RANK,
    batch: int = 32,
) -> None:
    """Train, print losses as it goes, keep the changes."""
    import torch

    torch.manual_seed(0)
    with np.load(given) as file:
        weights = dict(file)
    tokenizer = Tokenizer.from_str(weights.pop("tokenizer").tobytes().decode())

    @cache
    def spelled(said: str):
        words = (tokenizer.encode(" " + w, add_special_tokens=False).ids for w in said.split())
        tokens = [token for ids in words for token in ids]
        return np.asarray(tokens or [int(weights["no_speech"])], np.int32)

    data, held = load(work, 20, without, spelled)
    out = work / f"{given.stem}{without and '_without_' + without}.npz"
    said = np.unique(np.concatenate([y for d in (data, held) for _, ys in d.values() for y in ys]))
    weights["kept"] = kept = np.union1d(weights["kept"], said)
    at = np.full(int(kept.max()) + 1, -1)
    at[kept] = np.arange(len(kept))
    prompt, eot = weights["prompt"].astype(int), int(weights["eot"])
    net = Net(torch, weights, start, rank)
    rng = np.random.default_rng(0)

    def batches(data, rng, vary=True):
        made = []
        for shape, (xs, _) in data.items():
            order = rng.permutation(len(xs))
            for i in range(0, len(xs) - batch // 2 + 1, batch):
                made.append((shape, order[i : i + batch]))
        rng.shuffle(made)
        for shape, chosen in made:
            xs, ys = data[shape]
            spectra = np.stack([xs[i] for i in chosen]).astype(np.float32)
            spectra = masked(spectra, rng) if vary else spectra
            longest = shape[1]
            tokens = np.full((len(chosen), len(prompt) + longest), eot)
            targets = np.full((len(chosen), longest + 1), -1)
            tokens[:, : len(prompt)] = prompt
            for row, i in enumerate(chosen):
                y = ys[i]
                tokens[row, len(prompt) : len(prompt) + len(y)] = y
                targets[row, : len(y) + 1] = at[[*y, eot]]
                if targets[row, 0] == at[int(weights["no_speech"])]:
                    targets[row, 1] = -1
            yield torch.from_numpy(spectra), torch.from_numpy(tokens), torch.from_numpy(targets)

    count = sum(-(-len(xs) // batch) for xs, _ in data.values())
    steps = int(count * epochs)
    optimizer = torch.optim.AdamW(net.change.values(), lr=rate, weight_decay=1e-3)

    def pace(step: int) -> float:
        """Up in 50 steps, then down as a cosine to a fiftieth."""
        down = 0.5 * (1 + np.cos(np.pi * min(1.0, step / steps)))
        return min(1.0, (step + 1) / 50) * (0.02 + 0.98 * down)

    schedule = torch.optim.lr_scheduler.LambdaLR(optimizer, pace)

    @torch.no_grad()
    def held_back():
        values = [float(net.loss(*e)) for e in batches(held, np.random.default_rng(1), False)]
        return float(np.mean(values)) if values else float("nan")

    print(
        f"{sum(len(x) for x, _ in data.values())} examples, {steps} steps; before: "
        f"{held_back():.3f} a phrase",
        flush=True,
    )
    done, recent, begun = 0, [], time.perf_counter()
    while done < steps:
        for example in batches(data, rng):
            value = net.loss(*example)
            optimizer.zero_grad()
            value.backward()
            torch.nn.utils.clip_grad_norm_(net.change.values(), 5.0)
            optimizer.step()
            schedule.step()
            recent.append(value.item())
            done += 1
            if done % 50 == 0:
                each = (time.perf_counter() - begun) / done
                print(f"{done}: {np.mean(recent):.3f}, {each:.2f} s a step", flush=True)
                recent = []
            if done % 300 == 0 or done == steps:
                print(f"  held back: {held_back():.3f}", flush=True)
                keep(net.change, weights, out)
            if done >= steps:
                break
    if write:
        keep(net.change, weights, CHANGES)


def keep(change, weights, path: Path) -> None:
    """Half precision: the changes are small beside the weights, which are kept like that too."""
    out = {k: v.detach().cpu().numpy().astype(np.float16) for k, v in change.items()}
    np.savez_compressed(path, model=weights["model"], **out)


def base(folder: Path) -> dict[str, np.ndarray]:
    """The weights as arrays: matrices as (in, out), convolutions as they are; names are those of
    `whisper_shop`."""
    e = WhisperRecognizer(folder)
    found, out = WeightsFile(folder / "model.bin").variables, {}
    digest = hashlib.sha256((folder / "model.bin").read_bytes()).hexdigest()
    for name, place in places(found).items():
        value = found[place]  # half precision, as in the file
        out[name] = np.ascontiguousarray(value.T) if name.endswith(".w") else value
        if name.endswith(".w"):
            out[name[:-1] + "b"] = found[place.replace("/weight", "/bias")]
    for n in (1, 2):
        out[f"encoder.conv{n}"] = found[f"encoder/conv{n}/weight"]
        out[f"encoder.conv{n}.b"] = found[f"encoder/conv{n}/bias"]
    return out | {
        "positions": found["decoder/position_encodings/encodings"],
        "encoder.positions": found["encoder/position_encodings/encodings"],
        "embeddings": found["decoder/embeddings/weight"],
        "kept": e.decoder.kept, "eot": np.array(e.eot), "no_speech": np.array(e.no_speech),
        "prompt": np.array(e._begin), "model": np.array(digest),
        "tokenizer": np.frombuffer((folder / "tokenizer.json").read_bytes(), np.uint8),
    }  # fmt: skip


# -- voices it has not learnt from ----------------------------------------------------------------


def check(changes: Path | None, n: int) -> None:
    """Of `n` utterances at 20, 10 and 5 dB and without noise, how many readings come out right,
    first of the list."""
    found = whisper_folder()
    engine = WhisperRecognizer(found.folder, shop=True, changes=changes, halves=found.halves)
    said = plan(n, 20, "tuning", "background", "calibration")
    rows = [judge(one) for one in hear_all(said, Recognizers([engine]), None)]
    by: dict[str, list[bool]] = {}
    for row in rows:
        u = row.said
        if u.is_reading:
            keys = ("all", f"{u.snr} dB" if u.snr else "clean", u.voice.name, u.kind, u.channel)
            for key in filter(None, keys):
                by.setdefault(key, []).append(row.got["lugcall"][1] == row.truth)
    print("\n".join(f"{key}: {sum(right)} of {len(right)}" for key, right in sorted(by.items())))


def main() -> None:
    args = argparse.ArgumentParser()
    args.add_argument("stage", choices=("hear", "weights", "fit", "check"))
    args.add_argument("--folder", type=Path, help="of other Whisper weights than those in place")
    args.add_argument("--given", type=Path, default=Path("whisper_shop_base.npz"))
    args.add_argument("--n", type=int, default=24_000)
    args.add_argument("--part", default="0/1")
    args.add_argument("--epochs", type=float, default=4)
    args.add_argument("--rate", type=float, default=1e-3)
    args.add_argument("--without", default="", help="leave out this person")
    args.add_argument("--rank", type=int, default=RANK)
    args.add_argument("--start", type=Path, help="changes to go on from")
    args.add_argument("--changes", type=Path, help="changes to check, else those in place")
    args.add_argument("--work", type=Path, default=Path("whisper-work"))
    args.add_argument("--write", action="store_true")
    a = args.parse_args()
    if a.stage == "hear":
        part, parts = map(int, a.part.split("/"))
        hear(a.n // parts, a.work, part, parts)
    elif a.stage == "weights":
        np.savez(a.given, **base(a.folder or whisper_folder().whole))
    elif a.stage == "check":
        check(a.changes, a.n)
    else:
        fit(a.work, a.given, a.epochs, a.write, a.rate, a.start, a.without, a.rank)


if __name__ == "__main__":
    main()
