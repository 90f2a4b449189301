"""A model of the job from outside: printed lines and typed words alone."""

import re
from dataclasses import dataclass, field

from tests.adversary import terms
from tests.adversary.commands import Violation, shown_badly
from tests.adversary.talk import replies

UP, DOWN, UNSURE, PRESSED, UNTOLD = "up", "down", "unsure", "to be pressed", "not told of"
FOOT_OFF = re.compile(r"foot off the pedal\. Say|\blet up\b.*\bSound")
"""A prompt whose answer says that the foot is off."""
HANDS = {terms.plain(words) for words in terms.HANDS}
RESUMED = terms.reply("resumed")
GOING_ON = terms.reply("carry_on")


def split(line: str) -> tuple[str, str]:
    """The speaker and the words of a typed line."""
    match = re.match(r"\s*(tech|t|helper|h)\s*:(.*)", line, re.I | re.S)
    if not match:
        return "tech", line
    return ("helper" if match[1].lower().startswith("h") else "tech"), match[2]


@dataclass
class Oracle:
    """Where things stand, told from outside; `turn` counts lines, and moments are turns.

    `foot` is what the helper last said of the pedal, and nothing else; an order to move it makes
    that old at once. `maybe` is what words of his, that are none of the dialogs', may mean.
    """

    turn: int = 0
    foot: str = UNTOLD
    held: bool = False
    ordered: str = ""
    maybe: str = ""
    clear_at: int = -1
    hands_at: int = 0
    press_at: int = 0
    alarm_at: int = 0
    stopped: bool = False
    asked: str = ""
    wrong: list[Violation] = field(default_factory=list)

    # --- what is typed ---

    def hear(self, line: str) -> None:
        """Take in a typed line, before its answer."""
        self.turn += 1
        who, words = split(line)
        said = terms.plain(words)
        self.hands_in_hold = self.held and said in HANDS
        if who == "tech":
            self._tech(said, words.strip().casefold())
        else:
            self._helper(said, words.strip().casefold())
        if said in HANDS:
            self.hands_at = self.turn
        self.stop_typed = said in terms.PHRASES["stop"]
        self.nudge = said

    def _tech(self, said: str, raw: str) -> None:
        if raw in terms.NOT_CLEAR:
            self.hands_at = self.turn
        elif said in terms.PHRASES["clear"] or re.search(r"\b(clear|out|nothing in)\b", said):
            self.clear_at = self.turn
        self.carry = said in terms.PHRASES["carry_on"]

    def _helper(self, said: str, raw: str) -> None:
        self.carry = False
        if said in terms.PHRASES["stop"]:
            return  # "hold everything" tells nothing of the pedal
        if raw in (*terms.NOT_HELD, *terms.NOT_RELEASED):
            self.held = False
        elif raw in terms.STILL_DOWN:
            self.maybe = DOWN
        elif said in terms.PHRASES["holding"]:
            if self.foot != DOWN and self.ordered != "hold":
                self.press_at = self.turn
            self.foot, self.maybe, self.held = DOWN, "", self.ordered == "hold" or self.held
        elif said in terms.PHRASES["released"] | terms.PHRASES.get("foot_off", set()):
            self.foot, self.maybe, self.held = UP, "", False
        elif said in terms.PHRASES["lost"]:
            self.foot, self.maybe, self.held = UNSURE, "", False
        elif FOOT_OFF.search(self.asked):
            if said in terms.PHRASES["ready"] | terms.PHRASES["sound"] | {"foot off the pedal"}:
                self.foot = UP
        elif re.search(r"\b(hold|held|down|floor|got it)", said):
            self.maybe = DOWN
            self.held = self.held or self.ordered == "hold"
        elif re.search(r"\b(up|off|released?)\b", said):
            self.maybe = UP

    # --- what is printed ---

    def see(self, printed: str, echoed: bool = True) -> None:
        """Take in all that was printed in answer."""
        said = replies(printed)
        bad = shown_badly(printed)
        if bad:
            self._broken("output", bad)
        if echoed and not said and self._wants_answer():
            self._broken("silence", f"no answer: {printed[-300:]!r}")
        to = {who for who, _ in said}
        everybody = "BOTH" in to or {"TECH", "HELPER"} <= to
        alarms = [text for _, text in said if terms.ALARM.search(text)]
        if (alarms or (echoed and self.stop_typed)) and not everybody:
            self._broken("alarm to both", f"only to {sorted(to)}: {said}")
        if echoed and self.stop_typed and not any(terms.STOPPED.search(text) for _, text in said):
            self._broken("stop is stopped", f"{said}")
        if echoed and self.hands_in_hold and not alarms:
            self._broken("hands in a hold alarm", f"{said}")
        if alarms:
            self.alarm_at, self.held = self.turn, False
            self.ordered = "hold" if any("holding" in text for _, text in said) else ""
        if any(who != "HELPER" and terms.STOPPED.search(text) for who, text in said):
            self.stopped = True  # "STOP" to the helper alone: his pedal stays where it is
        if any(RESUMED.search(text) for _, text in said):
            self.held = False
            self.foot = UNSURE if self.foot == DOWN else self.foot
        for who, text in said:
            self._reply(who, text, bool(alarms))

    def _wants_answer(self) -> bool:
        """Whether the words are a phrase; an "okay" where nothing wants one says nothing."""
        said = (self.nudge in known for known in terms.PHRASES.values())
        return any(said) and self.nudge not in terms.PHRASES["check"]

    def _reply(self, who: str, text: str, alarmed: bool) -> None:
        if GOING_ON.search(text):
            if not self.carry:
                self._broken("carry on", f"went on unasked: {text}")
            self.stopped, self.held = False, False
        if terms.TOLD_UP.search(text) and UP not in (self.foot, self.maybe):
            self._broken(f"pedal told up, {self.foot}", text)
        if terms.TOLD_DOWN.search(text) and DOWN not in (self.foot, self.maybe):
            self._broken(f"pedal told down, {self.foot}", text)
        if terms.RELEASE.search(text) and not text.startswith("UNFINISHED:"):  # it quotes
            self._released(text)
            return
        if who == "HELPER" and terms.PRESS.search(text):
            self.foot, self.maybe, self.held = PRESSED, "", False
        for prompt, first in terms.prompts_in(text):
            if first and prompt.kind in ("hold", "turn"):
                self._order(prompt.kind, text)
        if terms.TURN_AGAIN.match(text):
            self._order("turn", text)
        if not alarmed:
            self.asked = text

    def _released(self, text: str) -> None:
        if self.clear_at <= max(self.press_at, self.hands_at, self.alarm_at):
            self._broken("release", f"{text} (clear at {self.clear_at}, press {self.press_at}, "
                         f"hands {self.hands_at}, alarm {self.alarm_at})")  # fmt: skip
        self.ordered, self.held, self.foot, self.maybe = "release", False, PRESSED, ""

    def _order(self, kind: str, text: str) -> None:
        if self.stopped:
            self._broken("stopped", f"ordered while stopped: {text}")
        if kind == "turn":
            if not self.held:
                self._broken("turn", f"{text} ({self.foot}, ordered {self.ordered!r})")
            return
        if self.clear_at <= max(self.hands_at, self.alarm_at):
            self._broken("press with hands in", text)
        self.ordered, self.press_at, self.held = "hold", self.turn, False
        self.foot, self.maybe = PRESSED, ""

    def _broken(self, rule: str, what: str) -> None:
        self.wrong.append(Violation(rule, what))
