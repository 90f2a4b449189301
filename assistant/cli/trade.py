"""The commands around the job: causes, pictures, wear. Imports stay inside: quick to start."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.cli.terminal import fail, one_line_errors, truck_card

if TYPE_CHECKING:
    from assistant.card import Card
    from assistant.clutch.uncertainty import Measured
    from assistant.pictures.snapshot import Snapshot

_PATH = click.Path(path_type=Path)
_READINGS = (
    ("--gap", "Bearing to brake, as called out."),
    ("--clearance", "Fork clearance."),
    ("--free-travel", "Free travel at the pedal."),
    ("--pedal-height", "Pedal height at rest."),
    ("--brake-contact", "Pedal height where the brake is touched."),
    ("--total-travel", "Total pedal travel."),
)


def add_to(main: click.Group) -> None:
    """Register the commands."""
    for command in (cause, picture, due):
        main.add_command(command)


def _reading_options(command: Callable[..., None]) -> Callable[..., None]:
    """Readings as called out, or a record that holds them, and the truck's card."""
    for flag, text in reversed(_READINGS):
        command = click.option(flag, help=text)(command)
    command = click.option("--record", type=_PATH, help="Take card and readings from a record.")(
        command
    )
    command = click.option("--unit", help="The truck's unit number, with a folder of cards.")(
        command
    )
    return click.option("--card", "card_file", type=_PATH, help="The truck's card.")(command)


def _given(
    card_file: Path | None, record: Path | None, called: dict[str, Any]
) -> tuple[Card, dict[str, Measured]]:
    """Card and readings; what is called out goes before what the record holds."""
    from assistant.card import default_card
    from assistant.cli.inputs import measured_called, readings_in, recorded
    from assistant.cli.plan import PlanError

    unit = called.pop("unit", None)
    known: dict[str, Measured] = {}
    if record is not None:
        card, events = recorded(record)
        known = readings_in(events, "found")
    else:
        card = default_card()
    if card_file is not None or unit:
        card = truck_card(card_file, unit)
    try:
        return card, {**known, **measured_called(called, card)}
    except PlanError as error:
        fail(str(error), 2)
        raise  # fail has left already


@click.command(short_help="From a complaint, or readings, to the cause.")
@click.argument("complaint", nargs=-1)
@_reading_options
@click.option("--json", "as_json", is_flag=True, help="Print what is known now, as JSON.")
@one_line_errors
def cause(
    complaint: tuple[str, ...],
    card_file: Path | None,
    record: Path | None,
    as_json: bool,
    **called: str | None,
) -> None:
    """From a COMPLAINT ("it slips under load") or as-found readings to the cause.

    Asks for what would tell most next, until the cause is clear; "why" gives the reasons, "skip"
    goes past a question. Answers may come from a pipe. Nothing is recorded or adjusted.
    """
    from assistant.causes.ask import CauseTalk
    from assistant.causes.table import load_table
    from assistant.texts.dialogs import load_dialogs

    card, known = _given(card_file, record, called)
    talk = CauseTalk(load_table(), card, load_dialogs(), known)
    words = " ".join(complaint)
    if words and not talk.complain(words):
        named = ", ".join(c.name for c in talk.case.table.complaints.values())
        fail(f"{words!r} names no complaint; name one of: {named}", 2)
    if as_json:
        click.echo(json.dumps(talk.case.as_json(), ensure_ascii=False, indent=2))
        return
    _show(talk.begin())
    for line in _lines():
        if talk.over:
            break
        if line.strip() and not line.lstrip().startswith("#"):
            if not sys.stdin.isatty():
                click.echo(f"> {line.strip()}")
            _show(talk.hear(line))
        if talk.over:
            break


def _show(lines: list[str]) -> None:
    for line in lines:
        click.echo(line)


def _lines() -> Iterator[str]:
    """Lines typed, or from a pipe."""
    while True:
        if sys.stdin.isatty():
            try:
                yield input("\n> ")
            except EOFError:
                return
        else:
            raw = sys.stdin.buffer.readline()
            if not raw:
                return
            yield raw.decode("utf-8", errors="replace")


