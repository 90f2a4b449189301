"""Texts that would forge, hide or repaint lines, in every field of a card and of a record.

Whatever a command prints is made of lines of its own: no text begins one, and all of it is seen.
"""

from __future__ import annotations

import ast
import json
import shutil
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from assistant.cli.main import main
from assistant.record import verify_file
from assistant.sentences import MOST_SHOWN, printable
from tests.conftest import CARD
from tests.demo import DEMO
from tests.records import HARD, events_of, sealed

FORGED = (
    "SIGNED OFF by 12 at 2026-01-01", "Signed off by 12.", "GOOD     x.jsonl: 9 events, signed off",
    "DAMAGED  x.jsonl: line 3", "    TECH < Check?", "lugcall: all is well", "Record: x.jsonl",
)  # fmt: skip
BREAKS = ("\n", "\r", "\r\n", "\x0b", "\x0c", "\x1c", "\x85", "\u2028", "\u2029", "\x1b[2K\x1b[1G")
HOSTILE = [f"T-1{b}{f}" for f, b in zip(FORGED, BREAKS, strict=False)] + [
    *(f"T-1{b}{FORGED[0]}" for b in BREAKS), "\u202e12 yb FFO DENGIS", "T\u200b-\u20601\ufeff",
    "\u2066T-1\u2069\u200f", "T-1" + "\u0300" * 40, "\u115f\u3164T", "T-1" * 30_000, "\0T", "\x9bT",
]  # fmt: skip
WITH_ALL = "\n".join(f"{b}{f}" for f in FORGED for b in BREAKS) + "\u202e\u200b\u2066"
"""Every break before every forged line, in one text."""


def shown(*arguments: str | Path, code: int | None = None) -> str:
    """What a command prints, held to be harmless."""
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exception is None or isinstance(done.exception, SystemExit | click.ClickException)
    if isinstance(done.exception, click.ClickException):
        return ""
    assert code is None or done.exit_code == code, done.output
    harmless(done.output)
    return done.output


def harmless(output: str, most: int | None = MOST_SHOWN * 12) -> None:
    for line in output.split("\n"):
        assert line == printable(line, len(line)), ascii(line[:200])
        assert not line.startswith(FORGED), line
        assert most is None or len(line) <= most  # escaped, a sign takes up to ten


def test_printable_shows_what_it_does_not_obey() -> None:
    assert printable("T-104, Ünit 9 · 1½") == "T-104, Ünit 9 · 1½"
    assert printable("a\nb\x1b\u202e\u200b") == "a\\nb\\x1b\\u202e\\u200b"
    assert printable("e\u0301e\u0301\u0302\u0303") == "e\u0301e\u0301\u0302\\u0303"
    assert printable("x" * 5000) == "x" * 745 + " ... " + "x" * 250
    for text in HOSTILE:
        once = printable(text)
        assert printable(once, len(once)) == once
        assert all(unicodedata.category(c) not in ("Cc", "Cf", "Zl", "Zp", "Cs") for c in once)


def test_only_one_place_prints() -> None:
    """All that commands print passes `cli/terminal.py`."""
    folder = Path(main.callback.__code__.co_filename).parent  # type: ignore[union-attr]
    for path in folder.glob("*.py"):
        tree = ast.walk(ast.parse(path.read_text("utf-8")))
        calls = [ast.unparse(node.func) for node in tree if isinstance(node, ast.Call)]
        told = [c for c in calls if c in ("click.echo", "print", "click.secho", "sys.stdout.write")]
        assert path.name == "terminal.py" or len(told) <= (path.name == "main.py"), path  # help


# --- cards

KEYS = (
    "unit", "truck.cover", "shop.units", "ring.lug", "ring.source", "ring.set_by", "ring.type",
    "rod.thread", "rod.longer", "rod.source", "pedal.lash", "pedal.set_by", "stops.height",
    "figures.source", "figures.set_by", "figures.gap", "figures.gap.low", "figures.gap.source",
    "figures.clearance.target", "left.record", "left.by", "left.gap", "linkage.pedal",
    "linkage.thread", "linkage.bar.name", "x.y", "figures.x",
)  # fmt: skip


def with_text(key: str, text: str) -> str:
    """A card with this text at a dotted key."""
    section, _, name = key.rpartition(".")
    section = f"[[{section}]]" if section == "linkage.bar" else f"[{section}]" if section else ""
    return f"{section}\n{name} = {json.dumps(text)}\n".replace("\x7f", "\\u007f")


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.long
def test_every_field_of_a_card(key: str, tmp_path: Path) -> None:
    path = tmp_path / "truck.toml"
    for text in (*HOSTILE, WITH_ALL):
        path.write_text(with_text(key, text.encode("utf-8", "replace").decode()), "utf-8")
        said = shown("card", path, code=1)
        assert said.startswith("lugcall: truck.toml, line") and said.count("\n") == 1
        listed = shown("card", tmp_path, code=1)
        assert listed.startswith("lugcall: ")
        shown("chat", "--card", path, "--records", tmp_path / "r", code=1)
    assert not (tmp_path / "r").exists()


