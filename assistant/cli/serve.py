"""The command that serves screens: the bench, the cab and the desk, to browsers."""

from __future__ import annotations

import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.cli.terminal import PATH, fail, full_option, show_lines, truck_card

if TYPE_CHECKING:
    from assistant.screens.access import Access
    from assistant.screens.ears import Ears

_LOCAL = ("127.0.0.1", "localhost", "[::1]")


@click.command(short_help="Screens for bench, cab and desk, in a browser.")
@click.option("--cards", type=PATH, help="A truck's card, or the folder of the shop's cards.")
@click.option("--records", type=PATH, help="Folder of the records.")
@click.option("--port", type=click.IntRange(1, 65535), default=8765, show_default=True,
              help="Port to listen on.")  # fmt: skip
@click.option("--lan", is_flag=True, help="Let the shop's network in, each page by a code.")
@click.option("--address", default="", help="With --lan: this machine's address there.")
@click.option("--quiet", is_flag=True, help="No ears and no voice: pages are read and typed in.")
@full_option
@click.option("--certificate", type=PATH, help="TLS certificate, for https; goes with --key.")
@click.option("--key", type=PATH, help="Its private key.")
def serve(
    cards: Path | None,
    records: Path | None,
    port: int,
    lan: bool,
    address: str,
    quiet: bool,
    full: bool,
    certificate: Path | None,
    key: Path | None,
) -> None:
    """Screens for a live job: the bench under the truck, the cab's phone, the lead's desk.

    It answers on this machine alone; with --lan on the shop's network too, where each page is let
    in by a code that is shown here and works once. Open jobs go on from their records.
    """
    try:
        import uvicorn

        from assistant.screens.access import Access
        from assistant.screens.bays import Bays
        from assistant.screens.server import application
    except ImportError as missing:
        fail(f"screens need {missing.name}; in lugcall's folder: pip install '.[voice,screens]'")
    from assistant.record import default_folder
    from assistant.texts.dialogs import load_dialogs

    if (certificate is None) != (key is None):
        fail("--certificate and --key go together", 2)
    if address and not lan:
        fail("--address goes with --lan", 2)
    if cards is not None and not cards.is_dir():
        truck_card(cards, None)  # what is wrong with it is told before anything is served
    folder = records or default_folder()
    listener = _listener("0.0.0.0" if lan else "127.0.0.1", port)
    host = (address or _own_address()) if lan else "127.0.0.1"
    at = f"{'https' if key else 'http'}://{host}:{port}"
    access = Access(lan, folder / ".passes.json")
    bays = Bays(folder, load_dialogs(), cards, (lambda: None) if quiet else _ears, full)
    app = application(bays, access, [host, *_LOCAL], at)
    show_lines([f"Records: {folder}", f"Open {at} in a browser. Ctrl-C ends it."])
    if lan:
        show_lines(_codes(access, at))
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, ws="websockets-sansio", ws_max_size=1 << 16,
        timeout_graceful_shutdown=2, server_header=False, lifespan="on",
        ssl_certfile=certificate and str(certificate), ssl_keyfile=key and str(key),
        timeout_keep_alive=30, limit_concurrency=1000,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[listener])


def _ears() -> Ears | None:
    """What hears and speaks for the pages, or None, told why."""
    try:
        from assistant.screens.ears import Ears
        from assistant.voice.devices.audio import AudioError
        from assistant.voice.recognition.recognizer import RecognizerError
    except ImportError as missing:
        show_lines([f"no voice: {missing.name} is missing; install lugcall[voice]"], err=True)
        return None
    try:
        ears = Ears()
    except (AudioError, RecognizerError) as problem:
        show_lines([f"no voice: {problem}"], err=True)
        return None
    show_lines(ears.problems, err=True)
    return ears


def _listener(host: str, port: int) -> socket.socket:
    """The socket, opened before anything is said to be served."""
    # With its protocol named, asyncio lets nothing small wait on it (TCP_NODELAY).
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        fail(f"port {port} cannot be used: {error.strerror}; choose another with --port")
    listener.set_inheritable(True)
    return listener


def _own_address() -> str:
    """This machine's address on its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address, RFC 5737
            return str(probe.getsockname()[0])
        except OSError:
            fail("this machine's address is not known; give it with --address", 2)


def _codes(access: Access, at: str) -> list[str]:
    """A code for the technician and one for the lead, and the first as a QR picture; the helper's
    is shown on the bench, for its job alone."""
    import io

    import segno

    from assistant.screens.view import words_of

    tech, lead = access.code("tech"), access.code("lead")
    drawn = io.StringIO()
    segno.make(f"{at}/pair?code={tech}", error="m").terminal(out=drawn, compact=True)
    say = words_of().say
    return [
        f"{say('pair.tech')}: {at}/pair  {tech[:4]} {tech[4:]}",
        f"{say('pair.lead')}: {at}/pair  {lead[:4]} {lead[4:]}",
        *drawn.getvalue().splitlines(),
        say("pair.once"),
    ]
