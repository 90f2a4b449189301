"""What dialogs are made of: phases, steps, cautions, meanings, replies; read, checked, composed.

A shop edits texts; it cannot edit safety: `interlocks` looks at every job that can be composed.
A step with `when` stands only where the truck's traits fit; its `instead` pieces change its words,
never its kind, its person or what it notes.
"""

from __future__ import annotations

import string
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from hashlib import sha256
from itertools import product
from pathlib import Path
from typing import Annotated, Any, TypeVar

import msgspec

from assistant import interlocks
from assistant.card.card import CHOICES
from assistant.quantity import ODOMETER, QUANTITIES, SEEN
from assistant.readings.speak import number_words
from assistant.sentences import (
    Both,
    DialogError,
    Sentences,
    dialogs_folder,
    fill,
    sentences,
    toml_of,
)
from assistant.texts import core
from assistant.toml_file import TomlError, TomlFile, word_of

SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
"""Signal words, most severe first (ANSI Z535.6)."""
KINDS = (
    *("act", "sound", "read", "clear", "hold", "turn", "release", "plan", "maker", "rod"),
    *("stop_bolt", "sign", "count", "seat"),
)
MAX_WORDS = 16
"""A prompt longer than this is not heard to its end over a compressor; aim for 12."""
RESERVED = frozenset({"halted", "repair", "signed_off", "leaving", "left_unfinished"})

_RING = ("lugs", "way", "gap_now", "gap_after", "plan_why")
PLACEHOLDERS: dict[str, tuple[str, ...]] = {
    "plan": _RING,
    "turn": _RING,
    "maker": ("gap_now", "limits"),
    "rod": ("rod", "rod_way", "rod_why"),
    "stop_bolt": ("stop_move",),
    "sign": ("sign_summary",),
}
"""Kind of step -> the blanks its words may use."""


_BLANKS = """
    figures spoken: confirm
    quantity figures spoken: confirm_of
    figures quantity: stands no_figure one_side one_side_out
    verdict limits source: whose
    figures: judged_in judged_out judged_close confirm_count ring_cannot
    how: gauge
    figures how: nominal
    question: ask_reading
    hint: trouble again not_now not_reading_now to_what
    phrase: did_you_mean
    first second: did_you_mean_two which_of_two
    named quantity: other_quantity one_kept
    example: spell_it
    who phrase: wrong_person
    quantity figures: corrected
    quantity: what_correct maker_out
    code: confirm_code
    state: stands_so already_stopped paused pause_held resumed
    moved: back_moved ring_moved_state
    measured predicted: move_as_planned move_none move_wrong_way move_unclear
    moved told: move_other_count lugs_differ
    pitch: move_other_pitch
    lugs way: plan_change turn_again
    move: close_move
    by_gap called: ring_doubt_state
    limit: internal_due
    first second suspect: ratio_differ
    ratio: ratio_agree
    free_after: free_after
    contact_after: contact_after
    plan: whole_plan plan_now
    moves: plan_done plan_otherwise plan_left changed
    seen: not_all_true
    now before quantity: unlike
    quantities: reopened
    quantity length: read_at_least read_at_most
    chain: chain
    thread: thread_default
    minutes: how_long
    left minutes: hold_left
    heading phase name: where
    facts: facts
    readings: taken_over
    phrases: help
    code seal: signed
    doubts: signed_doubts sign_doubts
    card: card_used
    low high unit: due_range
    low unit: due_open
    dates: due_dates
    lugs: due_lugs due_lugs_most
    what: fitted fitted_late
    count: pieces_out
    figures found: due_past
    who: mic_lost mic_back
    lead text: lead_asks
    left: safe_left steps_left
    items: items_done
    quantity: not_read_yet
    left right: fork_cocked
    move moved: lugs_to_go
    moved: lugs_so_far
    doubts: doubts_are
    :close_choice out_choice dropped nothing_to_correct noted note_empty
    :stopped_helper_held stopped_helper_up stopped_helper_engine stopped_next stopped_held_next
    :stopped_clear_next stopped_held_code stopped_clear_code stopped_held_up stopped_clear_up
    :carry_on nothing_stopped hold_lost hold_lost_helper hold_standing
    :release_ok clear_heard back_no back_lock back_blocked back_start need_repair need_bleed
    :repair_done gap_right gap_not_right gap_unread ring_stuck maker_again rod_none resumed_hold
    :dialogs_changed repaired_record skip_no no_why accept_no accept_nothing accepted accept_why
    :sign_code stopped state_head helper_first ready_first ready_heard hold_in_stop
    :sign_ready closed pedal_up_state pedal_came_state pedal_held_state pedal_unsure_state
    :lock_in_state lock_out_state cover_off_state ring_maybe_state ring_still_state defaults
    :confirm_clear_first turn_zero lock_plate_out helper_wait clearance_gone pedal_moving
    :rod_no_effect rod_wrong_way contact_floor due_now picture_none say_again spelled
    :spelled_long spelled_mm spelled_long_mm spelled_miles speaker_lost speaker_back audio_kept
    :hands_out still_holding keep_out stopped_helper_still up_or_down hold_on ask_torque ask_way
    :ask_other no_doubts how_manual from_what waiting gauge_metric gauge_inch starting_over
    :foot_asked foot_heard no_press no_let_up no_change no_key leave_it no_hold_yet trial_stopped
    :link_lost link_lost_idle link_taken link_taken_idle link_back need_inside repair_wait
    :accepted_inside found_taken_back taken_back comes_later clearance_decides ring_again
    :stop_no_effect stop_wrong_way no_leave engine_waits sound_or_not no_brake_here wedges_in_state
    :repair_new due_first was_repaired changed_none
"""
REPLIES = {
    reply: tuple(blanks.split())
    for blanks, _, replies in (line.partition(":") for line in _BLANKS.splitlines())
    for reply in replies.split()
}
"""Reply -> the blanks it may use."""

