"""The command line. Every command ends with one clear line when something is wrong."""

from __future__ import annotations

import io
import os
import shlex
import signal
import sys
import threading
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant import __version__
from assistant.cli import card, review, serve, trade, voice
from assistant.cli.terminal import (
    PATH,
    CommandGroup,
    begin_job,
    fail,
    fitted_option,
    full_option,
    kind_of_end,
    left_off,
    not_written,
    open_record,
    piped,
    reading_options,
    resume_job,
    show,
    show_lines,
    show_note,
    show_told,
    truck_card,
    truck_options,
    typed,
    words_called,
)
from assistant.readings import QUANTITIES, Reading, quantity_named, read
from assistant.resources import data_folder

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.conversation import Session


def run() -> None:
    """The program: `main`, and whatever ends it, in one line and an exit code."""
    _streams()
    if signal.getsignal(signal.SIGINT) is signal.SIG_DFL:
        signal.signal(signal.SIGINT, _interrupted)
    sys.unraisablehook = _unraisable
    if not os.environ.get("LUGCALL_TRACE"):
        threading.excepthook = lambda fault: show_lines([_fault(fault.exc_value)], err=True)
    code = _ended()
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # nothing is left to be broken off
    unwritten = _flushed()
    if unwritten is not None and not code:
        code = 1
    raise SystemExit(code)


def _streams() -> None:
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # started with the stream closed
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")


_pressed: list[int] = []
"""Ctrl-C, once it was pressed."""


def _interrupted(number: int, frame: object) -> None:
    """Ctrl-C: what goes on is left in order. Pressed again, it ends the program as it is."""
    _pressed.append(number)
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    raise KeyboardInterrupt


def _unraisable(fault: sys.UnraisableHookArgs) -> None:
    """Ctrl-C in the midst of what cannot be broken off, as in a library's clearing away."""
    if _pressed:
        os._exit(130)
    sys.__unraisablehook__(fault)


def _ended() -> int:
    """What the command comes to: its exit code; what is wrong is told."""
    try:
        try:
            told = main.main(prog_name="lugcall", standalone_mode=False)
            sys.stdout.flush()
            return told if isinstance(told, int) else 0
        except click.exceptions.NoArgsIsHelpError as error:
            click.echo(error.format_message())
            return 0
        except click.UsageError as error:
            command = error.ctx.command_path if error.ctx is not None else "lugcall"
            fail(f"{error.format_message().rstrip('.')}; {command} --help shows how", 2)
        except click.ClickException as error:
            fail(error.format_message(), error.exit_code)
        except BrokenPipeError:
            return 1  # the reader went away, as when a pager is closed: nobody is there to be told
        except OSError as error:
            fail(not_written(error))
    except (click.Abort, KeyboardInterrupt):
        return 130
    except SystemExit as error:
        return error.code if isinstance(error.code, int) else 1
    except ImportError:
        raise
    except OSError as error:  # the help, which is shown above
        show_lines([not_written(error)], err=True)
        return 1
    except Exception as error:
        if _pressed:  # which a library took for a fault of its own
            return 130
        if os.environ.get("LUGCALL_TRACE"):
            raise
        show_lines([_fault(error)], err=True)
        return 70


def _fault(error: BaseException | None) -> str:
    """A fault of this program, in one line that helps to find it."""
    at = error.__traceback__ if error is not None else None
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    where = f"{at.tb_frame.f_code.co_filename}, line {at.tb_lineno}" if at is not None else "?"
    return (
        f"this is a fault of lugcall itself: {type(error).__name__}: {error} ({where}). "
        "What was answered is kept; report this line"
    )


def _flushed() -> OSError | None:
    """Get rid of what is still to be printed, and say why where that cannot be: Python, which
    tries once more at its end, would say it in many lines."""
    problem = None
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError as error:
            problem = error
            with suppress(OSError, ValueError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
                stream.flush()
        except ValueError:  # closed already
            pass
    return problem


@click.group(
    cls=CommandGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 92},
)
@click.version_option(__version__, prog_name="lugcall")
def main() -> None:
    """Talks a technician and a helper through setting a heavy truck's clutch, in order.

    It hears the readings called out, works out lug and rod moves, tells the helper when to hold
    and release, and keeps a record. The maker's manual, shop rules and local codes come first.
    """


# --- the job --------------------------------------------------------------------------------------


