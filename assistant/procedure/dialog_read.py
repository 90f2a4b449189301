"""Entries of the TOML files of `dialogs/`, each checked; a `DialogError` names file and entry."""

from __future__ import annotations

import re
import string
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from assistant.readings import QUANTITIES

from . import variants, vocabulary
from .dialog_types import (
    KINDS,
    MAX_WORDS,
    PLACEHOLDERS,
    RESERVED,
    SIGNALS,
    STAGES,
    WHO,
    Caution,
    DialogError,
    Meaning,
    Phase,
    Step,
)
from .variants import Instead, When


def toml_of(path: Path, digest: Any) -> dict[str, Any]:
    try:
        data = path.read_bytes()
        digest.update(data)
        return tomllib.loads(data.decode("utf-8"))
    except OSError as error:
        raise DialogError(
            f"dialogs: {path} cannot be read: {error.strerror}; check $LUGCALL_DIALOGS"
        ) from None
    except UnicodeDecodeError:
        raise DialogError(f"dialogs: {path.name} is not UTF-8 text; save it as UTF-8") from None
    except (ValueError, RecursionError) as error:
        raise DialogError(f"dialogs: {path.name}: not valid TOML: {error}") from None


def _take(
    where: str, entry: dict[str, Any], needed: tuple[str, ...], allowed: tuple[str, ...]
) -> None:
    for key in needed:
        if key not in entry:
            raise DialogError(f"dialogs: {where}: {key} is missing; add it")
    for key in entry:
        if key not in needed and key not in allowed:
            near = get_close_matches(key, needed + allowed, 1)
            hint = f"did you mean {near[0]}?" if near else "remove it"
            raise DialogError(f"dialogs: {where}: {key} is unknown; {hint}")


def _one_of(where: str, key: str, value: Any, allowed: tuple[str, ...]) -> str:
    if value not in allowed:
        raise DialogError(f"dialogs: {where}: {key} {value!r} must be one of {', '.join(allowed)}")
    return str(value)


def _blanks(where: str, text: Any, allowed: tuple[str, ...]) -> str:
    if not isinstance(text, str):
        raise DialogError(f"dialogs: {where}: write the text in quotes")
    try:
        parsed = list(string.Formatter().parse(text))
        names = {name for _, name, _, _ in parsed if name is not None}
        if any(spec or conversion for _, _, spec, conversion in parsed):
            raise ValueError("a blank is only {name}")
    except ValueError as error:
        raise DialogError(f"dialogs: {where}: {error}; write braces in pairs") from None
    wrong = names - set(allowed)
    if wrong:
        can = "{" + "}, {".join(allowed) + "}" if allowed else "nothing in braces"
        raise DialogError(f"dialogs: {where}: {{{sorted(wrong)[0]}}} is unknown here; use {can}")
    return text


def _texts(where: str, key: str, value: Any) -> None:
    if not isinstance(value, list) or not all(isinstance(t, str) for t in value):
        raise DialogError(f"dialogs: {where}: {key} must be a list of phrases in quotes")


def phase_of(entry: dict[str, Any]) -> Phase:
    where = f"steps.toml, phase {entry.get('id', '?')}"
    _take(where, entry, ("id", "name", "heading"), ())
    heading = _blanks(f"{where}, heading", entry["heading"], ("at", "all"))
    return Phase(str(entry["id"]), str(entry["name"]), heading)


def step_of(
    entry: dict[str, Any], number: int, phases: set[str], cautions: dict[str, Caution]
) -> Step:
    where = f"steps.toml, step {entry.get('id', number)}"
    _take(
        where,
        entry,
        ("id", "phase", "kind", "who", "say"),
        (
            "why",
            "minutes",
            "cautions",
            "reading",
            "stage",
            "optional",
            "needs_hold",
            "sets",
            "answers",
            "helper",
            "when",
            "instead",
        ),
    )
    kind = _one_of(where, "kind", entry["kind"], KINDS)
    _one_of(where, "who", entry["who"], ("tech", "helper"))
    _one_of(where, "phase", entry["phase"], tuple(phases))
    said = _said(where, entry, kind, cautions)
    if not isinstance(entry.get("sets", {}), dict):
        raise DialogError(f'dialogs: {where}: sets must look like {{ cover = "off" }}')
    others = entry.get("instead", [])
    if not isinstance(others, list) or not all(isinstance(other, dict) for other in others):
        raise DialogError(f"dialogs: {where}: write other words under [[step.instead]]")
    if not re.fullmatch(r"[a-z][a-z0-9_]*", str(entry["id"])) or entry["id"] in RESERVED:
        raise DialogError(f"dialogs: {where}: id must be another word, in small letters and _")
    if kind == "read":
        readable = [n for n, q in QUANTITIES.items() if q.unit == "in" or n == "odometer"]
        _one_of(where, "reading", entry.get("reading"), tuple(readable))
        _one_of(where, "stage", entry.get("stage"), STAGES)
    minutes = entry.get("minutes", 1)
    if isinstance(minutes, bool) or not isinstance(minutes, int | float) or minutes < 0:
        raise DialogError(f"dialogs: {where}: minutes must be a number from 0 up")
    return Step(
        str(entry["id"]),
        str(entry["phase"]),
        kind,
        str(entry["who"]),
        said["say"],
        said.get("why", ""),
        float(minutes),
        said.get("cautions", ()),
        str(entry.get("reading", "")),
        str(entry.get("stage", "")),
        bool(entry.get("optional", False)),
        bool(entry.get("needs_hold", False)),
        tuple(sorted((str(k), str(v)) for k, v in entry.get("sets", {}).items())),
        said.get("answers", ()),
        said.get("helper", ""),
        _when(where, entry.get("when", {})),
        tuple(_instead(f"{where}, instead", other, kind, cautions) for other in others),
    )