# --- kinds of truck -------------------------------------------------------------------------------

TRAITS: dict[str, tuple[str, ...]] = {
    "transmission": CHOICES["truck.transmission"],
    "linkage": CHOICES["truck.linkage"],
    "clutch": CHOICES["truck.clutch"],
    "cover": CHOICES["truck.cover"],
    "lock": CHOICES["ring.lock"],
    "ring": ("unsaid", *CHOICES["ring.type"]),
    "units": CHOICES["shop.units"],
}
"""Trait of a truck -> the values it may have, the usual one first."""

NEW = ("nothing", "clutch", "brake", "both")
"""What was fitted new for this job; a step's `when` tells it as `new`."""

Traits = Mapping[str, str]
USUAL: Traits = {name: values[0] for name, values in TRAITS.items()}
"""The truck that no card describes."""
When = Annotated[
    dict[str, str | list[str]], msgspec.Meta(extra={"hint": 'must look like { linkage = "cable" }'})
]
"""Trait and the value, or values, that fit, all of which must; empty: every truck."""


def fits(when: When, traits: Traits) -> bool:
    """Whether a truck is of the kind that `when` names."""
    return all(
        traits[name] in ([values] if isinstance(values, str) else values)
        for name, values in when.items()
    )


# --- what the files hold --------------------------------------------------------------------------


class _Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One entry of a file; its fields are the entry's keys."""


def _hinted(**extra: str) -> msgspec.Meta:
    """How errors about a key say what to write."""
    return msgspec.Meta(extra=extra)


_READABLE = [n for n, q in QUANTITIES.items() if q.unit == "in" or n in (ODOMETER, *SEEN)]
_STAGES = ("found", "ring", "set", "final", "due")
_Role = Annotated[str, word_of(("tech", "helper"))]
_Phrases = Annotated[tuple[str, ...], _hinted(hint="must be a list of phrases in quotes")]
_Words = Annotated[str, _hinted(hint="must be text in quotes", like='"Say done."')]
_Id = Annotated[
    str, msgspec.Meta(pattern="^[a-z][a-z0-9_]*$"), _hinted(hint="must be small letters and _")
]
_Minutes = Annotated[float, msgspec.Meta(ge=0), _hinted(hint="must be a number from 0 up")]


class Phase(_Entry, frozen=True):
    """A numbered part of the job."""

    id: _Words
    name: _Words
    heading: _Words


class Instead(_Entry, frozen=True):
    """Other words for one step on trucks of a kind; a field that is None stays as it is."""

    when: When
    say: _Words | None = None
    why: _Words | None = None
    helper: _Words | None = None
    answers: _Phrases | None = None
    cautions: _Phrases | None = None

    def on(self, step: Step) -> Step:
        """The step in these words."""
        words = {n: w for n, w in msgspec.structs.asdict(self).items() if n != "when"}
        return msgspec.structs.replace(step, **{n: w for n, w in words.items() if w is not None})


