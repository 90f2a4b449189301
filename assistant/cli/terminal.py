"""What all commands share: errors in one line, and replies as lines on the screen."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from assistant.sentences import MOST_SHOWN, printable

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.card import Card
    from assistant.clutch.conformity import Measured
    from assistant.conversation import Session

PATH = click.Path(path_type=Path)


class Words(click.types.StringParamType):
    """Words in an option: a text that can be kept and shown."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            value.encode()
        except UnicodeEncodeError:
            self.fail(f"{value!r} is not UTF-8; type it anew.", param, ctx)
        return value


WORDS = Words()
_READINGS = (
    ("--gap", 'Bearing to brake, as called out: "five eighths".'),
    ("--clearance", "Fork clearance."),
    ("--free-travel", "Free travel at the pedal."),
    ("--pedal-height", "Pedal height at rest."),
    ("--brake-contact", "Pedal height where the brake is touched."),
    ("--total-travel", "Total pedal travel."),
)
Command = Callable[..., None]


def truck_options(command: Command) -> Command:
    """What `truck_card` takes: `card_file` and `unit`."""
    folder = "The truck's unit number, where --card is a folder of cards."
    command = click.option("--unit", type=WORDS, help=folder)(command)
    return click.option("--card", "card_file", type=PATH, help="The truck's card.")(command)


full_option = click.option(
    "--full", is_flag=True, help="Check every reading, take none over, all cautions whole."
)


fitted_option = click.option(
    "--fitted",
    multiple=True,
    type=click.Choice(["clutch", "brake"]),
    help="A new clutch or clutch brake is in it: a first set-up. For both, say it twice.",
)


class Seconds(click.FloatRange):
    """Seconds in an option, from the least to the most; a number, which `nan` is not."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if math.isnan(number := super().convert(value, param, ctx)):
            self.fail(f"{value!r} is no number of seconds.", param, ctx)
        return number


def reading_options(*required: str) -> Callable[[Command], Command]:
    """Readings as called out, by quantity; the `required` ones must be given."""

    def options(command: Command) -> Command:
        for flag, text in reversed(_READINGS):
            command = click.option(flag, required=flag in required, help=text)(command)
        return command

    return options


def words_called(called: dict[str, str | None]) -> dict[str, str]:
    """The words of the readings that were given, by quantity."""
    return {name.replace("_", "-"): said for name, said in called.items() if said is not None}


_EXPECTED = (
    ("assistant.card", "CardError", 1),
    ("assistant.conversation", "SessionError", 1),
    ("assistant.sentences", "DialogError", 1),
    ("assistant.record", "RecordError", 1),
    ("assistant.voice.devices.audio", "AudioError", 1),
    ("assistant.voice.recognition.recognizer", "RecognizerError", 1),
    ("assistant.pictures.snapshot", "PictureError", 2),
    (__name__, "CalledError", 2),
)
"""Errors that end a command in one line, and its exit code. They are looked up where they are
loaded already: to import half of them takes longer than many a command."""


class CommandGroup(click.Group):
    """Commands whose expected errors become one line on standard error, and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            fail("left off", 130)
        except BrokenPipeError:
            raise SystemExit(1) from None  # the reader went away: nobody is there to be told
        except OSError as error:
            fail(not_written(error))
        except Exception as error:
            for module, name, code in _EXPECTED:
                loaded = sys.modules.get(module)
                if loaded is not None and isinstance(error, getattr(loaded, name)):
                    fail(str(error), code)
            raise


def fail(message: str, code: int = 1) -> NoReturn:
    """One line on standard error, and out."""
    show_lines([message], err=True)
    raise SystemExit(code)


def not_written(error: OSError) -> str:
    """What the system refused, in one line."""
    from assistant.record.disk import reason

    what, remedy = reason(error)
    if error.filename is None:
        return f"what is printed cannot be written: {what}; send it elsewhere"
    return f"{error.filename}: {what}; {remedy}"


@contextmanager
def left_off(carries_on: str) -> Iterator[None]:
    """Whatever breaks off the work within, the command that `carries_on` with it is told."""
    kept = f"Nothing answered is lost; {carries_on} carries on."
    try:
        yield
    except KeyboardInterrupt:
        show_note(f"Left off. {kept}")
        raise SystemExit(130) from None
    except OSError as error:
        fail(f"{not_written(error)}. {kept}")
    except CalledError as error:
        fail(f"{error}. {kept}", 2)


class CalledError(Exception):
    """One clear line on what was typed, or given in an option, and could not be used."""


LONGEST_LINE = 1 << 16
"""Bytes of a line of a pipe: a longer one is no utterance, and might never end."""


def piped() -> Iterator[str]:
    """The lines of a pipe as text, whatever bytes are in them.

    Raises:
        CalledError: one is far too long.
    """
    for number, line in enumerate(iter(partial(sys.stdin.buffer.readline, LONGEST_LINE), b""), 1):
        if len(line) == LONGEST_LINE:
            most = f"longer than {LONGEST_LINE // 1024} kB"
            raise CalledError(f"line {number} of the input is {most}; give text, a line a sentence")
        yield line.decode("utf-8", errors="replace")


def length_called(option: str, said: str, quantity: str, card: Card) -> tuple[Measured, str]:
    """A reading in words as a measured length, and its figures.

    Raises:
        CalledError: it was not understood.
    """
    from assistant.clutch.conformity import Measured
    from assistant.readings import read

    got = read(said, quantity, card.units)
    if got.status != "read" or got.value_in is None or got.low_in is None or got.high_in is None:
        raise CalledError(f"{option} {said!r}: {got.why or 'no reading'}")
    return Measured.from_interval(got.value_in, got.low_in, got.high_in), got.figures