@main.command()
@click.option("--records", type=PATH, help="Folder for the record.")
@click.option("--sound", type=PATH, help="Play it by sound into this file (.flac, .wav).")
def demo(records: Path | None, sound: Path | None) -> None:
    """Our invented demo truck, from making it safe to sign-off. Asks nothing.

    With --sound two synthetic people say it in a noisy shop, through the ears and out of the mouth,
    without any device: one sound file, and what was said and heard beside it.
    """
    from assistant.card import load_card
    from assistant.record import default_folder

    folder = data_folder("demo_sessions", "first_job.txt")
    script = (folder / "first_job.txt").read_text(encoding="utf-8")
    # Apart from real jobs: nobody should meet an invented truck among the shop's records.
    records = records or default_folder() / "demo"
    session, said = begin_job(load_card(folder / "truck_t104.toml"), records)
    show_lines(
        ["An invented truck in an invented shop. TECH is under it, HELPER at the pedal.", ""]
    )
    if sound is not None:
        voice.staged(session, said, script, sound)
    else:
        _play(session, said, script)


@main.command()
@truck_options
@click.option("--records", type=PATH, help="Folder for the record.")
@full_option
@fitted_option
def chat(
    card_file: Path | None,
    unit: str | None,
    records: Path | None,
    full: bool,
    fitted: tuple[str, ...],
) -> None:
    """Do one truck by text, step by step.

    Begin a line with "helper:" (or h:) for the helper's words; other lines are the technician's,
    "tech:" may be left out. A pipe is played as a script.
    """
    _play(*begin_job(truck_card(card_file, unit), records, full=full, fitted=fitted))


@main.command(short_help="Carry on a job that was left, or cut off.")
@click.argument("record", required=False, type=PATH)
@click.option("--records", type=PATH, help="Folder with the records.")
def resume(record: Path | None, records: Path | None) -> None:
    """Carry on the job that is open (or RECORD) at the step it was left; of several, asks which."""
    _play(*resume_job(record or open_record(records, "lugcall chat", "lugcall resume")))


def _play(session: Session, said: list[Said], script: str | None = None) -> None:
    from assistant.conversation import split_speaker
    from assistant.job.answers import PICTURE, drawn

    path = session.journal.path
    carries_on = f"lugcall resume {shlex.quote(str(path))}"
    with left_off(carries_on), closing(session):
        show(said)
        for line in typed(script and script.splitlines()):
            who, words = split_speaker(line)
            if script or not sys.stdin.isatty():
                show_lines([f"{who}: {words}"])
            said = session.hear(who, words)
            show(said)
            if any(s.key == PICTURE for s in said):
                show_lines(drawn(session.job))
            if session.job.finished:
                break
    if session.job.finished:
        quoted = shlex.quote(str(path))
        show_lines(
            ["", f"{kind_of_end(session.job)}: {path}", f"Check it: lugcall verify {quoted}"]
        )
        show_lines([f"Read it:  lugcall transcript {quoted}"])
    else:
        show_note(f"Not finished. {carries_on} carries on.")


# --- readings -------------------------------------------------------------------------------------