def _said(
    where: str, entry: dict[str, Any], kind: str, cautions: dict[str, Caution]
) -> dict[str, Any]:
    """The words of a step, checked; only those that are there."""
    out: dict[str, Any] = {}
    blanks = PLACEHOLDERS.get(kind, ())
    for key, allowed in (("say", blanks), ("why", blanks), ("helper", ())):
        if key in entry:
            out[key] = _blanks(f"{where}, {key}", entry[key], allowed)
    if len(out.get("say", "").split()) > MAX_WORDS:
        raise DialogError(f"dialogs: {where}: say has over {MAX_WORDS} words; make it shorter")
    for key in ("cautions", "answers"):
        if key in entry:
            _texts(where, key, entry[key])
            out[key] = tuple(t.lower() if key == "answers" else t for t in entry[key])
    for caution in out.get("cautions", ()):
        if caution not in cautions:
            raise DialogError(f"dialogs: {where}: no caution {caution!r} in cautions.toml")
    return out


def _instead(where: str, entry: Any, kind: str, cautions: dict[str, Caution]) -> Instead:
    _take(where, entry, ("when",), variants.WORDS)
    return Instead(_when(where, entry["when"]), **_said(where, entry, kind, cautions))


def _when(where: str, entry: Any) -> When:
    """`{ linkage = "cable" }`, or a list of values of which one must fit."""
    if not isinstance(entry, dict):
        raise DialogError(f'dialogs: {where}: when must look like {{ linkage = "cable" }}')
    out = []
    for name, value in entry.items():
        _one_of(f"{where}, when", "trait", name, tuple(variants.TRAITS))
        values = value if isinstance(value, list) else [value]
        for one in values:
            _one_of(f"{where}, when", name, one, variants.TRAITS[name])
        out.append((name, tuple(values)))
    return tuple(out)


def cautions_of(raw: dict[str, Any]) -> dict[str, Caution]:
    out = {}
    for key, entry in raw.items():
        where = f"cautions.toml, {key}"
        if not isinstance(entry, dict):
            raise DialogError(f"dialogs: {where}: must be a section; write [{key}]")
        _take(where, entry, ("signal", "text"), ("once",))
        signal = _one_of(where, "signal", entry["signal"], SIGNALS)
        text = _blanks(where, entry["text"], ())
        out[key] = Caution(key, signal, text, bool(entry.get("once", False)))
    return out


def meaning_of(key: str, entry: Any) -> Meaning:
    where = f"words.toml, {key}"
    if not isinstance(entry, dict):
        raise DialogError(f"dialogs: {where}: must be a section; write [{key}]")
    _take(where, entry, ("who", "phrases"), ("anytime", "exact", "except", "anywhere", "in_hold"))
    _one_of(where, "who", entry["who"], WHO)
    for key_of in ("except", "anywhere", "in_hold"):
        _texts(where, key_of, entry.get(key_of, []))
    phrases = entry["phrases"]
    if (
        not isinstance(phrases, list)
        or not phrases
        or not all(isinstance(p, str) and p.strip() for p in phrases)
    ):
        raise DialogError(f"dialogs: {where}: phrases must be a list of phrases in quotes")
    return Meaning(
        key,
        entry["who"],
        tuple(p.lower() for p in phrases),
        bool(entry.get("anytime", False)),
        bool(entry.get("exact", False)),
        tuple(str(p).lower() for p in entry.get("except", [])),
        tuple(str(p).lower() for p in entry.get("anywhere", [])),
        tuple(str(p).lower() for p in entry.get("in_hold", [])),
    )


def replies_of(raw: dict[str, Any]) -> dict[str, str]:
    for key, allowed in vocabulary.REPLIES.items():
        if key not in raw:
            raise DialogError(f"dialogs: replies.toml: {key} is missing; add it")
        _blanks(f"replies.toml, {key}", raw[key], allowed)
    for key in raw:
        if key not in vocabulary.REPLIES:
            near = get_close_matches(key, list(vocabulary.REPLIES), 1)
            hint = f"did you mean {near[0]}?" if near else "remove it"
            raise DialogError(f"dialogs: replies.toml: {key} is unknown; {hint}")
    return dict(raw)


def others_of(raw: Any) -> tuple[tuple[When, dict[str, str]], ...]:
    """Other replies for trucks of a kind: `[truck.linkage.cable]`."""
    out = []
    if not isinstance(raw, dict):
        raise DialogError("dialogs: replies.toml: write [truck.linkage.cable] on its own line")
    for name, values in raw.items():
        _one_of("replies.toml, truck", "trait", name, tuple(variants.TRAITS))
        for value, replies in values.items() if isinstance(values, dict) else ():
            where = f"replies.toml, truck.{name}.{value}"
            when = _when(where, {name: value})
            if not isinstance(replies, dict):
                raise DialogError(f"dialogs: {where}: must be a section of replies")
            _take(where, replies, (), tuple(vocabulary.REPLIES))
            for key, text in replies.items():
                _blanks(f"{where}, {key}", text, vocabulary.REPLIES[key])
            out.append((when, dict(replies)))
    return tuple(out)
