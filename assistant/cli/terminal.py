"""What all commands share: errors in one line, and replies as lines on the screen."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.card import Card
    from assistant.clutch.uncertainty import Measured
    from assistant.conversation import Session

LABEL = {"tech": "TECH", "helper": "HELPER", "both": "BOTH"}


def one_line_errors(command: Callable[..., None]) -> Callable[..., None]:
    """Expected errors become one line on standard error and exit code 1."""

    @wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except KeyboardInterrupt:
            left = "Nothing answered is lost; lugcall resume carries on."
            jobs = ["chat", "resume", "demo", "listen"]
            if kwargs.get("new"):
                left, jobs = "Nothing answered is lost; the same command carries on.", ["card"]
            click.echo(f"\nLeft off. {left if command.__name__ in jobs else ''}".rstrip(), err=True)
            raise SystemExit(130) from None
        except BrokenPipeError:
            # The reader went away (a pager was closed): nothing to tell it.
            sys.stderr.close()
            raise SystemExit(1) from None
        except OSError as error:
            fail(f"{error.strerror}; check where input and output go")
        except Exception as error:
            if not isinstance(error, _expected()):
                raise
            fail(str(error))

    return wrapped


def _expected() -> tuple[type[Exception], ...]:
    """Imported when there is one: the half of it takes longer than many a command."""
    from assistant.card import CardError
    from assistant.conversation import SessionError
    from assistant.record import RecordError
    from assistant.sentences import DialogError

    return CardError, SessionError, DialogError, RecordError


def fail(message: str, code: int = 1) -> NoReturn:
    """One line on standard error, and out."""
    click.echo(f"lugcall: {message}", err=True)
    raise SystemExit(code)


class CalledError(Exception):
    """One clear line on a reading in an option that could not be used."""


def length_called(option: str, said: str, quantity: str, card: Card) -> tuple[Measured, str]:
    """A reading in words as a measured length, and its figures.

    Raises:
        CalledError: it was not understood.
    """
    from assistant.clutch.uncertainty import Measured
    from assistant.readings import read

    got = read(said, quantity, card.units)
    if got.status != "read" or got.value_in is None or got.low_in is None or got.high_in is None:
        raise CalledError(f"{option} {said!r}: {got.why or 'no reading'}")
    return Measured.from_interval(got.value_in, got.low_in, got.high_in), got.figures


def typed() -> Iterator[str]:
    """Lines typed at the prompt, or a script from a pipe."""
    if not sys.stdin.isatty():
        while line := decoded(sys.stdin.buffer.readline()):
            yield line
        return
    while True:
        try:
            yield input("\n> ")
        except EOFError:
            click.echo()
            return


def decoded(line: bytes) -> str:
    """A line of a script as text, whatever bytes are in it."""
    return line.decode("utf-8", errors="replace")


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
        label = click.style(f"{LABEL[one.to]:>8} ", bold=True)
        text = f"{one.signal}: {one.text}" if one.signal else one.text
        important = bool(one.cue or one.signal == "DANGER" or one.key.startswith("prompt:"))
        click.echo(f"{label}< {click.style(text, bold=important)}")
    sys.stdout.flush()


def begin_job(
    card: Card, records: Path | None, keep_audio: bool = False
) -> tuple[Session, list[Said]]:
    """A job on a new record, and what is said first: what leads asked since the truck's last job.

    Looked up before the new record is there, so that it is not among those looked at.
    """
    from assistant.conversation import Session
    from assistant.record import default_folder
    from assistant.review.acts import waiting
    from assistant.texts.dialogs import load_dialogs

    folder = records or default_folder()
    questions = waiting(folder, card.unit)
    session, said = Session.begin(card, load_dialogs(), folder, keep_audio=keep_audio)
    asked = [
        one
        for q in questions
        for one in session.notice("tech", "lead_asks", lead=q.lead, text=q.text, question=q.hash)
    ]
    click.echo(f"Record: {session.journal.path}\n")
    return session, [*asked, *said]
