"""One whole job with people in the loop: by sound through the real ears, or by text to try them.

What is compared lies outside the people: what was said against what was taken, what was meant
against what stands in the record.
"""

import math
import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from assistant.act import Act, Said
from assistant.card import card_from_text
from assistant.conversation import Session
from assistant.texts.dialogs import Dialogs
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.attendant import Attendant, SpokenTurn
from assistant.voice.session.channel import Channel
from assistant.voice.session.recorded import AtOnce

from .callouts import Line
from .channels import CHANNELS, active_level
from .noises import noise
from .people import People, made
from .recordings import FIGURES, called
from .voices import Voice, say, seed_of, vary

MOST = 250
"""Utterances after which a session is given up."""

Deliver = Callable[[str, Line], list[dict[str, Any]]]
"""Brings words to a session; gives one object a turn: said, decision, probability, heard, s."""


class Loop:
    """A session, its truck and its people.

    Args:
        seed: makes truck and people.
        dialogs: the shipped ones.
        folder: for the record.
        by: builds what delivers words, given the session.
        show: told every exchange, for a look at it.
        figures: every number is called out figure by figure.
    """

    def __init__(
        self,
        seed: int,
        dialogs: Dialogs,
        folder: Path,
        by: Callable[[Session], Deliver],
        show: Callable[[str], None] = lambda line: None,
        figures: bool = False,
    ) -> None:
        rng = random.Random(seed)
        self.truck = made(rng)
        card = card_from_text(self.truck.card, "card.toml")
        self.session, self.opening = Session.begin(card, dialogs, folder)
        self.people = People(self.truck, dialogs, rng, figures)
        self.utterances: list[dict[str, Any]] = []
        self.mismatches: list[dict[str, Any]] = []
        self.wrong: list[dict[str, Any]] = []
        self._deliver = by(self.session)
        self._show = show
        self._stands: list[tuple[Any, Line | None]] = []

    def run(self) -> dict[str, Any]:
        """To sign-off, or until it is given up; returns the session's figures."""
        begun = time.perf_counter()
        said: list[Said] = self.opening
        job = self.session.job
        for _ in range(MOST):
            self._show_said(said)
            who, line = self.people.hear(said)
            said = self._exchange(who, line)
            if job.finished:
                break
        self._show_said(said)
        self.session.close()
        self._judge()
        return {
            "signed_off": job.finished,
            "stuck_at": "" if job.finished else job.at,
            "wall_s": round(time.perf_counter() - begun, 1),
            "readings": len(job.facts.readings) + len(job.facts.moves),
            "called": self.people.called,
            "wrong": self.wrong,
            "mismatches": self.mismatches,
            "utterances": self.utterances,
        }

    def _exchange(self, who: str, line: Line) -> list[Said]:
        """Bring words to the session, and note what they were meant and taken for."""
        job, journal = self.session.job, self.session.journal
        intended = self.session.understood(line.words, who)
        before, count = (job.at, job.pending is not None), len(journal.events)
        turns = self._deliver(who, line)
        acts = [e.data["act"] for e in journal.events[count:] if "act" in e.data]
        mine = intended.as_data() if isinstance(intended, Act) else {"meaning": intended.reply}
        right = bool(acts) and _alike(acts[0], mine)
        kept = ("decision", "probability", "heard", "decode_s", "wait_s")
        row = {
            "step": before[0],
            "pending": before[1],
            "who": who,
            "words": line.words,
            "kind": line.kind,
            "right": right,
            "effect": (job.at, job.pending is not None) != before,
            "decisions": [{key: turn[key] for key in kept} for turn in turns],
        }
        self.utterances.append(row)
        for act in acts[1:] if right else acts:
            self.mismatches.append({**row, "meant": mine, "taken": act, "after": job.at})
        self._ledger()
        heard = " / ".join(f"{t['heard']} [{t['decision']} {t['probability']:.2f}]" for t in turns)
        self._show(f"{'   ' if right else '!! '}{who}: {line.words!r} -> {heard or 'not heard'}")
        return [one for turn in turns for one in turn["said"]]

    def _ledger(self) -> None:
        """Remember, for every reading that now stands, what its caller meant by it."""
        readings = self.session.job.facts.readings
        kept = {id(taken): line for taken, line in self._stands}
        # A list of pairs, not a dict: the objects are kept alive, so that no id comes twice.
        self._stands = [
            (taken, kept[id(taken)] if id(taken) in kept else self.people.meant.get(taken.quantity))
            for taken in readings
        ]

    def _judge(self) -> None:
        """What stands in the record against what was meant."""
        for taken, line in self._stands:
            meant = line.meant if line is not None else None
            if meant is None or not _equal(taken, meant):
                self._wrong(taken.quantity, taken.step, taken.figures, meant and meant.figures)
        facts = self.session.job.facts
        if facts.lugs_total != self.truck.lugs_turned:
            self._wrong("lugs", "ring_turn", str(facts.lugs_total), str(self.truck.lugs_turned))
        if self.session.job.finished and facts.code != self.people.code:
            self._wrong("code", "sign_off", facts.code, self.people.code)

    def _wrong(self, quantity: str, step: str, taken: str, meant: str | None) -> None:
        self.wrong.append({"quantity": quantity, "step": step, "taken": taken, "meant": meant})
        self._show(f"WRONG {quantity} at {step}: {taken}, meant {meant}")

    def _show_said(self, said: list[Said]) -> None:
        for one in said:
            if not one.key.startswith(("caution:", "helper:")):
                self._show(f"        {one.key}: {one.text}")