@click.command(short_help="Draw the pedal stroke, or the chain, today and after.")
@click.argument("what", type=click.Choice(("stroke", "chain", "linkage")), default="stroke")
@_reading_options
@click.option("--svg", "svg_file", type=_PATH, help="Write the picture to this SVG file.")
@click.option("--why", is_flag=True, help="Say whose the limits are, and what was worked out.")
@one_line_errors
def picture(
    what: str,
    card_file: Path | None,
    record: Path | None,
    svg_file: Path | None,
    why: bool,
    **called: str | None,
) -> None:
    """Draw the pedal stroke, the chain from fork to brake, or the linkage, today and after.

    To scale; the linkage's rods and levers need their geometry on the card, and go to a file only.

    From readings as called out, or from a record; then "after" is as left, if it was finished. In
    plain characters, or as SVG. Ends with one sentence to say aloud.
    """
    from assistant.cli.inputs import readings_in, recorded
    from assistant.pictures import plain
    from assistant.pictures import plain as say
    from assistant.pictures.snapshot import PictureError, stroke_of, today_and_after
    from assistant.pictures.svg import chain_svg, stroke_svg

    card, known = _given(card_file, record, called)
    left = readings_in(recorded(record)[1], "final") if record is not None else {}
    try:
        shots = today_and_after(card, known, left)
    except PictureError as error:
        fail(str(error), 2)
        return
    spoken = [say.spoken(shot, card) for shot in shots]
    strokes = [stroke_of(shot, card) for shot in shots]
    if svg_file is not None:
        heading = f"{card.unit or 'Truck'}: {'pedal stroke' if what == 'stroke' else 'chain'}"
        if what == "linkage":
            heading = f"{card.unit or 'Truck'}: rods and levers"
            drawn = _bars(shots, card, heading, " ".join(spoken))
        elif what == "stroke":
            sure = shots[0].brake_known or card.transmission == "synchronized"
            note = "" if sure else "; brake not known"
            drawn = stroke_svg(strokes, heading, " ".join(spoken), card.units, note)
        else:
            drawn = chain_svg(shots, card, heading, " ".join(spoken))
        try:
            svg_file.write_text(drawn, encoding="utf-8")
        except OSError as error:
            fail(f"{svg_file} cannot be written: {error.strerror}; name another file")
        click.echo(f"Drawn: {svg_file}")
    elif what == "linkage":
        fail("rods and levers are drawn to a file: add --svg FILE", 2)
    elif what == "stroke":
        _show(plain.stroke_lines(strokes, card.units))
    else:
        _show(plain.chain_lines(shots, card))
    _show(["", *spoken, *(say.why(shots, card) if why else ())])


def _bars(shots: list[Snapshot], card: Card, heading: str, spoken: str) -> str:
    from assistant.pictures.snapshot import PictureError
    from assistant.pictures.svg import bars_svg

    try:
        return bars_svg(shots, card, heading, spoken)
    except PictureError as error:
        fail(str(error), 2)
        raise  # fail has left already


@click.command(short_help="When free travel reaches its limit, from past records.")
@click.argument("folder", required=False, type=_PATH)
@click.option("--unit", help="The truck; all of them otherwise.")
@click.option(
    "--ring-lugs",
    type=click.IntRange(1, 200),
    help="Lugs its ring has when new; else the card says.",
)
@click.option("--why", is_flag=True, help="Say what it rests on, and what is unknown.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, one object a truck.")
@one_line_errors
def due(
    folder: Path | None, unit: str | None, ring_lugs: int | None, why: bool, as_json: bool
) -> None:
    """When each truck's free travel reaches its lower limit, from the records in FOLDER
    and its subfolders.

    Always a range: of miles, and of dates where the records tell them. Exit code 2 when nothing
    can be told.
    """
    from assistant.record import default_folder
    from assistant.texts.dialogs import load_dialogs
    from assistant.wear import say
    from assistant.wear.outlook import outlook
    from assistant.wear.visits import visits_in

    folder = folder or default_folder()
    if not folder.is_dir():
        fail(f"{folder} is no folder; name the folder with the records", 2)
    visits, problems = visits_in(folder, below=True)
    units = [unit] if unit else sorted({v.unit for v in visits if v.unit})
    for problem in problems:
        click.echo(f"lugcall: {problem}", err=True)
    dialogs, told = load_dialogs(), False
    for name in units:
        look = outlook(visits, name, ring_lugs)
        if look is None:
            fail(f"no finished record of unit {name} in {folder}", 2)
            return
        reply = say.reply_of(look)
        told = told or reply is not None
        if as_json:
            click.echo(json.dumps(say.as_json(look), ensure_ascii=False))
            continue
        _show(say.for_command(look, dialogs.say(reply[0], **reply[1]) if reply else ""))
        if why:
            _show([f"  {line}" for line in say.why(look)])
    if not told:
        if not units:
            fail(f"no finished record in {folder}", 2)
        raise SystemExit(2)