@pytest.mark.parametrize("text", [*HOSTILE[:8], WITH_ALL])
def test_keys_and_file_names_of_cards(text: str, tmp_path: Path) -> None:
    (tmp_path / "key.toml").write_text(f"{json.dumps(text)} = 1\n", "utf-8")
    shown("card", tmp_path / "key.toml", code=1)
    name = text.replace("/", "-").replace("\0", "")[:40]
    (tmp_path / f"{name}.toml").write_text(CARD, "utf-8")
    assert "unit T-1" in shown("card", tmp_path / f"{name}.toml", code=0)
    shown("card", tmp_path)
    shown("card", tmp_path / f"{name}-not-there.toml", code=1)


# --- records


def leaves(value: Any, at: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The places of all texts in an event's data, lists as one place."""
    if isinstance(value, dict):
        for key, inside in value.items():
            yield from leaves(inside, (*at, key))
    elif isinstance(value, list):
        for inside in value:
            yield from leaves(inside, at)
    elif isinstance(value, str):
        yield at


def replaced(value: Any, names: frozenset[str], text: str, name: str = "") -> Any:
    """The data with the texts under these names replaced."""
    if isinstance(value, dict):
        return {key: replaced(inside, names, text, key) for key, inside in value.items()}
    if isinstance(value, list):
        return [replaced(inside, names, text, name) for inside in value]
    return text if isinstance(value, str) and name in names else value


EVENTS = events_of(HARD)
NAMES = sorted({place[-1] for event in EVENTS for place in leaves(event["data"])} - {"format"})
FREE = frozenset({"unit", "name", "words", "text", "figures", "source", "code", "accepted", "what",
                  "doubts", "readback", "lead", "about", "defaulted"})  # fmt: skip
"""Names under which a record holds what people said, so that any text may stand there."""


def record_of(path: Path, names: frozenset[str], text: str) -> Path:
    data = ((e["at"], e["kind"], e["data"]) for e in EVENTS)
    card = {"card": EVENTS[0]["data"]["card"]}
    lines = [(at, kind, replaced(old, names, text)) for at, kind, old in data]
    lines[0][2]["card"] = card["card"] | {"name": text if "name" in names else "c.toml"}
    path.write_bytes(sealed(lines))
    assert verify_file(path).ok
    return path


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.long
def test_every_field_of_a_record(name: str, tmp_path: Path) -> None:
    record = record_of(tmp_path / "a.jsonl", frozenset({name}), WITH_ALL)
    shown("transcript", record)
    assert shown("verify", record, code=0).startswith("GOOD     ")
    shown("card", tmp_path / "new", "--new", "--from", record)


@pytest.mark.fleet
@pytest.mark.parametrize("text", [WITH_ALL, "T-1" * 3000, "\u202eT\u200b" + "\u0301" * 500])
def test_every_command_on_a_record(
    text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "records"
    folder.mkdir()
    record = record_of(folder / "a.jsonl", FREE, text)
    said = shown("transcript", record, code=0)
    assert "SIGNED OFF by" in said and len(said) < 3_000_000
    shown("verify", "--json", record, code=0)
    shown("review", folder, code=0)
    for question in ("needs_eyes", "units", "as_found_left", "misheard"):
        shown("review", folder, "--ask", question, code=0)
    for command in ("due", "retention"):
        shown(command, folder, *(["--days", "0"] if command == "retention" else []))
    for command in ("cause", "picture"):
        shown(command, "--record", record)
    shown("lead", "question", record, "--by", "L7", "--about", text[:200], "look", code=0)
    shown("lead", "question", record, "--by", text[:80], "look")
    shown("page", record, "--out", tmp_path / "job.html", code=0)
    shown("pages", folder, "--out", tmp_path / "site", code=0)
    for page in (tmp_path / "job.html", *(tmp_path / "site").rglob("*.html")):
        visible = page.read_text("utf-8").replace("\t", "")
        parts = visible.split("data-words=")
        harmless("".join([parts[0], *(part.partition('" ')[2] for part in parts[1:])]), None)


@pytest.mark.parametrize("forged", FORGED[2:4])
def test_a_file_name_does_not_forge_a_verdict(forged: str, tmp_path: Path) -> None:
    bad = tmp_path / f"a.jsonl\n{forged}"
    bad.write_text(HARD.read_text("utf-8").replace("21/32", "19/32", 1), "utf-8")
    assert shown("verify", bad, code=1).startswith("DAMAGED  ")
    good = tmp_path / f"b\r{forged}"
    shutil.copy(HARD, good)
    assert shown("verify", good, code=0).count("\n") == 1
    shown("transcript", bad, code=1)
    shown("resume", bad)


# --- what is typed


def test_what_is_typed(tmp_path: Path) -> None:
    lines = [f"{who}{text}" for text in HOSTILE for who in ("", "helper: ", "note ")]
    script = "\n".join(line.replace("\n", " ").replace("\r", " ") for line in lines)
    done = CliRunner().invoke(
        main, ["chat", "--card", str(DEMO / "truck_t104.toml"), "--records", str(tmp_path)],
        input=script.encode("utf-8", "replace"),
    )  # fmt: skip
    harmless(done.output)
    (record,) = tmp_path.glob("*.jsonl")
    shown("transcript", record, code=0)
    for text in HOSTILE[:-2]:
        shown("reading", text)
        shown("reading", "--for", "gap", "--json", text)
        shown("plan", "--gap", text, "--clearance", "1/8")
        shown("cause", text)
