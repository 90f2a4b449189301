"""The commands around the job: causes, pictures, wear. Imports stay inside: quick to start."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.cli.terminal import (
    PATH,
    WORDS,
    answers,
    fail,
    length_called,
    reading_options,
    show_lines,
    show_told,
    truck_card,
    truck_options,
    words_called,
)

if TYPE_CHECKING:
    from assistant.card import Card
    from assistant.clutch.conformity import Measured
    from assistant.record.history import JobHistory
    from assistant.texts.dialogs import Dialogs
    from assistant.wear.outlook import Outlook

NOT_YET = 3
"""Exit code where the records do not tell it yet: nothing was asked wrongly."""
_record_option = click.option("--record", type=PATH, help="Take card and readings from a record.")


def _given(
    card_file: Path | None, record: Path | None, called: dict[str, Any]
) -> tuple[Card, dict[str, Measured], dict[str, Measured], str]:
    """The card, readings as found and as left, and the day of the record, or ""; what is called out
    goes before what the record holds as found, and is of today."""
    from assistant.card import card_from_text, default_card
    from assistant.record import RecordError
    from assistant.record.history import JobHistory

    unit = called.pop("unit", None)
    history, card = JobHistory(), default_card()
    if record is not None:
        history = JobHistory.read(record)
        if history.problem:
            raise RecordError(f"{record.name}: {history.problem}")
        kept = history.opened.card
        card = card_from_text(kept.text, kept.name) if kept.text else card
    if card_file is not None or unit:
        card = truck_card(card_file, unit)
    found = _kept(history, "found")
    now = words_called(called)
    for quantity, said in now.items():
        found[quantity], _ = length_called(f"--{quantity}", said, quantity, card)
    return card, found, _kept(history, "final"), "" if now else history.opened.at[:10]


def _kept(history: JobHistory, stage: str) -> dict[str, Measured]:
    from assistant.card.arithmetic import lengths_kept
    from assistant.record.history import refuse

    try:
        return lengths_kept(history.last_read(stage))
    except ValueError:
        refuse()


@click.command(short_help="From a complaint, or readings, to the cause.")
@click.argument("complaint", nargs=-1)
@truck_options
@_record_option
@reading_options()
@click.option("--json", "as_json", is_flag=True, help="Print what is known now, as JSON.")
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

    card, known, *_ = _given(card_file, record, called)
    talk = CauseTalk(load_table(), card, load_dialogs(), known)
    words = " ".join(complaint)
    if words and not talk.complain(words):
        named = ", ".join(c.name for c in talk.case.table.complaints.values())
        fail(f"{words!r} names no complaint; name one of: {named}", 2)
    if as_json:
        show_told(as_json, talk.case.as_json(), ())
        return
    show_lines(talk.begin())
    said = answers()
    while not talk.over and (line := next(said, None)) is not None:
        show_lines(talk.hear(line))


_HEADINGS = {"stroke": "pedal stroke", "chain": "chain", "linkage": "rods and levers"}


@click.command(short_help="Draw the pedal stroke, or the chain, today and after.")
@click.argument("what", type=click.Choice(tuple(_HEADINGS)), default="stroke")
@truck_options
@_record_option
@reading_options()
@click.option("--svg", "svg_file", type=PATH, help="Write the picture to this SVG file.")
@click.option("--why", is_flag=True, help="Say whose the limits are, and what was worked out.")
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
    from assistant.pictures import plain
    from assistant.pictures.snapshot import recorded, today_and_after
    from assistant.pictures.svg import bars_svg, chain_svg, stroke_svg
    from assistant.record.disk import reason, write_whole

    card, found, left, day = _given(card_file, record, called)
    shots = today_and_after(card, found, left)
    if day:
        shots[0] = recorded(shots[0])
    head = [f"{card.unit or 'Truck'}, {day}", ""] if day else []
    spoken = [plain.spoken(shot, card) for shot in shots]
    if svg_file is not None or what == "linkage":
        draw = {"stroke": stroke_svg, "chain": chain_svg, "linkage": bars_svg}[what]
        drawn = draw(shots, card, f"{card.unit or 'Truck'}: {_HEADINGS[what]} {day}".rstrip())
    if svg_file is not None:
        try:
            write_whole(svg_file, drawn.encode(), durable=False)
        except OSError as error:
            fail(f"{svg_file} cannot be written: {reason(error)[0]}; name another file")
        show_lines([f"Drawn: {svg_file}"])
    elif what == "linkage":
        fail("rods and levers are drawn to a file: add --svg FILE", 2)
    elif what == "stroke":
        show_lines([*head, *plain.stroke_lines(shots, card)])
    else:
        show_lines([*head, *plain.chain_lines(shots, card)])
    show_lines(["", *spoken, *(plain.why(shots, card) if why else ())])


@click.command(short_help="When free travel reaches its limit, from past records.")
@click.argument("folder", required=False, type=PATH)
@click.option("--unit", type=WORDS, help="The truck; all of them otherwise.")
@click.option("--ring-lugs", type=click.IntRange(1, 200),
              help="Lugs its ring has when new; else the card says.")  # fmt: skip
@click.option("--why", is_flag=True, help="Say what it rests on, and what is unknown.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, one object a truck.")
@click.option("--calendar", "calendar_file", type=PATH, help="Write the days to an .ics file.")
@click.option("--csv", "csv_file", type=PATH, help="Write the trucks that are due as CSV.")
def due(
    folder: Path | None,
    unit: str | None,
    ring_lugs: int | None,
    why: bool,
    as_json: bool,
    calendar_file: Path | None,
    csv_file: Path | None,
) -> None:
    """When each truck is due, by the records in FOLDER and its subfolders: when its free travel
    reaches its lower limit, or at the check told at sign-off, whichever comes first.

    A range of miles, and of dates where the records tell the truck's own pace; else by odometer
    only. Exit code 3 when nothing can be told yet, 2 when it was asked wrongly.
    """
    from assistant.cli.review import opened
    from assistant.record import default_folder
    from assistant.record.folder import SUFFIX
    from assistant.review.columns import COPY, DAMAGE
    from assistant.texts.dialogs import load_dialogs
    from assistant.wear import say

    folder = folder or default_folder()
    if not folder.is_dir():
        fail(f"{folder} is no folder; name the folder with the records", 2)
    with opened((folder,)) as desk:
        bad = [row for row in desk.ask("damaged") if row["path"].endswith(SUFFIX)]
        left_out = [say.left_out(row["path"], row["status"] in DAMAGE) for row in bad
                    if row["status"] not in ("missing", "torn", COPY)]  # fmt: skip
        show_lines(left_out, err=True)
        slow = desk.told
        units = [unit] if unit else [truck.unit for truck in desk.due.trucks]
        looks = desk.due.outlooks(units, ring_lugs)
        if calendar_file or csv_file:
            trucks = [row for row in desk.ask("units") if unit in (None, row["unit"])]
            _write_due(trucks, calendar_file, csv_file)
    if unit and unit not in looks:
        fail(f"no finished record of unit {unit} in {folder}", NOT_YET)
    if not units:
        fail(f"no finished record in {folder}", NOT_YET)
    show_lines(slow, err=True)
    told, dialogs = False, load_dialogs()
    for look in map(looks.__getitem__, units):
        told = told or say.reply_of(look) is not None or look.check_miles is not None
        show_told(as_json, say.as_json(look), _due_lines(look, dialogs, why), indent=None)
    if not told:
        raise SystemExit(NOT_YET)


def _write_due(
    trucks: list[dict[str, Any]], calendar_file: Path | None, csv_file: Path | None
) -> None:
    from assistant.record.disk import reason, write_whole
    from assistant.review.handover.due_list import calendar, due_csv

    for file, made in ((calendar_file, calendar), (csv_file, due_csv)):
        if file is None:
            continue
        told = made(trucks)
        try:
            write_whole(file, told if isinstance(told, bytes) else told.encode(), durable=False)
        except OSError as error:
            fail(f"{file} cannot be written: {reason(error)[0]}; name another file")


def _due_lines(look: Outlook, dialogs: Dialogs, why: bool) -> list[str]:
    from assistant.wear import say

    reply = say.reply_of(look)
    told = say.for_command(look, dialogs.say(reply[0], **reply[1]) if reply else "")
    return [*told, *(f"  {line}" for line in (say.why(look) if why else ()))]