class Step(_Entry, frozen=True):
    """One prompt and what may answer it. See `dialogs/en/steps.toml` for the fields."""

    id: _Id
    phase: _Words
    kind: Annotated[str, word_of(KINDS)]
    who: _Role
    say: _Words
    why: _Words = ""
    minutes: _Minutes = 1.0
    cautions: _Phrases = ()
    reading: Annotated[str, word_of(_READABLE)] = ""
    stage: Annotated[str, word_of(_STAGES)] = ""
    optional: bool = False
    needs_hold: bool = False
    sets: dict[str, str] = {}
    answers: _Phrases = ()
    helper: _Words = ""
    when: When = {}
    instead: Annotated[list[Instead], _hinted(hint="must stand under [[step.instead]]")] = []

    def __hash__(self) -> int:
        return hash((self.id, self.kind))  # those that are equal are equal in this too

    @property
    def held(self) -> bool:
        """Whether the pedal must be held down in this step."""
        return self.kind == "turn" or self.needs_hold

    @property
    def pieces(self) -> tuple[Step | Instead, ...]:
        """All that it may say, on any truck."""
        return (self, *self.instead)

    def on(self, traits: Traits) -> Step:
        """In its words for a kind of truck; of two pieces that fit, the later one wins."""
        step = self
        for other in self.instead:
            if fits(other.when, traits):
                step = other.on(step)
        return msgspec.structs.replace(step, answers=tuple(a.lower() for a in step.answers))


class Caution(_Entry, frozen=True):
    """A signal word and one sentence; `short`: the few words before the same act again."""

    signal: Annotated[str, word_of(SIGNALS)]
    text: _Words
    short: _Words = ""
    once: bool = False

    def told(self, again: bool) -> str:
        """Its words, the first time or `again`."""
        return self.short or self.text if again else self.text


class Meaning(_Entry, frozen=True):
    """Phrases that mean one thing, from whom they count, and when.

    Of a meaning that has kinds, `phrases` are those of all of them.
    """

    who: Annotated[str, word_of(("tech", "helper", "any"))]
    phrases: _Phrases = ()
    anytime: bool = False
    exact: bool = False
    excepted: _Phrases = msgspec.field(default=(), name="except")
    anywhere: _Phrases = ()
    in_hold: _Phrases = ()
    kinds: dict[str, _Phrases] = {}


@dataclass(frozen=True, slots=True)
class Pieces:
    """What the job of every kind of truck is composed from."""

    phases: tuple[Phase, ...]
    steps: tuple[Step, ...]
    replies: dict[str, Both]
    others: tuple[tuple[When, dict[str, Both]], ...] = ()
    made: dict[tuple[str, ...], Dialogs] = field(default_factory=dict, compare=False)


@dataclass(frozen=True, eq=False)
class Dialogs(Sentences):
    """All of one language, for one kind of truck; its sentences are the replies."""

    language: str
    phases: tuple[Phase, ...]
    steps: tuple[Step, ...]
    cautions: dict[str, Caution]
    words: dict[str, Meaning]
    fingerprint: str
    """Of every file with words of a job: the record keeps it."""
    pieces: Pieces
    by_id: dict[str, Step] = field(default_factory=dict)
    traits: Traits = field(default_factory=lambda: USUAL)

    def for_truck(self, traits: Traits, new: str = NEW[0]) -> Dialogs:
        """The same language for a truck of another kind; `new`: what was fitted new, of `NEW`."""
        pieces, key = self.pieces, (*(traits[name] for name in TRAITS), new)
        if key not in pieces.made:
            traits = {**traits, "new": new}
            steps = tuple(s.on(traits) for s in pieces.steps if fits(s.when, traits))
            replies = dict(pieces.replies)
            for when, others in pieces.others:
                if fits(when, traits):
                    replies.update(others)
            pieces.made[key] = replace(
                self,
                steps=steps,
                phases=_numbered(pieces.phases, {s.phase for s in steps}),
                texts=replies,
                by_id={s.id: s for s in steps},
                traits=dict(traits),
            )
        return pieces.made[key]

    def phase_of(self, step: Step) -> Phase:
        """The phase a step belongs to."""
        return next(p for p in self.phases if p.id == step.phase)


def _numbered(phases: tuple[Phase, ...], used: set[str]) -> tuple[Phase, ...]:
    """The phases that have a step, counted: {at} and {all} in their headings are filled in."""
    there = [p for p in phases if p.id in used]
    every = Both(str(len(there)), number_words(len(there)))
    return tuple(
        msgspec.structs.replace(
            phase, heading=fill(phase.heading, {"at": Both(str(i), number_words(i)), "all": every})
        )
        for i, phase in enumerate(there, 1)
    )


