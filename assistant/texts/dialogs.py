"""What dialogs are made of: phases, steps, cautions, meanings; and the job of one kind of truck."""

from __future__ import annotations

import re
import string
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from hashlib import sha256
from pathlib import Path
from typing import Any

from assistant import interlocks
from assistant.act import Said
from assistant.readings import QUANTITIES
from assistant.sentences import (
    Both,
    DialogError,
    aloud,
    dialogs_folder,
    fill,
    sentences,
    toml_of,
)
from assistant.texts import variants, vocabulary
from assistant.texts.variants import Instead, Traits, When

KINDS = (
    "act",
    "sound",
    "read",
    "clear",
    "hold",
    "turn",
    "release",
    "plan",
    "maker",
    "rod",
    "stop_bolt",
    "sign",
)
SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
"""Signal words, most severe first (ANSI Z535.6)."""
WHO = ("tech", "helper", "any")
STAGES = ("found", "ring", "set", "final", "due")
MAX_WORDS = 16
"""A prompt longer than this is not heard to its end over a compressor; aim for 12."""
RESERVED = frozenset(
    {"halted", "repair", "signed_off", "prompt", "to_hold", "to_release", "past_ring", "fix"}
)

PLACEHOLDERS: dict[str, tuple[str, ...]] = {
    "plan": ("lugs", "way", "gap_now", "gap_after", "plan_why"),
    "turn": ("lugs", "way", "gap_now", "gap_after", "plan_why"),
    "maker": ("gap_now", "limits"),
    "rod": ("rod", "rod_way", "rod_why"),
    "stop_bolt": ("stop_move",),
    "sign": ("sign_summary",),
}


@dataclass(frozen=True, slots=True)
class Phase:
    """A numbered part of the job."""

    id: str
    name: str
    heading: str


@dataclass(frozen=True, slots=True)
class Step:
    """One prompt and what may answer it. See `dialogs/en/steps.toml` for the fields."""

    id: str
    phase: str
    kind: str
    who: str
    say: str
    why: str = ""
    minutes: float = 1.0
    cautions: tuple[str, ...] = ()
    reading: str = ""
    stage: str = ""
    optional: bool = False
    needs_hold: bool = False
    sets: tuple[tuple[str, str], ...] = ()
    answers: tuple[str, ...] = ()
    helper: str = ""
    when: When = ()
    instead: tuple[Instead, ...] = ()

    @property
    def held(self) -> bool:
        """Whether the pedal must be held down in this step."""
        return self.kind == "turn" or self.needs_hold


@dataclass(frozen=True, slots=True)
class Caution:
    """A signal word and one sentence."""

    id: str
    signal: str
    text: str
    once: bool = False


@dataclass(frozen=True, slots=True)
class Meaning:
    """Phrases that mean one thing, from whom they count, and when."""

    id: str
    who: str
    phrases: tuple[str, ...]
    anytime: bool = False
    exact: bool = False
    excepted: tuple[str, ...] = ()
    anywhere: tuple[str, ...] = ()
    in_hold: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pieces:
    """What the job of every kind of truck is composed from."""

    phases: tuple[Phase, ...]
    steps: tuple[Step, ...]
    replies: dict[str, str]
    others: tuple[tuple[When, dict[str, str]], ...] = ()
    made: dict[tuple[str, ...], Dialogs] = field(default_factory=dict, compare=False)


@dataclass(frozen=True, slots=True)
class Dialogs:
    """All of one language, for one kind of truck."""

    language: str
    phases: tuple[Phase, ...]
    steps: tuple[Step, ...]
    cautions: dict[str, Caution]
    words: dict[str, Meaning]
    replies: dict[str, str]
    fingerprint: str
    pieces: Pieces
    by_id: dict[str, Step] = field(default_factory=dict)
    traits: Traits = field(default_factory=lambda: variants.USUAL)

    def for_truck(self, traits: Traits) -> Dialogs:
        """The same language for a truck of another kind."""
        pieces, key = self.pieces, tuple(traits[name] for name in variants.TRAITS)
        if key not in pieces.made:
            steps = variants.steps_for(pieces.steps, traits)
            pieces.made[key] = replace(
                self,
                steps=steps,
                phases=variants.phases_for(pieces.phases, steps),
                replies=variants.replies_for(pieces.replies, pieces.others, traits),
                by_id={s.id: s for s in steps},
                traits=dict(traits),
            )
        return pieces.made[key]

    def phase_of(self, step: Step) -> Phase:
        """The phase a step belongs to."""
        return next(p for p in self.phases if p.id == step.phase)

    def say(self, reply: str, /, **fields: object) -> Both:
        """A reply with its blanks filled in."""
        return fill(self.replies[reply], fields)

    def said(
        self,
        to: str,
        reply: str,
        /,
        *,
        key: str = "",
        signal: str = "",
        cue: str = "",
        **fields: object,
    ) -> Said:
        """A reply to somebody, in the words for the eye and for the ear; see `act.Said`."""
        return spoken_to(to, self.say(reply, **fields), key or f"reply:{reply}", signal, cue)


