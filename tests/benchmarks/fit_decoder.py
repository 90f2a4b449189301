"""Adapts Whisper's decoder to the shop: writes `assistant/voice/whisper_shop.npz`.

    python tests/benchmarks/fit_decoder.py hear --n 6000 --work FOLDER [--part 0/2]
    python tests/benchmarks/fit_decoder.py fit --work FOLDER [--write]

`hear` speaks phrases in training and tuning voices through noise and line, and keeps what the
encoder, which stays as it is, makes of them. `fit` trains low-rank changes of the decoder's
matrices (Hu et al., "LoRA: Low-Rank Adaptation of Large Language Models", 2021, cited from memory)
so that the decoder writes a reading or a command as the grammar spells it, and at once gives the
token for no speech when a sound was not meant for it. It needs JAX and optax, and Debian's
fortunes for what people say beside the job; no test voice, no test noise and no test chatter.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

FORTUNES = Path("/usr/share/games/fortunes")
RANK = 16
SEED = 4_000_000
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
        from assistant.card import load_card
        from assistant.procedure.dialog import load_dialogs
        from assistant.voice.expected import expected
        from assistant.voice.reading_grammar import reading_grammar
        from tests.spoken.moments import moments
        from tests.spoken.phrases import QUOTA

        self.rng = rng
        self.quota = QUOTA
        self.talk = sentences()
        self.grammars = {q: reading_grammar(q) for q in QUOTA}
        dialogs = load_dialogs()
        card = Path(__file__).parents[2] / "demo_sessions" / "truck_t104.toml"
        jobs = moments(load_card(card), dialogs)
        self.places = [(j, who) for j in jobs.values() for who in ("tech", "helper")]
        self.now = [expected(j, dialogs, who) for j, who in self.places[::3]]
        phrases = {w for m in dialogs.words.values() for w in m.phrases}
        phrases |= {a for step in dialogs.steps for a in step.answers}
        self.common = [m.phrases[:6] for m in dialogs.words.values() if m.phrases]
        self.phrases = sorted(phrases)

    def draw(self) -> tuple[str, str]:
        """One thing said."""
        from assistant.voice.expected import _spoken
        from tests.spoken.phrases import drawn, plain

        kind = self.rng.choices(
            ("reading", "grammar", "now", "command", "phrase", "note", "chatter"),
            (48, 12, 6, 12, 8, 3, 11),
        )[0]
        quantity = self.rng.choices(list(self.quota), list(self.quota.values()))[0]
        if kind == "reading":
            from tests.spoken import forms

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
        if kind == "note":
            text = "note " + self.rng.choice(self.talk)
            return text, text
        listed = self.rng.choice(self.common) if kind == "command" else self.phrases
        text = " ".join(_spoken(self.rng.choice(listed))) or "check"
        return text, text


# -- as it is heard -------------------------------------------------------------------------------


def hear(n: int, work: Path, part: int, parts: int) -> None:
    """Write `n` examples in files of 200: encoder output (frames, width), tokens."""
    from assistant.voice.audio import RATE
    from assistant.voice.models import whisper_folder
    from assistant.voice.whisper import WhisperEngine
    from tests.spoken import channels, nonspeech, voices

    rng = random.Random(SEED + part)
    words = Words(rng)
    engine = WhisperEngine(whisper_folder().folder, threads=1)
    engine.shop = True  # for the windows
    trained = voices.available("training")
    others = voices.available("tuning")
    own = [v for v in others if v.make != "espeak-ng"]
    work.mkdir(parents=True, exist_ok=True)
    noise, events = nonspeech.stream(20, SEED + part, "tuning")
    for start in range(0, n, 200):
        file = work / f"part{part}-{start:05}.npz"
        todo = []
        for _ in range(200):
            text, plain = words.draw()
            voice = rng.choice(own) if rng.random() < 0.4 else rng.choice(trained + others)
            todo.append((voice, text, plain, rng.random(), rng.randrange(1 << 30)))
        if file.exists():
            continue
        voices.prepare([(v, t) for v, t, *_ in todo], 1)
        kept = {}
        for i, (voice, text, plain, dice, seed) in enumerate(todo):
            r = np.random.default_rng(seed)
            if dice < 0.05:
                event = events[r.integers(len(events))]
                at = int(max(event.start_s - r.uniform(0, 0.4), 0) * RATE)
                sound, plain = noise[at : int((event.end_s + r.uniform(0, 0.5)) * RATE)], ""
                sound = sound[: 6 * RATE]
            else:
                said = changed(voices.say(voice, text), r)
                kind = str(r.choice(("idle", "impacts", "hiss", "babble", "")))
                snr = float(
                    r.choice(
                        (r.uniform(18, 30), r.uniform(8, 14), r.uniform(3, 7), 0),
                        p=(0.42, 0.34, 0.18, 0.06),
                    )
                )
                channel = str(
                    r.choice(
                        ("wideband", "narrowband", "headset", "far"), p=(0.42, 0.36, 0.12, 0.1)
                    )
                )
                scene = channels.scene(said, kind, snr, channel, seed)
                at = int((scene.start_s - r.uniform(-0.05, 0.45)) * RATE)
                end = int((scene.end_s + r.uniform(-0.05, 0.6)) * RATE)
                sound = scene.samples[at:end]
            level = 0.5 / max(float(np.abs(sound).max()), 1e-4)
            encoded = engine.encode(sound * np.float32(level))
            kept[f"x{i}"] = encoded.astype(np.float16)
            tokens = [t for w in plain.split() for t in engine._spell(w)]
            kept[f"y{i}"] = np.asarray(tokens if plain else [engine.no_speech], np.int32)
        np.savez(file.with_suffix(".tmp.npz"), **kept)
        file.with_suffix(".tmp.npz").rename(file)
        print(f"{part}: {start + 200} of {n}", file=sys.stderr, flush=True)


def changed(samples, r):
    """Another speaker of the same words: quicker or slower, higher or lower, by up to 15 %."""
    import soxr

    from assistant.voice.audio import RATE

    return np.asarray(soxr.resample(samples, RATE * r.uniform(0.87, 1.15), RATE), np.float32)


# -- the fit --------------------------------------------------------------------------------------


def load(work: Path, held: int):
    """Examples by shape: {(frames, room): (encodings, token lists)}, and those held back."""
    out, back = {}, {}
    for n, file in enumerate(sorted(work.glob("part*-*.npz"))):
        if ".tmp" in file.name:
            continue
        with np.load(file) as data:
            into = back if n % held == held - 1 else out
            for name in data.files:
                if name[0] == "x":
                    x, y = data[name], data["y" + name[1:]]
                    room = next((r for r in ROOMS if len(y) <= r), 0)
                    xs, ys = into.setdefault((len(x), room), ([], []))
                    if room:
                        xs.append(x)
                        ys.append(y)
    return out, back


def fit(
    work: Path, epochs: float, write: bool, rate: float, start: Path | None, batch: int = 32
) -> None:
    """Train, print losses as it goes, keep the changes."""
    import jax
    import jax.numpy as jnp
    import optax

    weights = dict(np.load(work / "base.npz"))
    kept = weights["kept"]
    at = np.full(int(kept.max()) + 1, -1)
    at[kept] = np.arange(len(kept))
    heads, width = 6, weights["embeddings"].shape[1]
    layers = 0
    while f"{layers}.first.w" in weights:
        layers += 1
    base = {k: jnp.asarray(v, jnp.float32) for k, v in weights.items() if v.dtype.kind == "f"}
    prompt, eot = weights["prompt"].astype(int), int(weights["eot"])
    rng = np.random.default_rng(0)
    change = {}
    for name, value in weights.items():
        if name.endswith(".w"):
            a, b = value.shape
            change[name + ".a"] = jnp.asarray(rng.normal(0, 1 / np.sqrt(a), (a, RANK)), jnp.float32)
            change[name + ".b"] = jnp.zeros((RANK, b), jnp.float32)
        elif name.endswith((".g", ".n")):
            change[name] = jnp.zeros(value.shape, jnp.float32)

    if start:
        with np.load(start) as file:
            change = {k: jnp.asarray(file[k], jnp.float32) for k in change}

    def linear(c, x, name):
        out = x @ base[name + ".w"] + base[name + ".b"]
        return out + (x @ c[name + ".w.a"]) @ c[name + ".w.b"]

    def norm(c, x, name):
        mean = x.mean(-1, keepdims=True)
        spread = jnp.sqrt(jnp.mean((x - mean) ** 2, -1, keepdims=True) + 1e-5)
        gain, shift = (base[f"{name}.{k}"] + c[f"{name}.{k}"] for k in "gn")
        return (x - mean) / spread * gain + shift

    def split(x):
        return x.reshape(*x.shape[:2], heads, width // heads).transpose(0, 2, 1, 3)

    def attend(q, k, v, mask):
        s = split(q) @ split(k).transpose(0, 1, 3, 2) / np.sqrt(width // heads) + mask
        return (jax.nn.softmax(s, -1) @ split(v)).transpose(0, 2, 1, 3).reshape(q.shape)

    def logits(c, encoded, tokens):
        length = tokens.shape[1]
        x = base["embeddings"][tokens] + base["positions"][:length]
        mask = jnp.triu(jnp.full((length, length), -1e9), 1)
        for n in range(layers):
            q, k, v = jnp.split(linear(c, norm(c, x, f"{n}.own"), f"{n}.inward"), 3, -1)
            x = x + linear(c, attend(q, k, v, mask), f"{n}.outward")
            q = linear(c, norm(c, x, f"{n}.cross"), f"{n}.query")
            k, v = jnp.split(linear(c, encoded, f"{n}.keys"), 2, -1)
            x = x + linear(c, attend(q, k, v, 0.0), f"{n}.seen")
            h = jax.nn.gelu(linear(c, norm(c, x, f"{n}.mlp"), f"{n}.first"), approximate=False)
            x = x + linear(c, h, f"{n}.second")
        return norm(c, x, "last") @ base["embeddings"][kept].T

    def loss(c, encoded, tokens, targets):
        logs = jax.nn.log_softmax(logits(c, encoded, tokens)[:, len(prompt) - 1 :], -1)
        mine = jnp.take_along_axis(logs, jnp.maximum(targets, 0)[..., None], -1)[..., 0]
        return -(mine * (targets >= 0)).sum() / len(tokens)

    def batches(data, rng):
        made = []
        for shape, (xs, _) in data.items():
            order = rng.permutation(len(xs))
            for i in range(0, len(xs) - batch + 1, batch):
                made.append((shape, order[i : i + batch]))
        rng.shuffle(made)
        for shape, chosen in made:
            xs, ys = data[shape]
            encoded = np.stack([xs[i] for i in chosen]).astype(np.float32)
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
            yield encoded, tokens, targets

    data, held = load(work, 20)
    count = sum(len(xs) // batch for xs, _ in data.values())
    steps = int(count * epochs)
    optimizer = optax.chain(
        optax.clip_by_global_norm(5.0),
        optax.adamw(
            optax.warmup_cosine_decay_schedule(0, rate, 30, steps, rate / 50), weight_decay=1e-3
        ),
    )
    state = optimizer.init(change)

    @jax.jit
    def step(c, state, *example):
        value, slope = jax.value_and_grad(loss)(c, *example)
        updates, state = optimizer.update(slope, state, c)
        return optax.apply_updates(c, updates), state, value

    judge = jax.jit(loss)

    def held_back(c):
        values = [float(judge(c, *e)) for e in batches(held, np.random.default_rng(1))]
        return float(np.mean(values)) if values else float("nan")

    print(
        f"{sum(len(x) for x, _ in data.values())} examples, {steps} steps; before: "
        f"{held_back(change):.3f} a phrase",
        flush=True,
    )
    done, recent = 0, []
    while done < steps:
        for example in batches(data, rng):
            change, state, value = step(change, state, *example)
            recent.append(float(value))
            done += 1
            if done % 50 == 0:
                print(f"{done}: {np.mean(recent):.3f}", flush=True)
                recent = []
            if done % 200 == 0 or done == steps:
                print(f"  held back: {held_back(change):.3f}", flush=True)
                keep(change, weights, work / "whisper_shop.npz")
            if done >= steps:
                break
    if write:
        into = Path(__file__).parents[2] / "assistant" / "voice" / "whisper_shop.npz"
        keep(change, weights, into)


def keep(change, weights, path: Path) -> None:
    """Half precision: the changes are small beside the weights, which are kept like that too."""
    out = {k: np.asarray(v, np.float16) for k, v in change.items()}
    np.savez_compressed(path, model=weights["model"], **out)


def base(work: Path) -> None:
    """The decoder as arrays, for `fit`, which runs without this project's packages."""
    from assistant.voice.models import WHISPER_SHA256, whisper_folder
    from assistant.voice.whisper import WhisperEngine

    e = WhisperEngine(whisper_folder().folder)
    d, out = e.decoder, {}
    for n, layer in enumerate(d.layers):
        for name, (w, b) in {
            "inward": layer.own.inward, "outward": layer.own.outward, "query": layer.cross.inward,
            "keys": layer.cross_keys, "seen": layer.cross.outward, "first": layer.first,
            "second": layer.second,
        }.items():  # fmt: skip
            out[f"{n}.{name}.w"], out[f"{n}.{name}.b"] = w, b
        for name, (g, b) in {
            "own": (layer.own.gamma, layer.own.beta),
            "cross": (layer.cross.gamma, layer.cross.beta),
            "mlp": (layer.gamma, layer.beta),
        }.items():  # fmt: skip
            out[f"{n}.{name}.g"], out[f"{n}.{name}.n"] = g, b
    out |= {"last.g": d.gamma, "last.n": d.beta, "embeddings": d.embeddings,
            "positions": d.positions, "kept": d.kept, "eot": np.array(e.eot),
            "no_speech": np.array(e.no_speech), "prompt": np.array([e.sot, e.no_times]),
            "model": np.array(WHISPER_SHA256)}  # fmt: skip
    work.mkdir(parents=True, exist_ok=True)
    np.savez(work / "base.npz", **out)


def main() -> None:
    args = argparse.ArgumentParser()
    args.add_argument("stage", choices=("hear", "fit"))
    args.add_argument("--n", type=int, default=6000)
    args.add_argument("--part", default="0/1")
    args.add_argument("--epochs", type=float, default=4)
    args.add_argument("--rate", type=float, default=1e-3)
    args.add_argument("--start", type=Path, help="changes to go on from")
    args.add_argument("--work", type=Path, default=Path("decoder-work"))
    args.add_argument("--write", action="store_true")
    a = args.parse_args()
    if a.stage == "hear":
        part, parts = map(int, a.part.split("/"))
        if part == 0:
            base(a.work)
        hear(a.n // parts, a.work, part, parts)
    else:
        fit(a.work, a.epochs, a.write, a.rate, a.start)


if __name__ == "__main__":
    main()