# --- loaded, and checked before a word of it is used ----------------------------------------------

_E = TypeVar("_E", bound=_Entry)
_MORE = ("spoken", "job", "plan", "how", "readings")
"""Other files with what is said in a job: its fingerprint is of these as well."""


def load_dialogs(folder: Path | None = None, language: str = "en") -> Dialogs:
    """Load and check one language; the job is that of the usual truck, see `Dialogs.for_truck`.

    Raises:
        DialogError: one line naming the file and the entry to mend.
    """
    base = (folder or dialogs_folder()) / language
    names = ("steps", "cautions", "words", "replies")
    files, data = zip(*(toml_of(base / f"{name}.toml") for name in names), strict=True)
    more = [toml_of(path)[1] for name in _MORE if (path := base / f"{name}.toml").is_file()]
    in_steps, in_cautions, in_words, in_replies = files
    cautions = {k: _entry(in_cautions, k, v, Caution) for k, v in in_cautions.tables.items()}
    for key, caution in cautions.items():
        _blanks(f"cautions.toml, {key}", caution.text, ())
        _blanks(f"cautions.toml, {key}, short", caution.short, ())
    phases = tuple(_listed(in_steps, "phase", Phase))
    for phase in phases:
        _blanks(f"steps.toml, phase {phase.id}, heading", phase.heading, ("at", "all"))
    steps = tuple(_listed(in_steps, "step", Step))
    for step in steps:
        _check_step(step, {p.id for p in phases}, cautions)
    words = {k: _meaning(in_words, k, v) for k, v in in_words.tables.items()}
    others = tuple(_others(in_replies.tables.pop("truck", {})))
    replies = _checked_replies("replies.toml", in_replies.tables, tuple(REPLIES))
    if (base / "spoken.toml").is_file():
        spoken = sentences("spoken", folder, language).texts
        _checked_replies("spoken.toml", spoken)
        replies.update({key: Both(replies[key], text) for key, text in spoken.items()})
    _check_jobs(steps)
    english = language == "en"
    told = [("replies.toml", texts) for texts in (replies, *(texts for _, texts in others))]
    # A fault in what is composed later is told before the job begins, not within it.
    told += [
        (f"{name}.toml", sentences(name).texts) for name in ("job", "plan", "how", "unfinished")
    ]
    problem = (
        interlocks.words_problem(words)
        or core.words_problem(words, steps)
        or core.steps_problem(steps, cautions, english)
        or next(filter(None, (core.told_problem(*texts, english) for texts in told)), "")
    )
    if problem:
        raise DialogError(f"dialogs: {problem}")
    return Dialogs(
        "replies.toml",
        replies,
        str(in_steps.tables.get("language", language)),
        (),
        (),
        cautions,
        words,
        sha256(b"".join([*data, *more])).hexdigest()[:16],
        Pieces(phases, steps, replies, others),
    ).for_truck(USUAL)


def _entry(file: TomlFile, key: str, entry: Any, kind: type[_E]) -> _E:
    """An entry as its type; errors call it `key`."""
    what = f"a {kind.__name__.lower()}"
    if not isinstance(entry, dict):
        raise DialogError(f"dialogs: {file.name}, {key}: must be a section; write [{key}]")
    try:
        return TomlFile(f"{file.name}, {key}", "", entry).to(kind, what)
    except TomlError as error:
        raise DialogError(f"dialogs: {error}") from None


def _listed(file: TomlFile, name: str, kind: type[_E]) -> Iterator[_E]:
    """The entries under [[name]]."""
    entries = file.tables.get(name, [])
    if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
        raise DialogError(f"dialogs: {file.name}: write each {name} under [[{name}]]")
    for number, entry in enumerate(entries, 1):
        yield _entry(file, f"{name} {entry.get('id', number)}", entry, kind)


def _meaning(file: TomlFile, key: str, entry: Any) -> Meaning:
    """A meaning, its phrases in small letters."""
    meaning = _entry(file, key, entry, Meaning)
    kinds = {kind: tuple(p.lower() for p in said) for kind, said in meaning.kinds.items()}
    every = (*meaning.phrases, *(p for said in kinds.values() for p in said))
    meaning = msgspec.structs.replace(meaning, phrases=every, kinds=kinds)
    if not meaning.phrases or not all(p.strip() for p in meaning.phrases):
        raise DialogError(f"dialogs: {file.name}, {key}: phrases must be phrases in quotes")
    lists = ("phrases", "excepted", "anywhere", "in_hold")
    small = {name: tuple(p.lower() for p in getattr(meaning, name)) for name in lists}
    return msgspec.structs.replace(meaning, **small)


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