@main.command(context_settings={"ignore_unknown_options": True})
@click.argument("words", nargs=-1, required=True)
@click.option("--for", "quantity", default="", help=f"What was asked: {', '.join(QUANTITIES)}.")
@click.option("--mm", is_flag=True, help="A metric shop: bare numbers are millimetres.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def reading(words: tuple[str, ...], quantity: str, mm: bool, as_json: bool) -> None:
    """What called-out or typed WORDS mean. "-" reads lines of QUANTITY<TAB>WORDS from a pipe.

    Exit code 0 when they hold one reading, 2 when they hold none, or something to ask about.
    """
    units = "mm" if mm else "inch"
    try:
        quantity_named(quantity)
    except ValueError as error:
        fail(str(error), 2)
    if words == ("-",):
        for line in piped():
            name, tab, rest = line.rstrip("\r\n").partition("\t")
            name, rest = (name.strip(), rest) if tab else ("", name)
            _read(rest, name or quantity, units, as_json)
        return
    raise SystemExit(0 if _read(" ".join(words), quantity, units, as_json) else 2)


def _read(words: str, quantity: str, units: str, as_json: bool) -> bool:
    """Tell what the words mean; whether they hold one reading."""
    try:
        got = read(words, quantity, units)
    except ValueError as error:
        got = Reading("refused", quantity, why=str(error))
    show_told(as_json, got.as_json(), [_line(got)], indent=None)
    return got.status == "read"


def _line(got: Reading) -> str:
    if got.status != "read":
        return f"{got.status}: {got.why}"
    if got.count is not None:
        return f"read: {got.figures} ({got.readback})"
    return (
        f"read: {got.figures} ({got.readback}) = {got.value_in:.4f} in, "
        f"between {got.low_in:.4f} and {got.high_in:.4f}"
    )


# --- arithmetic -----------------------------------------------------------------------------------


@main.command(short_help="The arithmetic alone: ring, rod and stops.")
@reading_options("--gap", "--clearance")
@click.option(
    "--joint", "joints", multiple=True, help='Travel of a joint at brake contact: "NAME=1-1/2".'
)
@truck_options
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def plan(
    card_file: Path | None,
    unit: str | None,
    joints: tuple[str, ...],
    as_json: bool,
    **called: str | None,
) -> None:
    """The arithmetic alone: ring, rod and stops from as-found readings, and what each way costs.

    With the linkage's geometry on the card it also says where motion is lost.
    """
    from assistant.cli.plan import plan_report, plan_text

    card = truck_card(card_file, unit)
    report = plan_report(words_called(called), card, dict(map(_joint, joints)))
    show_told(as_json, report, plan_text(report).split("\n"))


def _joint(words: str) -> tuple[str, str]:
    name, equals, travel = words.partition("=")
    if not equals or not name.strip() or not travel.strip():
        fail(f'--joint {words!r}: write it like "pedal rod=1-1/2"', 2)
    return name.strip(), travel.strip()


# --- records and cards ----------------------------------------------------------------------------


@main.command(short_help="Check that no line of a record was changed or lost.")
@click.argument("records", nargs=-1, required=True, type=PATH)
@click.option("--seal", help="The seal written on the work order, like 3F2A-91BC.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, one object a record.")
def verify(records: tuple[Path, ...], seal: str | None, as_json: bool) -> None:
    """Check that no line of the RECORDS was changed, lost or moved. Exit code 1 if one was."""
    from assistant.record import verify_file
    from assistant.record.chain import read_seal

    if seal is not None and read_seal(seal) is None:
        fail(f"--seal {seal!r} is no seal: it is 8 digits 0-9 or A-F, like 3F2A-91BC", 2)
    bad = False
    for path in records:
        verdict = verify_file(path, seal)
        bad = bad or not verdict.ok
        if as_json:
            told = {
                "file": str(path),
                "ok": verdict.ok,
                "events": verdict.events,
                "signed_off": verdict.signed_off,
                "closed_unfinished": verdict.unfinished,
                "problem": verdict.problem,
                "seal": verdict.seal,
                "clips": verdict.about_clips,
                "photos": verdict.about_photos,
            }
            show_told(True, told, (), indent=None)
        elif verdict.ok:
            state = "signed off" if verdict.closed else "NOT signed off"
            state = "closed unfinished" if verdict.unfinished else state
            events = f"{verdict.events} event{'' if verdict.events == 1 else 's'}"
            good = f"GOOD     {path}: {events}, {state}, seal {verdict.seal}"
            paper = verdict.paper_seal
            after = f"seal on the work order {paper}; the lead wrote after"
            more = [after if paper not in ("", verdict.seal) else ""]
            more += [verdict.about_clips, verdict.about_photos]
            show_lines([good, *(f"         {line}" for line in more if line)])
        else:
            show_lines([f"DAMAGED  {path}: {verdict.problem}"])
    if bad:
        raise SystemExit(1)


@main.command()
@click.argument("record", type=PATH)
def transcript(record: Path) -> None:
    """Print RECORD as people read it."""
    from assistant.record.history import JobHistory
    from assistant.review.transcript import transcript as lines

    history = JobHistory.read(record)
    show_lines(lines(history))
    if history.problem:
        fail(f"{record.name}: {history.problem}")


for _command in (
    card.card, review.review, review.page, review.pages, review.audit, review.lead,
    review.photo, review.retention, trade.cause, trade.picture, trade.due, voice.listen, voice.hear,
    voice.devices, serve.serve,
):  # fmt: skip
    main.add_command(_command)
