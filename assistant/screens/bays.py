"""All the jobs of one server: opened from their records when a page asks, kept until it ends."""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import re
import tempfile
from collections.abc import AsyncIterator, Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import named_file
from assistant.card import Card, CardError, default_card
from assistant.card.fleet import cards_in
from assistant.conversation import Session, SessionError
from assistant.record import RecordError, open_jobs
from assistant.record.folder import SUFFIX
from assistant.record.history import JobHistory
from assistant.review.acts import begun, resumed
from assistant.screens.bay import Bay
from assistant.screens.view import words_of
from assistant.sentences import DialogError

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.screens.ears import Ears, Mouth
    from assistant.texts.dialogs import Dialogs

MOST_BAYS = 200
"""Jobs that are live at once."""
_MOST_BYTES = 1 << 26
"""Of a page of the review."""
_PAGE = re.compile(r"(?:(?:jobs|trucks)/)?[\w.-]{1,120}\.html|find\.js|due\.(?:ics|csv)"
                   r"|jobs/[\w.-]{1,120}\.photos/[0-9a-f]{16}\.(?:jpg|png)")  # fmt: skip


class NoSuchJob(Exception):
    """One line for the page that asked for it."""


class Bays:
    """The live jobs over one folder of records.

    Args:
        folder: where records are and are begun.
        dialogs: the words of all jobs.
        cards: a folder of the shop's cards, one card's file, or None.
        ears: opens what hears and speaks for its pages, beside the first jobs; gives None where it
            cannot. Without it they are read and typed in alone.
        full: new jobs have every check and every caution whole.
    """

    def __init__(
        self,
        folder: Path,
        dialogs: Dialogs,
        cards: Path | None = None,
        ears: Callable[[], Ears | None] = lambda: None,
        full: bool = False,
    ) -> None:
        self.folder, self.dialogs = folder, dialogs
        self._cards, self._full = cards, full
        self._open_ears = ears
        self._opening: asyncio.Task[Ears | None] | None = None
        self._live: dict[str, Bay] = {}
        self._watched: dict[str, asyncio.Task[None]] = {}
        self._lock = asyncio.Lock()
        self._pages: tempfile.TemporaryDirectory[str] | None = None

    # --- what there is ---

    def cards(self) -> list[Card]:
        """The cards of trucks that a job may be begun with."""
        if self._cards is None:
            return []
        if self._cards.is_file():
            from assistant.card import load_card

            return [load_card(self._cards)]
        return [card for _, card in cards_in(self._cards)[0]]

    def listed(self) -> list[dict[str, str]]:
        """The open jobs, newest first: name, truck, when it was begun, where it stands."""
        out = []
        for path in {
            path.stem: path for path in [*self._paths(), *open_jobs(self.folder)]
        }.values():
            try:
                history = JobHistory.read(path)
            except RecordError:
                continue
            out.append(
                {
                    "name": path.stem,
                    "unit": history.opened.unit or words_of().say("start.no_unit"),
                    "when": history.lines[0].at[:16].replace("T", " "),
                    "now": history.last_prompt,
                    "live": path.stem in self._live,
                }
            )
        return sorted(out, key=lambda job: job["when"], reverse=True)

    def _paths(self) -> list[Path]:
        return [
            self.folder / f"{name}{SUFFIX}"
            for name, bay in list(self._live.items())
            if not bay.finished
        ]

    def unit(self, name: str) -> str:
        """The truck of a live job, as its card names it."""
        conversation = self._live[name].conversation
        return conversation.job.facts.card.unit if isinstance(conversation, Session) else ""

    # --- live jobs ---

    async def open(self, name: str) -> Bay:
        """The bay of a record, resumed when it is not live yet.

        Raises:
            NoSuchJob: there is none, it is closed, or another program has it open.
        """
        async with self._lock:
            bay = self._live.get(name)
            if bay is not None:
                return bay
            # The name comes from an address: it must be one of those that are there.
            paths = {path.stem: path for path in await asyncio.to_thread(open_jobs, self.folder)}
            if name not in paths:
                raise NoSuchJob(words_of().say("start.no_job"))
            return await self._begun(lambda: resumed(paths[name], self.dialogs))

    async def begin(self, unit: str) -> Bay:
        """A new job on the truck of this unit, or without a card."""
        cards = {card.unit or card.name: card for card in self.cards()}
        card = cards.get(unit, default_card())
        async with self._lock:
            begins = partial(begun, card, self.dialogs, self.folder, full=self._full)
            return await self._begun(begins)

    async def _begun(self, begins: Callable[[], tuple[Session, list[Said]]]) -> Bay:
        if len(self._live) >= MOST_BAYS:
            await self._clear_away()
        if len(self._live) >= MOST_BAYS:
            raise NoSuchJob(words_of().say("start.too_many"))
        try:
            session, said = await asyncio.to_thread(begins)
        except (CardError, DialogError, RecordError, SessionError) as problem:  # one line each
            raise NoSuchJob(str(problem)) from problem
        path = session.journal.path
        bay = Bay(path.stem, session, said, lambda: resumed(path, self.dialogs))
        self._live[bay.name] = bay
        self._watched[bay.name] = asyncio.create_task(bay.watch())
        return bay

    async def _clear_away(self) -> None:
        """Let go of the jobs that are over and on no page any more."""
        for name, bay in list(self._live.items()):
            if bay.finished and not bay.screens:
                self._watched.pop(name).cancel()
                await self._live.pop(name).close()

    async def _ears(self) -> Ears | None:
        return None if self._opening is None else await self._opening

    async def mouth(self) -> Mouth | None:
        """What speaks, if anything does."""
        ears = await self._ears()
        return None if ears is None else ears.mouth

    async def listen(self, bay: Bay) -> bool:
        """Make ready for the microphones of a bay's pages; whether there are ears."""
        ears = await self._ears()
        if ears is not None and bay.ears is None:
            from assistant.screens.ears import BayEars

            bay.ears = BayEars(bay, ears)
        return ears is not None

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """While the server runs; at its end all records are let go of."""
        self._opening = asyncio.create_task(asyncio.to_thread(self._open_ears))
        try:
            yield
        finally:
            ears = await self._ears()
            for task in self._watched.values():
                task.cancel()
            for bay in self._live.values():
                await bay.close()
            if ears is not None:
                await asyncio.to_thread(ears.close)
            if self._pages is not None:
                self._pages.cleanup()

    # --- the review's pages ---

    def review_page(self, path: str) -> tuple[Path, str] | None:
        """A page of the review, and the policy that lets its own scripts run and no other.

        The fleet's page, "fleet.html", is written anew, and the pages of its jobs with it.
        """
        from assistant.review import open_review
        from assistant.review.pages.fleet_page import write_fleet, write_rest

        if not _PAGE.fullmatch(path):
            return None
        if self._pages is None:
            self._pages = tempfile.TemporaryDirectory(prefix="lugcall-desk-")
        folder = Path(self._pages.name)
        if path == "fleet.html":
            with open_review([self.folder]) as desk:
                write_rest(desk, folder, *write_fleet(desk, folder), iter)
        file = folder / path
        if not file.is_file():
            return None
        if file.suffix in (".jpg", ".png"):
            return file, _policy("")
        return file, _policy(named_file.text_of(named_file.whole(file, _MOST_BYTES)))


_SCRIPT = re.compile(r"<script(?![^>]*\bsrc=)[^>]*>(.*?)</script>", re.S)


def _policy(text: str) -> str:
    """A content security policy for a page of ours: each of its scripts by its hash, and what the
    fleet page's own script reads to search in, from the same place."""
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()}'"
        for code in _SCRIPT.findall(text)
    )
    scripts = f"'self' {hashes}" if hashes else "'none'"
    return (
        f"default-src 'none'; script-src {scripts}; "
        "style-src 'unsafe-inline'; img-src 'self' data:; media-src 'self' data:; "
        "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    )