def spoken_to(to: str, words: str, key: str, signal: str = "", cue: str = "") -> Said:
    """Words as one thing said; those of a `Both` keep their spoken form."""
    told = aloud(words)
    return Said(to, str(words), key, signal, cue, "" if told == words else told)


# --- Entries of the TOML files of `dialogs/`, each checked; a `DialogError` names file and entry.


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


# --- What is said and asked, loaded from `dialogs/` and checked before a word of it is used.
#
# A shop edits texts; it cannot edit safety. The steps named in `interlocks.REQUIRED` must be there,
# in their order and of their kind, and the guards hang on the kinds, in code.


def load_dialogs(folder: Path | None = None, language: str = "en") -> Dialogs:
    """Load and check one language; the job is that of the usual truck, see `Dialogs.for_truck`.

    Raises:
        DialogError: one line naming the file and the entry to mend.
    """
    base = (folder or dialogs_folder()) / language
    raw: dict[str, dict[str, Any]] = {}
    digest = sha256()
    for name in ("steps", "cautions", "words", "replies"):
        file, data = toml_of(base / f"{name}.toml")
        raw[name] = file.tables
        digest.update(data)
    cautions = cautions_of(raw["cautions"])
    for key in ("phase", "step"):
        entries = raw["steps"].get(key, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            raise DialogError(f"dialogs: steps.toml: write each {key} under [[{key}]]")
    phases = tuple(phase_of(p) for p in raw["steps"].get("phase", []))
    steps = tuple(
        step_of(s, i, {p.id for p in phases}, cautions)
        for i, s in enumerate(raw["steps"].get("step", []), 1)
    )
    words = {key: meaning_of(key, value) for key, value in raw["words"].items()}
    others = others_of(raw["replies"].pop("truck", {}))
    replies = replies_of(raw["replies"])
    if (base / "spoken.toml").is_file():
        for key, text in sentences("spoken", folder, language).texts.items():
            if key not in replies:
                raise DialogError(f"dialogs: spoken.toml: {key} is no reply; remove it")
            _blanks(f"spoken.toml, {key}", text, vocabulary.REPLIES[key])
            replies[key] = Both(replies[key], text)
    _check_whole(steps, words)
    return Dialogs(
        str(raw["steps"].get("language", language)),
        (),
        (),
        cautions,
        words,
        replies,
        digest.hexdigest()[:16],
        Pieces(phases, steps, replies, others),
    ).for_truck(variants.USUAL)


def _check_whole(steps: tuple[Step, ...], words: dict[str, Meaning]) -> None:
    for traits in variants.kinds(steps):
        composed = tuple(s for s in steps if variants.fits(s.when, traits))
        ids = [s.id for s in composed]
        for step_id in ids:
            if ids.count(step_id) > 1:
                raise DialogError(f"dialogs: steps.toml: step {step_id} stands twice; rename one")
        problem = interlocks.order_problem(composed, traits)
        if problem:
            kind = "" if traits == variants.USUAL else f" ({variants.named(traits)})"
            raise DialogError(f"dialogs: steps.toml: {problem}{kind}")
    for key, who in vocabulary.MEANINGS.items():
        if key not in words:
            raise DialogError(f"dialogs: words.toml: [{key}] is missing; add it")
        if who and words[key].who != who:
            raise DialogError(
                f"dialogs: words.toml, {key}: who must stay {who}: a life hangs on who says it"
            )
    for key in words:
        if key not in vocabulary.MEANINGS:
            raise DialogError(f"dialogs: words.toml: [{key}] means nothing to lugcall; remove it")
    if "stop" not in words["stop"].anywhere:
        raise DialogError('dialogs: words.toml, stop: anywhere must hold "stop"')
    heard = set(words["stop"].anywhere) & set(words["stop"].excepted)
    if heard:
        raise DialogError(f"dialogs: words.toml, stop: except must not hold {sorted(heard)[0]!r}")
    for phrase in vocabulary.LOST:
        if phrase not in words["lost"].anywhere:
            raise DialogError(f"dialogs: words.toml, lost: anywhere must hold {phrase!r}")
    for key in vocabulary.EXACT:
        if not words[key].exact:
            raise DialogError(f"dialogs: words.toml, {key}: exact must stay true")
    _no_clash(steps, words)


def _no_clash(steps: tuple[Step, ...], words: dict[str, Meaning]) -> None:
    """No phrase of a life-and-limb meaning may mean anything else as well."""
    for key in vocabulary.EXACT:
        for step in steps:
            for phrase in (*step.answers, *(a for o in step.instead for a in o.answers or ())):
                if phrase in words[key].phrases:
                    raise DialogError(
                        f"dialogs: steps.toml, step {step.id}: {phrase!r} already means {key}"
                    )
        for phrase in words[key].phrases:
            for other, meaning in words.items():
                if other != key and phrase in meaning.phrases:
                    raise DialogError(
                        f"dialogs: words.toml: {phrase!r} means {key} and {other}; keep one"
                    )