def typed(script: Iterable[str] | None = None) -> Iterator[str]:
    """The lines of a script, of a pipe, or typed at the prompt; no empty ones and no comments."""
    for line in _raw_lines() if script is None else script:
        if line.strip() and not line.lstrip().startswith("#"):
            yield line


def _raw_lines() -> Iterator[str]:
    if not sys.stdin.isatty():
        yield from piped()
        return
    while True:
        try:
            yield input("\n> ")
        except EOFError:
            click.echo()
            return


def answers() -> Iterator[str]:
    """As `typed`, each shown again where it comes from a pipe."""
    for line in map(str.strip, typed()):
        if not sys.stdin.isatty():
            show_lines([f"> {line}"])
        yield line


def show_lines(lines: Iterable[str], err: bool = False, most: int = MOST_SHOWN) -> None:
    """Print lines; `err`: as what is wrong, each in one line with the program's name.

    Everything a command prints passes here or in `show`, so that no text in a line ends it.
    """
    for line in lines:
        if not err:
            click.echo(printable(line, most))
            continue
        with suppress(OSError):  # nobody can be told
            click.echo(f"lugcall: {printable(' '.join(line.split()))}", err=True)


def show_note(line: str) -> None:
    """Print how a command was left, apart from what it printed."""
    click.echo(f"\n{printable(line)}", err=True)


def show_told(as_json: bool, told: Any, lines: Iterable[str], indent: int | None = 2) -> None:
    """Print what is told as JSON, without `indent` on one line; or else in lines."""
    if as_json:
        text = json.dumps(told, ensure_ascii=False, indent=indent)
        seen = (c if c == "\n" or c.isprintable() else json.dumps(c)[1:-1] for c in text)
        click.echo("".join(seen))
    else:
        show_lines(lines)


def truck_card(path: Path | None, unit: str | None) -> Card:
    """What `--card` and `--unit` name: a card, a truck's card in a folder; without both, none.

    Raises:
        CardError: one line on which card there is not.
    """
    from assistant.card import CardError, default_card
    from assistant.card.fleet import chosen

    if path is None and unit:
        raise CardError("--unit needs the folder of cards as well: --card FOLDER")
    return chosen(path, unit or "") if path is not None else default_card()


def show(said: Iterable[Said]) -> None:
    """Print replies, each with whom it is for."""
    for one in said:
        label = click.style(f"{one.to.upper():>8} ", bold=True)
        text = printable(f"{one.signal}: {one.text}" if one.signal else one.text)
        important = bool(one.cue or one.signal == "DANGER" or one.key.startswith("prompt:"))
        click.echo(f"{label}< {click.style(text, bold=important)}")
    sys.stdout.flush()


def begin_job(
    card: Card,
    records: Path | None,
    keep_audio: bool = False,
    full: bool = False,
    fitted: Sequence[str] = (),
) -> tuple[Session, list[Said]]:
    """A job on a new record, and what is said first; `fitted`: what is new, told first of all."""
    from assistant.act import Act, Evidence
    from assistant.record import default_folder
    from assistant.review.acts import begun
    from assistant.texts.dialogs import load_dialogs

    session, said = begun(card, load_dialogs(), records or default_folder(), keep_audio, full)
    for kind in dict.fromkeys(fitted):
        heard = session.take(Act("fitted", "tech", text=kind, evidence=Evidence(f"new {kind}")))
        said = [*said[:-1], *heard]
    show_lines([f"Record: {session.journal.path}", ""])
    return session, said


def open_record(records: Path | None, begins: str, goes_on: str) -> Path:
    """The record of the job that is open in the folder; of several, the one that is chosen.

    `begins` is the command that begins a job where none is open, `goes_on` the one that carries on
    the record that is named behind it.
    """
    from assistant.record import default_folder, open_jobs, records_in, verify_file

    folder = records or default_folder()
    paths = open_jobs(folder)
    if not paths:
        fail(f"no unfinished record in {folder}; {begins} begins one")
    path = paths[0]
    if len(paths) > 1:
        shown = paths[:_MOST_JOBS]
        show_lines(line for n, one in enumerate(shown, 1) for line in _open_job(n, one))
        if len(paths) > len(shown):
            show_lines([f"     and {len(paths) - len(shown)} older ones"])
        if not sys.stdin.isatty():
            fail(f"{len(paths)} jobs are open in {folder}; name one: {goes_on} FILE")
        path = shown[click.prompt("Number of the job", type=click.IntRange(1, len(shown))) - 1]
    newer = [p for p in records_in(folder) if p.name > path.name and not verify_file(p).ok]
    show_lines((f"{p.name} is newer but damaged; lugcall verify {p}" for p in newer), err=True)
    return path


_MOST_JOBS = 20


def _open_job(number: int, path: Path) -> tuple[str, ...]:
    """A job and its file: its truck, when somebody last did something, and where it stands."""
    from assistant.record import RecordError
    from assistant.record.history import JobHistory

    try:
        history = JobHistory.read(path)
    except RecordError:
        return (f"{number:>3}  {path}",)
    when = history.lines[-1].at[:16].replace("T", " ")
    unit = history.opened.unit or "no unit"
    return f"{number:>3}  {unit:<12} {when}  {history.last_prompt}", f"     {path}"


def kind_of_end(dialogue: Any) -> str:
    """What a closed record is called."""
    from assistant.job.state import LEFT

    return "Unfinished record" if dialogue.at == LEFT else "Signed-off record"


def resume_job(path: Path, keep_audio: bool = False) -> tuple[Session, list[Said]]:
    """The job of a record, and what is said first."""
    from assistant.review.acts import resumed
    from assistant.texts.dialogs import load_dialogs

    session, said = resumed(path, load_dialogs(), keep_audio)
    show_lines([f"Record: {session.journal.path}", ""])
    return session, said
