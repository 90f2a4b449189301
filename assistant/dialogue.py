"""Dialogue: what ears, keyboard and screens know of whatever they drive, and nothing else.

Two things are driven so: a truck's job (`job.Job`) and the making of a card
(`interview.CardInterview`). A `Conversation` is a dialogue with its record: it understands words,
applies acts, keeps them on the disk, and only then answers (`conversation.Session`,
`interview.CardTalk`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from assistant.act import Evidence

if TYPE_CHECKING:
    from assistant.act import Act, Said, Samples
    from assistant.texts.dialogs import Dialogs


@dataclass(frozen=True, slots=True)
class Danger:
    """Whether somebody may be hurt at this moment. True when any of it is so.

    Attributes:
        pedal: the pedal is down, or may be: a word that it moves must be acted on at once.
        pressing: the pedal is up and a hand may be in the hole: nobody may press.
        engine: the key is at hand above and there is work on: the engine may turn.
        key: the key is at hand above, be there work on or not.
        releasing: the pedal was told to come up: a "no" or "hold" of the technician stops it.
        held: the pedal is down and must stay so.
        foot: hands wait to go in until the helper's foot is off the pedal.
        cleared: the pedal is down, or may be, and a clear stands that would let it come up.
    """

    pedal: bool = False
    pressing: bool = False
    engine: bool = False
    key: bool = False
    releasing: bool = False
    held: bool = False
    foot: bool = False
    cleared: bool = False

    def __bool__(self) -> bool:
        return self.pedal or self.pressing or self.engine or self.foot

    @property
    def down(self) -> bool:
        """Whether the pedal is down, on its way up, or may be."""
        return self.pedal or self.held or self.releasing


class Breath(NamedTuple):
    """What may be said done in one breath: each item with the phrases that say so, the present one
    first, and whether they must be said `in_order`."""

    items: tuple[tuple[str, tuple[str, ...]], ...] = ()
    in_order: bool = False


class Pending(Protocol):
    """A value that was read back and waits for its "check"."""

    @property
    def quantity(self) -> str: ...
    @property
    def figures(self) -> str: ...
    @property
    def readback(self) -> str: ...
    @property
    def who(self) -> str: ...


class Dialogue(Protocol):
    """Where a conversation stands and how it is moved.

    What has an answer here is what a dialogue of one person at a desk gives.
    """

    dialogs: Dialogs
    """The phrases and replies, in the words for this kind of truck."""

    @property
    def at(self) -> str:
        """The step or question it stands at; "halted" while it is stopped."""

    @property
    def finished(self) -> bool:
        """Whether it is over: nothing more is taken."""

    @property
    def pending(self) -> Pending | None:
        """What waits to be checked, if anything."""

    @property
    def stopped(self) -> bool:
        """Whether it was stopped and waits for "carry on"."""
        return False

    @property
    def choosing(self) -> bool:
        """Whether a reading waits to be accepted, moved or measured again."""
        return False

    @property
    def choice_in(self) -> tuple[float, float] | None:
        """The ends of the reading that a choice is about, inches; None without."""
        return None

    @property
    def trying(self) -> bool:
        """Whether the finished work is tried: a complaint then says that it is not sound."""
        return False

    @property
    def telling(self) -> str:
        """What is told now and kept word for word: "why" it ends, what is left as "rest"; or ""."""
        return ""

    @property
    def correcting(self) -> str:
        """The quantity that the next reading corrects, or ""."""
        return ""

    handing: str = ""
    """Who was asked for his code, since another person may be there now; or ""."""

    @property
    def units(self) -> str:
        """ "inch" or "mm": what a bare number is taken in."""

    @property
    def distance(self) -> str:
        """ "miles" or "kilometres"."""

    @property
    def asking(self) -> str:
        """What is asked before the step itself goes on, since people may have changed; or ""."""
        return ""

    def expects(self) -> str:
        """The quantity that a bare reading is taken for now, or ""."""

    def last_quantity(self) -> str:
        """The quantity that a correction without a name is about, or ""."""
        return ""

    def allowed(self) -> list[str]:
        """Meanings that are taken now, beyond those understood at any time."""

    def answers(self) -> dict[str, str]:
        """Phrases that answer just this step, and the meaning that each has."""
        return {}

    def breath(self) -> Breath:
        """What who is expected to speak may say done in one breath, two items at least; or none."""
        return Breath()

    def whose(self) -> str:
        """Who is expected to speak now: "tech" or "helper"."""
        return "tech"

    def danger(self) -> Danger:
        """Whether somebody may be hurt now."""
        return Danger()

    @property
    def pressing(self) -> bool:
        """Whether the helper is to press the pedal here, and let it up."""
        return False

    def meanwhile(self) -> Said | None:
        """What the helper goes on doing where the prompt has nothing new for him, if anything."""
        return None

    def prompt(self, entering: bool = False) -> list[Said]:
        """The present instruction; on entering, its cautions first."""

    def apply(self, act: Act) -> list[Said]:
        """Take one act; everything said in answer, most urgent first."""


@dataclass(frozen=True, slots=True)
class Question:
    """Nothing was acted on: what to ask back.

    Attributes:
        reply: the reply's key.
        fields: its blanks.
        who: who is asked: "tech" or "helper".
        open: it is about a reading, and its answer may complete it ("thousandths", "the first").
        choices: the readings to choose between, each as `Act.reading` holds one.
        offer: the act that a "yes" takes, or None.
        evidence: what it rests on, as of an act; `words` are those that its answer completes.
    """

    reply: str
    fields: dict[str, str]
    who: str = "tech"
    open: bool = False
    choices: tuple[dict[str, Any], ...] = ()
    offer: Act | None = None
    evidence: Evidence = field(default_factory=Evidence, compare=False, repr=False)


Heard = tuple[str, "Act | Question"]
"""Words that may have been said, and what they mean."""


class Conversation(Protocol):
    """A dialogue with its record."""

    @property
    def dialogue(self) -> Dialogue: ...

    asked: Question | None
    """The open question about a reading that waits for its answer, if any."""

    def understood(self, words: str, who: str) -> Act | Question:
        """What the words mean now; nothing is moved by it. Its evidence is these words."""

    def hear(self, who: str, words: str) -> Sequence[Said]:
        """One typed turn: `understood`, then `take`."""

    def take(self, meant: Act | Question) -> Sequence[Said]:
        """Apply an act, or put a question. What is returned is on the disk before it returns.

        Ears put into its evidence how it was heard, and the sound.
        """

    def unheard(
        self,
        who: str,
        ear: dict[str, Any],
        sound: Samples | None = None,
        alternatives: Sequence[Heard] = (),
    ) -> Sequence[Said]:
        """Speech that was not taken for anything: asks which of two, or to say it again.

        Args:
            who: "tech" or "helper".
            ear: how it was recognized, for the record; its `decision` is "choose", "again" or
                "nothing".
            sound: part of the clip, if an answer makes a reading of it.
            alternatives: what may have been said, the likeliest first; needed to "choose".
        """

    def notice(self, to: str, key: str, **fields: str) -> Sequence[Said]:
        """Tell something that is not of the dialogue itself: a device lost, audio kept."""