def by_text(session: Session) -> Deliver:
    """Words that arrive as they were said: tries the people and the truck, not the ears."""

    def deliver(who: str, line: Line) -> list[dict[str, Any]]:
        said = session.hear(who, line.words)
        return [{"said": said, "decision": "accept", "probability": 1.0, "heard": line.words,
                 "decode_s": 0.0, "wait_s": 0.0}]  # fmt: skip

    return deliver


def _equal(taken: Any, meant: Any) -> bool:
    if taken.count is not None or meant.count is not None:
        return bool(taken.count == meant.count)
    return abs((taken.value_in or 0.0) - (meant.value_in or 0.0)) < 1e-6


def _alike(taken: dict[str, Any], meant: dict[str, Any]) -> bool:
    names = [act["meaning"] for act in (taken, meant)]
    if names[0] != names[1]:
        return False
    one, other = (act.get("reading") or {} for act in (taken, meant))
    for key in ("value_in", "count"):
        a, b = one.get(key), other.get(key)
        if (a is None) != (b is None) or (a is not None and abs(a - b) > 1e-6):
            return False
    return taken.get("text", "") == meant.get("text", "") or taken["meaning"] == "unclear"


# --- Words brought to a session as sound: voices in one shop's noise, by microphone and frame.
#
# The noise runs on between the words; each person's words are brought to the signal-to-noise ratio
# over the stretch of noise they fall on, as `channels.mix` does it.


SETTLE_S = 2.0
"""Noise before the first words: the floor is learnt meanwhile."""
BEFORE_S, AFTER_S = 1.5, 1.6
"""Noise before the words, as long as a short reply takes, and after them at most."""
REST_S = 0.2
"""Noise after a turn was taken, before the next words."""
LOOP_S = 40.0
LEVEL = 10 ** (-26 / 20)
"""Active level of the words at the microphone, re full scale."""


@dataclass(frozen=True, slots=True)
class Shop:
    """What a session sounds like.

    Attributes:
        tech, helper: their voices.
        noise: a key of `noises.KINDS`.
        snr_db: of the words over the noise.
        channel: a key of `channels.CHANNELS`.
        shared: one microphone for both, instead of one each.
        seed: for noise and delivery.
        people: whose recorded digits the figures of technician and helper are, if any are.
    """

    tech: Voice
    helper: Voice
    noise: str
    snr_db: float
    channel: str
    shared: bool
    seed: int
    people: tuple[str, ...] = ()


class BySound:
    """Says words into a session's microphones; see `by_sound`.

    While one microphone is spoken into, another one is not fed: it hears no noise meanwhile.
    """

    def __init__(self, shop: Shop, session: Session, ears: Recognizers) -> None:
        self._shop = shop
        self._turns: list[SpokenTurn] = []
        self._attendant = Attendant(session, ears, AtOnce(), self._turns.append)
        roles = ("",) if shop.shared else ("tech", "helper")
        self._channels = {role: self._attendant.add(role, role or "shared") for role in roles}
        self._noise = noise(shop.noise, LOOP_S, shop.seed)
        self._at = 0
        self._now_s = 0.0
        self._said = 0
        for role in roles:
            self._feed(role, self._sound(np.zeros(round(SETTLE_S * RATE), np.float32)))
        self._attendant.warm()

    def deliver(self, who: str, line: Line) -> list[dict[str, Any]]:
        """Say it, and wait until it was dealt with, or plainly was not."""
        voice = self._shop.tech if who == "tech" else self._shop.helper
        self._said += 1
        seed = seed_of(self._shop.seed, self._said)
        if self._shop.people and FIGURES.keys() & set(line.words.split()):
            said = called(line.words, self._shop.people[who == "helper"], voice, seed)
        else:
            said = say(voice, line.text)
        words = vary(said, seed)
        before, after = round(BEFORE_S * RATE), round(AFTER_S * RATE)
        self._turns.clear()
        self._feed("" if self._shop.shared else who, self._sound(np.pad(words, (before, after))))
        return [_told(turn) for turn in self._turns]

    def _sound(self, words: Samples) -> Samples:
        under = np.resize(np.roll(self._noise, -self._at), len(words)).astype(np.float64)
        self._at = (self._at + len(words)) % len(self._noise)
        gain = 10 ** (-self._shop.snr_db / 20) * LEVEL
        if np.any(words):
            power, first, last = active_level(words)
            heard = math.sqrt(float(np.mean(np.square(under[first:last]))))
            out = words * (LEVEL / math.sqrt(power)) + under * (gain / heard)
        else:
            out = under * (gain / math.sqrt(float(np.mean(np.square(under)))))
        return CHANNELS[self._shop.channel](np.clip(out, -0.99, 0.99).astype(np.float32))

    def _feed(self, role: str, sound: Samples) -> None:
        channel: Channel = self._channels[role]
        answered = 0
        for start in range(0, len(sound) - FRAME + 1, FRAME):
            channel.feed(sound[start : start + FRAME], self._now_s)
            self._now_s += FRAME_S
            self._attendant.pump()
            busy = channel.endpointer.speaking or channel.ended
            answered = answered + 1 if self._turns and not busy else 0
            if answered * FRAME_S > REST_S and start > len(sound) - AFTER_S * RATE:
                break


def by_sound(shop: Shop, ears: Recognizers) -> Callable[[Session], Deliver]:
    """What `Loop` takes: says every line in `shop` to `ears`, frame by frame."""
    return lambda session: BySound(shop, session, ears).deliver


def _told(turn: SpokenTurn) -> dict[str, Any]:
    return {
        "said": list(turn.said),
        "decision": turn.kind,
        "probability": round(turn.decision.probability, 3),
        "heard": turn.heard,
        "decode_s": round(turn.decode_s, 3),
        "wait_s": round(turn.wait_s, 3),
    }