def _check_step(step: Step, phases: set[str], cautions: dict[str, Caution]) -> None:
    """What the types cannot say of a step."""
    where = f"steps.toml, step {step.id}"
    if step.id in RESERVED:
        raise DialogError(f"dialogs: {where}: id must be another word")
    if step.phase not in phases:
        raise DialogError(f"dialogs: {where}: phase must be one of {', '.join(sorted(phases))}")
    if step.kind == "read" and not (step.reading and step.stage):
        missing = "stage" if step.reading else "reading"
        raise DialogError(f"dialogs: {where}: {missing} is missing; add it")
    for piece in step.pieces:
        place = where if piece is step else f"{where}, instead"
        _check_piece(place, piece, PLACEHOLDERS.get(step.kind, ()), cautions)


def _check_piece(
    place: str, piece: Step | Instead, blanks: tuple[str, ...], cautions: dict[str, Caution]
) -> None:
    """What it says, on any truck, and which cautions go with it."""
    _check_when(place, piece.when)
    for key, allowed in (("say", blanks), ("why", blanks), ("helper", ())):
        _blanks(f"{place}, {key}", getattr(piece, key) or "", allowed)
    if len((piece.say or "").split()) > MAX_WORDS:
        raise DialogError(f"dialogs: {place}: say has over {MAX_WORDS} words; make it shorter")
    for caution in piece.cautions or ():
        if caution not in cautions:
            raise DialogError(f"dialogs: {place}: no caution {caution!r} in cautions.toml")


_WHEN = {**TRAITS, "new": NEW}
"""All that a `when` may name."""


def _check_when(where: str, when: When) -> None:
    for name, values in when.items():
        for value in [values] if isinstance(values, str) else values:
            if value not in _WHEN.get(name, ()):
                what = f"{name} {value!r}" if name in _WHEN else f"trait {name!r}"
                can = ", ".join(_WHEN.get(name, _WHEN))
                raise DialogError(f"dialogs: {where}, when: {what} must be one of {can}")


def _checked_replies(
    where: str, raw: Mapping[str, Any], needed: tuple[str, ...] = ()
) -> dict[str, Both]:
    for key in needed:
        if key not in raw:
            raise DialogError(f"dialogs: {where}: {key} is missing; add it")
    for key, text in raw.items():
        if key not in REPLIES:
            near = get_close_matches(key, list(REPLIES), 1)
            hint = f"did you mean {near[0]}?" if near else "remove it"
            raise DialogError(f"dialogs: {where}: {key} is unknown; {hint}")
        _blanks(f"{where}, {key}", text, REPLIES[key])
    return {key: Both(text) for key, text in raw.items()}


def _others(raw: Any) -> Iterator[tuple[When, dict[str, Both]]]:
    """Other replies for trucks of a kind: `[truck.linkage.cable]`."""
    if not isinstance(raw, dict) or not all(isinstance(values, dict) for values in raw.values()):
        raise DialogError("dialogs: replies.toml: write [truck.linkage.cable] on its own line")
    for name, values in raw.items():
        for value, replies in values.items():
            where = f"replies.toml, truck.{name}.{value}"
            _check_when(where, {name: value})
            if not isinstance(replies, dict):
                raise DialogError(f"dialogs: {where}: must be a section of replies")
            yield {name: value}, _checked_replies(where, replies)


def _check_jobs(steps: tuple[Step, ...]) -> None:
    """The trade's order stands in the job of every kind of truck that the steps tell apart."""
    named = {name for step in steps for name in step.when}
    values = [told if name in named else told[:1] for name, told in _WHEN.items()]
    for chosen in product(*values):
        traits = dict(zip(_WHEN, chosen, strict=True))
        composed = tuple(s for s in steps if fits(s.when, traits))
        [(twice, count)] = Counter(s.id for s in composed).most_common(1) or [("", 0)]
        if count > 1:
            raise DialogError(f"dialogs: steps.toml: step {twice} stands twice; rename one")
        if problem := interlocks.order_problem(composed, traits):
            usual = {name: told[0] for name, told in _WHEN.items()}
            odd = ", ".join(f"{traits[n]} {n}" for n in _WHEN if traits[n] != usual[n])
            kind = f" ({odd})" if odd else ""
            raise DialogError(f"dialogs: steps.toml: {problem}{kind}")
