"""One live job that several screens share: numbered messages, and a link that is watched.

All that touches the conversation runs on the bay's own thread, one thing at a time, so that ears,
terminal and screens can never move a job at once. What is shown is made there too, in one piece.
"""

from __future__ import annotations

import asyncio
import logging
import os
import secrets
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import orjson

from assistant.act import Act, Evidence, Said
from assistant.dialogue import Conversation
from assistant.record import RecordError
from assistant.screens.view import (
    Broken,
    bench_view,
    broken_said,
    cab_view,
    lines,
    presses,
    reading_of,
    words_of,
)
from assistant.sentences import printable

if TYPE_CHECKING:
    from assistant.screens.ears import Mouth

_LOG = logging.getLogger(__name__)
KEPT = 50
"""Messages that a page which comes back can still be sent; a job's truth is in each of them."""
SILENT_S = 1.3
"""A cab has lost its link when the newest beat that it has acknowledged is older than this."""
BEAT_S, BEAT_DOWN_S = 0.5, 0.25
"""Between beats; and to a cab while the pedal is down, so that a packet lost on the way is missed,
and sent again, before the link counts as lost."""
_LOOK_S = 0.1
STALL_S = 0.3
"""So much longer, at most, a cab may be silent where this server itself stood still meanwhile."""
LONGEST = 500
"""Signs of one utterance from a screen."""


def log_fault(where: str, told: str, problem: Exception) -> None:
    """A line for whoever runs the server, `told` or the fault's own; LUGCALL_TRACE=1 shows all."""
    line = " ".join((told or f"{type(problem).__name__}: {problem}").split())
    traced = problem if os.environ.get("LUGCALL_TRACE") else None
    _LOG.error("%s: %s", printable(where), printable(line), exc_info=traced)


@dataclass(eq=False, slots=True)
class Screen:
    """One page that shows a bay.

    Attributes:
        role: "tech", "helper" or "lead".
        me: the page's own name, which it keeps when it connects again.
        seen: the newest message that it has acknowledged.
        heard_s: when the newest beat that it has acknowledged was sent, by the bay's clock: what
            comes late over a bad link proves no more than that.
        at: the page's own time of its newest acknowledgement; 0.0 before the first.
        at_s: when that came, by the bay's clock.
        news: set when there is something to send.
        mouth: makes sound of what it is told, where the page plays such; else None.
    """

    role: str
    me: str
    seen: int = 0
    heard_s: float = 0.0
    at: float = 0.0
    at_s: float = 0.0
    news: asyncio.Event = field(default_factory=asyncio.Event)
    mouth: Mouth | None = None


@dataclass(frozen=True, slots=True)
class Message:
    """One change as each role is sent it: ready-made JSON, and what was said.

    `unwarned` is what a cab is sent till a bench has shown that the pedal will move, where that is
    another thing; else empty.
    """

    n: int
    texts: dict[str, bytes]
    said: tuple[Said, ...] = ()
    unwarned: bytes = b""


