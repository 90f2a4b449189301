"""The command around cards: show one, list a folder of them, make a new one by talking."""

from __future__ import annotations

import shlex
from contextlib import closing, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.cli.terminal import (
    PATH,
    WORDS,
    answers,
    fail,
    left_off,
    show,
    show_lines,
    show_note,
    show_told,
)

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.interview.talk import CardTalk


@click.command(short_help="Check a truck card, or make one; each limit and whose it is.")
@click.argument("path", required=False, type=PATH)
@click.option("--unit", type=WORDS, help="The truck's number, where PATH is a folder of cards.")
@click.option("--new", is_flag=True, help="Make a card in the folder PATH, question by question.")
@click.option(
    "--from",
    "record",
    type=PATH,
    help="With --new: take over the card of this finished record, and what the job left.",
)
@click.option("--code", help="With --new: your shop code, said beforehand.")
@click.option("--document", help="With --new: the document the figures are from.")
@click.option("--listen", is_flag=True, help="With --new: by voice.")
@click.option("--sound", type=PATH, help="With --new: from this recording.")
@click.option("--mic", help="With --listen: the microphone, by number or name.")
@click.option("--speaker", help="With --listen: the loudspeaker.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def card(
    path: Path | None,
    unit: str | None,
    new: bool,
    record: Path | None,
    as_json: bool,
    listen: bool,
    sound: Path | None,
    mic: str | None,
    speaker: str | None,
    **before: str | None,
) -> None:
    """Check the card PATH and show every figure with whose it is; of a folder, list its cards.

    With --new, a card is made by question and answer. What was answered is kept at once: the same
    command carries on where it was left off. A pipe is played as a script.
    """
    if new:
        spoken = listen or sound is not None
        with _aloud(sound, mic, speaker) if spoken else nullcontext(_typed) as hold:
            talk, said = _begin(path or Path(), record, {"unit": unit, **before})
            with left_off("the same command"), closing(talk):
                hold(talk, said)
        _end(talk)
        return
    if record is not None or listen or sound is not None or any(before.values()):
        fail("--from, --code, --document, --listen and --sound go with --new", 2)
    if path is None:
        fail("name a card, or a folder of cards; lugcall card --new makes one", 2)
    if path.is_dir() and not unit:
        _list(path, as_json)
        return
    from assistant.card.fleet import chosen
    from assistant.card.show import card_lines, card_report

    loaded = chosen(path, unit or "")
    show_told(as_json, card_report(loaded), card_lines(loaded))


def _list(folder: Path, as_json: bool) -> None:
    from assistant.card.fleet import cards_in
    from assistant.card.show import card_report

    cards, problems = cards_in(folder)
    lines = (
        f"{one.unit or '(no unit)':<12} {path.name:<24} "
        f"{one.transmission}, {one.linkage}, {one.clutch}"
        for path, one in cards
    )
    show_told(as_json, {p.name: card_report(c) for p, c in cards}, lines, indent=None)
    show_lines(problems, err=True)
    if not problems and not cards:
        fail(f"no card in {folder}; lugcall card --new {shlex.quote(str(folder))} makes one")
    if problems:
        fail(f"{len(cards)} cards in {folder} can be read")


def _begin(
    folder: Path, record: Path | None, before: dict[str, str | None]
) -> tuple[CardTalk, list[Said]]:
    """A talk begun, with what was said on the command line; and what is said next."""
    from assistant.card.draft import from_record
    from assistant.interview.talk import CardTalk
    from assistant.interview.words import load_card_words
    from assistant.texts.dialogs import load_dialogs

    if folder.is_file():
        fail(f"{folder} is a file; name the folder for the card", 2)
    over = from_record(record) if record is not None else None
    talk, said = CardTalk.begin(folder, load_dialogs(), load_card_words(), over)
    try:
        talk.beforehand("by", before.get("code") or "")
        talk.beforehand("source", before.get("document") or "")
        if before.get("unit") and talk.dialogue.at == "unit":
            said = talk.hear("tech", f"note {before['unit']}")
        else:
            said = [*said[:-1], *talk.dialogue.prompt()]
    except BaseException:
        talk.close()
        raise
    return talk, said


def _typed(talk: CardTalk, said: list[Said]) -> None:
    show(said)
    for line in answers():
        show(talk.hear("tech", line))
        if talk.dialogue.finished:
            break


def _aloud(sound: Path | None, mic: str | None, speaker: str | None) -> Any:
    """The context of `cli.voice.listening`."""
    from assistant.cli.voice import listening, recognizers_for
    from assistant.voice.devices.audio import load
    from assistant.voice.session.live import Devices

    sounds = [(sound.name, load(sound))] if sound is not None else []
    return listening(recognizers_for(()), sounds, Devices(mic, None, speaker, None))


def _end(talk: CardTalk) -> None:
    if talk.path is not None:
        path = shlex.quote(str(talk.path))
        show_lines(["", f"Card: {talk.path}", f"See it: lugcall card {path}"])
    else:
        folder = talk.draft_file.folder
        show_note(f"Not kept yet. lugcall card --new {shlex.quote(str(folder))} carries on.")
