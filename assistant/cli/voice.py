"""The commands that hear and speak. Nothing heavy is imported before one of them runs."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.cli.terminal import (
    PATH,
    Seconds,
    begin_job,
    fail,
    fitted_option,
    full_option,
    kind_of_end,
    left_off,
    open_record,
    resume_job,
    show,
    show_lines,
    show_note,
    show_told,
    truck_card,
    truck_options,
    typed,
)
from assistant.readings import QUANTITIES, quantity_named
from assistant.sentences import printable

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.conversation import Session
    from assistant.interview.talk import CardTalk
    from assistant.voice.session.live import Devices

    Held = Callable[[Session | CardTalk, list[Said]], str]

ENGINES = ("vosk", "whisper")
_engines = "Listen with this engine (may be given twice); those that are there otherwise."
_engine_option = click.option(
    "--engine", "engines", multiple=True, type=click.Choice(ENGINES), help=_engines
)


@click.command(short_help="Do one truck by voice.")
@truck_options
@click.option("--records", type=PATH, help="Folder for the record.")
@click.option("--resume", "again", is_flag=False, flag_value="", metavar="[RECORD]",
              help="Carry on RECORD, or the job that is open.")  # fmt: skip
@click.option("--from", "recording", type=PATH, help="Hear the technician from this sound file.")
@click.option("--helper", "helper_recording", type=PATH, help="Hear the helper from this one.")
@click.option("--mic", help="Technician's microphone, by number or name (see lugcall devices).")
@click.option("--helper-mic", help="Helper's microphone, if he has one of his own.")
@click.option("--speaker", help="Technician's loudspeaker.")
@click.option("--helper-speaker", help="Helper's loudspeaker.")
@click.option("--keep-audio", is_flag=True, help="Keep the sound of confirmed readings; says so.")
@full_option
@fitted_option
@click.option("--timings", is_flag=True, help="Say at the end how fast it answered.")
@_engine_option
def listen(
    card_file: Path | None,
    unit: str | None,
    records: Path | None,
    again: str | None,
    recording: Path | None,
    helper_recording: Path | None,
    keep_audio: bool,
    full: bool,
    fitted: tuple[str, ...],
    timings: bool,
    engines: tuple[str, ...],
    **used: str | None,
) -> None:
    """Do one truck by voice: with microphones, or from recordings, faster than they were made.

    With one microphone both people speak into it, and are told apart by step and by words.
    """
    from assistant.voice.devices.audio import load
    from assistant.voice.session.live import Devices

    if helper_recording is not None and recording is None:
        fail("--helper goes with --from; give the technician's recording too", 2)
    sounds = [(p.name, load(p)) for p in (recording, helper_recording) if p is not None]
    ears = recognizers_for(engines)
    if again is None:
        begin = partial(begin_job, truck_card(card_file, unit), records, keep_audio, full, fitted)
    else:
        goes_on = "lugcall listen --resume"
        left = Path(again) if again else open_record(records, "lugcall listen", goes_on)
        begin = partial(resume_job, left, keep_audio)
    with listening(ears, sounds, Devices(**used)) as hold:
        session, said = begin()
        path = session.journal.path
        carries_on = f"lugcall listen --resume {shlex.quote(str(path))}"
        with left_off(carries_on), closing(session):
            waits = hold(session, said)
    if timings and waits:
        show_lines([waits])
    if session.dialogue.finished:
        show_lines(["", f"{kind_of_end(session.dialogue)}: {path}"])
    else:
        show_note(f"Not finished. {carries_on} carries on.")


@contextmanager
def listening(ears: Any, sounds: list[Any], devices: Devices) -> Iterator[Held]:
    """Ears are open: what is given holds a conversation by voice, and tells its timings, if any.

    From the recordings in `sounds`; without any with `devices`, which are opened before there is a
    conversation: without them none is begun.

    Raises:
        AudioError: there is no such device.
    """
    if sounds:
        from assistant.voice.session.recorded import listen_files

        def played(conversation: Session | CardTalk, opening: list[Said]) -> str:
            show(opening)
            listen_files(conversation, ears, sounds, lambda turn: show_turn(turn.said, turn.line))
            return ""

        yield played
        return
    from assistant.voice.session.live import Live

    with closing(Live(ears, devices, show_turn, lambda line: show_lines([line]))) as live:

        def spoken(conversation: Session | CardTalk, opening: list[Said]) -> str:
            live.run(conversation, opening)
            return live.timings.line()

        yield spoken


def show_turn(said: Sequence[Said], line: str = "") -> None:
    """Replies as a typed session shows its own, under the line of what was heard."""
    if said and line:
        show_lines([line])
    show(said)


def recognizers_for(engines: tuple[str, ...]) -> Any:
    """The recognizers called so, or those that there are; tells what cannot be used.

    Raises:
        RecognizerError: there is none.
    """
    from assistant.voice.recognition.recognizers import Recognizers, open_recognizers

    opened, problems = open_recognizers(engines)
    show_lines(problems, err=True)
    return Recognizers(opened)


def staged(session: Session, opening: list[Said], script: str, file: Path) -> None:
    """Play a script by sound: what is to be heard into `file`, the transcript beside it."""
    import soundfile

    from assistant.conversation import split_speaker
    from assistant.voice.devices.audio import RATE
    from assistant.voice.output.synthesizer import Synthesizer
    from assistant.voice.session.staged import StagedJob

    kinds = [f".{kind.lower()}" for kind in soundfile.available_formats()]
    if file.suffix.lower() not in kinds:
        fail(f"{file.name} is no sound file's name; let it end in .flac or .wav", 2)
    if not file.parent.is_dir() or file.exists():
        fail(f"{file}: name a new file in a folder that is there", 2)
    lines: list[tuple[float, str]] = []
    with closing(session), closing(Synthesizer()) as speaks:
        stage = StagedJob(
            session, recognizers_for(()), speaks, lambda at, line: lines.append((at, line))
        )
        said = (split_speaker(line) for line in typed(script.splitlines()))
        sound = stage.play(opening, said)
    text = [f"{int(at) // 60:02}:{at % 60:04.1f} {printable(line)}" for at, line in lines]
    beside = file.with_suffix(".txt")
    try:
        soundfile.write(file, sound, RATE)
        beside.write_text("\n".join(text) + "\n", encoding="utf-8")
    except (OSError, soundfile.SoundFileError) as error:
        fail(f"{file} cannot be written ({error}); name another place")
    show_lines(text)
    minutes = len(sound) / RATE / 60
    show_lines(["", f"{file}: {minutes:.1f} minutes; {beside}: what was said and heard"])
    if not session.job.finished:
        fail(f"Not finished: {session.journal.path}")
    show_lines([f"{kind_of_end(session.dialogue)}: {session.journal.path}"])


@click.command(short_help="What recorded utterances mean, one file each.")
@click.argument("files", nargs=-1, required=True, type=PATH)
@click.option("--for", "quantity", required=True, help=f"Asked for: {', '.join(QUANTITIES)}.")
@click.option("--mm", is_flag=True, help="A metric shop: bare numbers are millimetres.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, one object a line.")
@_engine_option
def hear(
    files: tuple[Path, ...], quantity: str, mm: bool, as_json: bool, engines: tuple[str, ...]
) -> None:
    """What is said in each of FILES, ranked. The engines are loaded once.

    Exit code 0 when each file holds a reading that is sure enough, 2 when one does not.
    """
    from assistant.voice.session.recorded import hear_files

    try:
        quantity_named(quantity)
    except ValueError as error:
        fail(str(error), 2)
    ears = recognizers_for(engines)
    sure = True
    for report in hear_files(files, quantity, ears, mm):
        sure = sure and report["decision"] == "accept" and report["status"] == "read"
        show_told(as_json, report, [_line(report)], indent=None)
    raise SystemExit(0 if sure else 2)


def _line(report: dict[str, Any]) -> str:
    head = f"{report['file']}: {report['decision']}"
    if report["status"] != "read":
        return f"{head}: {report['why']}"
    others = ", ".join(f"{a['heard']} {a['probability']:.2f}" for a in report["alternatives"][:2])
    tail = f"; or {others}" if others else ""
    return f"{head}: {report['readback']} ({report['heard']}) {report['probability']:.2f}{tail}"


@click.command(short_help="List and test microphones and loudspeakers.")
@click.option("--test", is_flag=True, help="Play the signals and a sentence as well.")
@click.option("--mic", help="Judge this microphone, by number or name.")
@click.option("--speaker", help="Play on this loudspeaker.")
@click.option(
    "--seconds", type=Seconds(0.5, 600), default=3.0, show_default=True, help="How long to listen."
)
@click.option("--from", "file", type=PATH, help="Judge this recording instead.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def devices(
    test: bool,
    mic: str | None,
    speaker: str | None,
    seconds: float,
    file: Path | None,
    as_json: bool,
) -> None:
    """List microphones and loudspeakers, meter the noise, and say what is wrong with them."""
    from assistant.voice.device_check import devices_report

    report = devices_report(mic, speaker, seconds, test, file)
    show_told(as_json, report.as_json(), report.lines())
    raise SystemExit(0 if report.ok else 1)