class Bay:
    """A conversation with the screens around it.

    Args:
        name: how addresses name it: its record's file name without the ending.
        conversation: with its record; closed with the bay.
        opening: what was said at its beginning.
        resume: takes the job up again from its record, after that could not be written.
        clock: seconds, monotonic.
    """

    def __init__(
        self,
        name: str,
        conversation: Conversation,
        opening: Sequence[Said],
        resume: Callable[[], tuple[Conversation, Sequence[Said]]],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = name
        self.conversation = conversation
        self.clock = clock
        self._resume = resume
        self._broken: Broken | None = None
        """Why nothing is taken now: what was answered last did not reach the record."""
        self.screens: set[Screen] = set()
        self.cab: Screen | None = None
        """The one screen that answers for the helper."""
        self.ears: Any = None
        """The microphones of its pages, once one of them listens: `ears.BayEars`."""
        self.messages: deque[Message] = deque(maxlen=KEPT)
        self.life = secrets.token_hex(4)
        """Numbers of another life of the server mean nothing in this one."""
        self._worker = ThreadPoolExecutor(1, f"bay-{name}")
        self._link = "none"
        self._lock = asyncio.Lock()
        self._n = 0
        self._down = False
        """Whether the pedal was down, or may have been, at the newest message."""
        self._heard: dict[str, str] = {}
        self._last: dict[str, str] = {}
        """The last reading: its words, and "as" what it was understood."""
        self._read_at = self._came_from = ""
        """Where the job stood when that was called out, and at the beginning of this turn."""
        self._publish(opening)

    @property
    def n(self) -> int:
        """The number of the newest message."""
        return self._n

    @property
    def broken(self) -> bool:
        """Whether nothing is taken now, since the record could not be written."""
        return self._broken is not None

    @property
    def finished(self) -> bool:
        """Whether the job is over, and its record closed."""
        return self._broken is None and self.conversation.dialogue.finished

    # --- words and touches ---

    async def hear(self, who: str, words: str, about: int | None = None) -> str:
        """One utterance from a screen.

        Args:
            who: "tech" or "helper".
            words: typed, or those of a touch.
            about: for a touch: the message that it answers. Unless it says stop, it counts only
                while that is the newest one.

        Returns:
            "" when it was taken, else the key of what to tell that screen ("late", "unkept").
        """
        words = words[:LONGEST]
        if not words.strip():
            return ""
        taken = await self._run(lambda: self._heard_now(who, words, about))
        return "" if taken is None else str(taken)

    def _heard_now(self, who: str, words: str, about: int | None) -> str:
        if self._broken is not None:
            return self._begin_again()
        self._forget(self.conversation.dialogue.at)
        meant = self.conversation.understood(words, who)
        stops = isinstance(meant, Act) and meant.meaning in ("stop", "lost", "danger")
        if about is not None and about != self._n and not stops:
            return "late"
        said = [*self.conversation.take(meant)]
        if not any(one.to in (who, "both") for one in said):
            said.append(Said(who, words_of().say("told.heard"), "screen:heard"))
        self._heard = {"who": who, "words": words}
        self._remember(reading_of(meant, words))
        self._publish(said)
        return ""

    def _remember(self, reading: dict[str, str]) -> None:
        if reading:
            self._last = reading
            self._read_at = self._came_from

    def _forget(self, at: str) -> None:
        """A turn begins with the job at this step: the last reading is shown till the job has gone
        on from where it was called out, and somebody speaks again."""
        self._came_from = at
        if at != self._read_at:
            self._last = {}

    async def turn(
        self, work: Callable[[], tuple[Sequence[Said], dict[str, str], dict[str, str]]]
    ) -> None:
        """What ears do: `work` runs on the bay's thread; the replies it gives, if any, what was
        heard, and the reading in it, if any, are published."""

        def now() -> None:
            if self._broken is not None:
                return
            at = self.conversation.dialogue.at
            said, heard, reading = work()
            if said:
                self._forget(at)
                self._heard = heard
                self._remember(reading)
                self._publish(said)

        await self._run(now)

    async def _run(self, work: Callable[[], Any]) -> Any:
        async with self._lock:
            before = self._n
            try:
                return await asyncio.get_running_loop().run_in_executor(
                    self._worker, self._guarded, work
                )
            finally:
                for screen in self.screens if self._n != before else ():
                    screen.news.set()

    def _guarded(self, work: Callable[[], Any]) -> Any:
        """What `work` gives; "unkept" where it could not be done or not be recorded."""
        try:
            return work()
        except Exception as problem:
            self._break(problem)
            return "unkept"

    def _break(self, problem: Exception) -> None:
        """The conversation may be ahead of its record: nothing more is taken, and with the pedal
        down nothing is certain. What was answered before is on the disk."""
        expected = isinstance(problem, RecordError)
        log_fault(self.name, str(problem) if expected else "", problem)
        down = self._down or self.conversation.dialogue.danger().down
        self._broken = Broken(str(problem) if expected else "", down)
        self._heard = {}
        self._publish(broken_said(self._broken))

    def _begin_again(self) -> str:
        """Take the job up again from its record. The words that asked for it count for nothing:
        where the job stands now was not known to whoever said them."""
        close = getattr(self.conversation, "close", lambda: None)
        close()
        try:
            self.conversation, said = self._resume()
        except Exception as problem:
            self._break(problem)
            return "unkept"
        self._broken = None
        self._publish(said)
        return ""

    def _publish(self, said: Sequence[Said]) -> None:
        """Number what changed, and make it ready for each role; on the bay's thread."""
        n = self._n + 1
        dialogue, broken = self.conversation.dialogue, self._broken
        if broken is None:
            self._down = dialogue.danger().down
        bench, cab = (
            bench_view(dialogue, self._heard, self._last, broken),
            cab_view(dialogue, broken),
        )

        def made(view: dict[str, Any], told: list[dict[str, str]]) -> bytes:
            return orjson.dumps({"n": n, "life": self.life, "view": view, "said": told})

        tech, helper = made(bench, lines(said, "tech")), made(cab, lines(said, "helper"))
        unwarned = b""
        if broken is None and presses(dialogue, cab["word"]):
            unwarned = made(cab_view(dialogue, warned=False), [])
        texts = {"tech": tech, "helper": helper, "lead": made(bench, [])}
        self.messages.append(Message(n, texts, tuple(said), unwarned))
        self._n = n

    # --- the link to each screen ---

    async def join(self, screen: Screen) -> None:
        """A page shows the bay from now on. A second cab takes over from the first."""
        self.screens.add(screen)
        screen.heard_s = screen.at_s = self.clock()
        screen.news.set()
        if screen.role != "helper":
            return
        before, self.cab = self.cab, screen
        if before is not None and before.me != screen.me:
            before.news.set()
            await self._unsure("link_taken")
        elif self._link == "lost":
            await self._back()
        self._link = "live"

    async def _back(self) -> None:
        self._link = "live"

        def now() -> None:
            if self._broken is None:
                self._publish(self.conversation.notice("tech", "link_back"))

        await self._run(now)

    def beat(self, screen: Screen) -> bytes:
        """What a page is sent when nothing changes, and after each message: with it the page knows
        how old, at most, is what it shows. It was sent at least `held` ms after the page said `at`.
        """
        now = self.clock()
        told = {"beat": self._n, "cab": self.cab_state, "t": int(now * 1000)}
        return orjson.dumps({**told, "at": screen.at, "held": int((now - screen.at_s) * 1000)})

    def beat_s(self, screen: Screen) -> float:
        """Until the next beat."""
        return BEAT_DOWN_S if self._down and screen.role == "helper" else BEAT_S

    def acknowledged(self, screen: Screen, n: int, of_ms: float, at: float) -> None:
        """A page has painted message `n` and the beat of time `of_ms`; by its own clock `at`."""
        now = self.clock()
        if self.cab is not None and screen.role == "tech" and screen.seen < n == self._n:
            self.cab.news.set()  # a press may have waited for this
        screen.seen = max(screen.seen, n)
        screen.heard_s = max(screen.heard_s, min(of_ms / 1000, now))
        screen.at, screen.at_s = at, now

    def leave(self, screen: Screen) -> None:
        """A page is gone; whether a cab is missed is seen by `watch`."""
        self.screens.discard(screen)

    def warned(self, message: Message) -> bool:
        """Whether a bench shows, of this very message, that the pedal will move; or none needs."""
        return not message.unwarned or any(
            screen.role == "tech" and screen.seen >= message.n for screen in self.screens
        )

    def moved(self, screen: Screen) -> bool:
        """Whether another cab has taken over from this one."""
        return screen.role == "helper" and self.cab is not screen

    @property
    def cab_state(self) -> str:
        """ "none", "lost", "sent" (not acknowledged yet) or "shows": what the bench says of it."""
        if self.cab is None or self._link in ("none", "lost"):
            return self._link
        return "shows" if self.cab.seen >= self._n else "sent"

    async def watch(self) -> None:
        """Look after the cab's link until cancelled."""
        loop, pause_s, heard_s, stalled_s = asyncio.get_running_loop(), _LOOK_S, 0.0, 0.0
        while True:
            due_s = loop.time() + pause_s
            await asyncio.sleep(pause_s)
            pause_s = _LOOK_S
            if self.cab is None:
                continue
            stalled_s = loop.time() - due_s + (stalled_s if heard_s == self.cab.heard_s else 0.0)
            heard_s = self.cab.heard_s
            left_s = heard_s + SILENT_S + min(stalled_s, STALL_S) - self.clock()
            silent = left_s < 0
            if not silent:
                pause_s = min(_LOOK_S, left_s + 0.005)
            if silent and self._link == "live":
                self._link = "lost"
                for screen in self.screens:  # told with a beat, before any disk is waited for
                    screen.news.set()
                await self._unsure("link_lost")
            elif not silent and self._link == "lost":
                await self._back()

    async def _unsure(self, why: str) -> None:
        """The cab's link is not what it was. With the pedal down nothing is certain any more:
        hands out, and the helper is asked; nothing is said of the pedal that nobody said."""

        def now() -> None:
            dialogue = self.conversation.dialogue
            danger = dialogue.danger()
            if dialogue.finished or self._broken is not None:
                return
            if not danger.down:
                self._publish(self.conversation.notice("tech", f"{why}_idle"))
                return
            told = self.conversation.notice("tech", why, signal="DANGER", cue="STOP")
            evidence = Evidence("", {"screen": "cab", "link": why})
            asked = self.conversation.take(Act("unsure", "helper", evidence=evidence))
            self._publish([*told, *asked])

        await self._run(now)

    def owed(self, sent: int) -> list[Message]:
        """Messages after number `sent`, the oldest first."""
        return [message for message in self.messages if message.n > sent]

    async def close(self) -> None:
        """Let go of the record."""
        closing = getattr(self.conversation, "close", lambda: None)
        await asyncio.get_running_loop().run_in_executor(self._worker, closing)
        self._worker.shutdown(wait=True)
