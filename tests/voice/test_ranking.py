"""The decision: meanings added up, agreement, the bars, and what becomes of each utterance.

The weights here are the test's own where a number is checked, and those shipped where only an order
is. Real sound is in test_hear.py.
"""

import math
from typing import Any

import pytest

from assistant.act import Act
from assistant.card import Card
from assistant.conversation.understand import understand
from assistant.dialogue import Question
from assistant.job.job import Job
from assistant.texts.dialogs import Dialogs
from assistant.voice.interpretation import POLICY, Interpret, identity
from assistant.voice.interpretation.ranking import (
    decide,
    interpreter,
    reading_interpreter,
    speaker_of,
)
from assistant.voice.recognition.expected import expected
from assistant.voice.recognition.recognizer import Hearing, Hypothesis
from tests.spoken.commands import moments, put

GAP = reading_interpreter("gap")
PRIOR = POLICY["prior"]


def meanings_now(job: Job, who: str = "tech") -> Interpret:
    def understood(words: str, speaker: str) -> Act | Question:
        return understand(words, speaker, job)

    return interpreter(job, understood, who, expected(job, who))


def whisper(*pairs: tuple[str, float], free: str = "", gap: float = 0.0) -> Hearing:
    """Hypotheses as given, best first; the free decoding `gap` better than the best inside."""
    hypotheses = tuple(Hypothesis(words, score) for words, score in pairs)
    marks = {"inside": -1.0, "tokens": 4.0} if pairs else {}
    return Hearing("whisper", hypotheses, free, -1.0 + gap if free else None, marks)


def other(*words: str) -> Hearing:
    """A second recognizer's."""
    return Hearing("other", tuple(Hypothesis(w, 1.0) for w in words))


def weights(
    right: dict[str, float], meant_for_us: dict[str, float] | None = None, temperature: float = 1.0
) -> dict[str, Any]:
    return {
        "right": right, "meant_for_us": meant_for_us or {"one": 9.0}, "temperature": temperature,
        "take_from": 0.5, "meant_for_us_from": 0.5, "either_from": 0.8,
    }  # fmt: skip


ODDS = weights({"odds": 1.0})
"""The first one's probability is its share."""


class TestShares:
    def test_one_meaning_in_different_words_adds_up(self) -> None:
        heard = whisper(("five eighths", 0.0), ("a half", -0.4), ("half inch", -0.5))
        got = decide([heard], GAP, ODDS)
        parts = [1.0, math.exp(-0.4) + math.exp(-0.5)]
        assert [c.words for c in got.ranked] == ["a half", "five eighths"]
        assert got.ranked[0].share == pytest.approx(parts[1] / sum(parts))
        assert got.probability == pytest.approx(parts[1] / sum(parts), abs=1e-4)
        assert got.heard == "a half"

    def test_probabilities_are_one_together(self) -> None:
        heard = whisper(("five eighths", 0.0), ("nine sixteenths", -1.0), ("a half", -2.0))
        got = decide([heard], GAP, ODDS)
        assert sum(c.probability for c in got.ranked) == pytest.approx(1)
        assert [c.probability for c in got.ranked] == sorted(
            (c.probability for c in got.ranked), reverse=True
        )

    def test_temperature_levels(self) -> None:
        heard = whisper(("five eighths", 0.0), ("nine sixteenths", -2.0))
        cold = decide([heard], GAP, weights({"odds": 1.0}, temperature=0.5))
        warm = decide([heard], GAP, weights({"odds": 1.0}, temperature=4.0))
        assert cold.probability > 0.95 > 0.7 > warm.probability > 0.5

    def test_unlikely_values_count_less(self) -> None:
        got = decide([whisper(("one and a half", 0.0), ("five sixteenths", -0.1))], GAP, ODDS)
        assert got.ranked[0].words == "five sixteenths"
        share = math.exp(-0.1) / (math.exp(-0.1) + PRIOR["odd_length"])
        assert got.ranked[0].share == pytest.approx(share)

    def test_weights_of_what_is_read(self) -> None:
        for words, expected_weight in (
            ("nine sixteenths", 1.0),
            ("one and a half", PRIOR["odd_length"]),
            ("half no nine sixteenths", PRIOR["seldom_said"]),
            ("one", PRIOR["question"]),
        ):
            found = GAP(words)
            assert found is not None and found[1] == pytest.approx(expected_weight), words
        assert GAP("good morning") is None and GAP("three and a half shy") is None

    def test_what_means_nothing_is_left_out(self) -> None:
        got = decide([whisper(("good morning", 5.0), ("five eighths", -3.0))], GAP, ODDS)
        assert [c.words for c in got.ranked] == ["five eighths"]

    def test_no_more_than_a_few(self) -> None:
        said = ("three", "five", "seven", "nine", "eleven", "thirteen", "fifteen", "two")
        many = [(f"{n} sixteenths", -0.1 * i) for i, n in enumerate(said)]
        assert len(decide([whisper(*many)], GAP, ODDS).ranked) == POLICY["ranking"]["most"]


class TestAgreement:
    PAIRS = (("nine sixteenths", 0.0), ("five sixteenths", -0.3))

    def test_raises_and_its_lack_lowers(self) -> None:
        agreement = {"odds": 1.0, "agree": 0.5}
        agreed, alone = (
            decide([whisper(*self.PAIRS), other(words)], GAP, weights(agreement, agreement))
            for words in ("nine sixteenths", "seven eighths")
        )
        assert agreed.ranked[0].words == alone.ranked[0].words == "nine sixteenths"
        assert agreed.probability > alone.probability
        assert agreed.ranked[0].engines == ("whisper", "other")
        assert alone.ranked[0].engines == ("whisper",)
        assert agreed.meant_for_us > alone.meant_for_us

    def test_in_other_words(self) -> None:
        got = decide([whisper(("a half", 0.0)), other("half inch")], GAP, ODDS)
        assert got.ranked[0].engines == ("whisper", "other") and len(got.ranked) == 1

    def test_what_only_the_second_heard_is_ranked_too(self) -> None:
        got = decide([whisper(*self.PAIRS), other("seven eighths")], GAP, ODDS)
        assert got.ranked[-1].words == "seven eighths"
        assert got.ranked[-1].engines == ("other",)
        assert 0 < got.ranked[-1].share < 0.05

    def test_order_of_the_engines_does_not_matter(self) -> None:
        one = decide([whisper(*self.PAIRS), other("seven eighths")], GAP)
        two = decide([other("seven eighths"), whisper(*self.PAIRS)], GAP)
        assert one == two


class TestBars:
    def kind(self, share: float, second: float, **meant_for_us: float) -> str:
        """Decision for a first meaning of probability `share`, a second of `second`."""
        rest = 1.0 - share - second
        scores = [(w, math.log(max(p, 1e-9))) for w, p in (
            ("five eighths", share), ("nine sixteenths", second), ("a half", rest))]  # fmt: skip
        return decide([whisper(*scores)], GAP, weights({"odds": 1.0}, meant_for_us or None)).kind

    def test_each(self) -> None:
        assert self.kind(0.60, 0.30) == "accept"
        assert self.kind(0.48, 0.40) == "choose"  # 0.88 together
        assert self.kind(0.40, 0.32) == "again"  # 0.72 together
        assert self.kind(0.60, 0.30, one=-0.1) == "nothing"
        assert self.kind(0.60, 0.30, one=0.1) == "accept"

    def test_nothing_heard(self) -> None:
        silence = Hearing("whisper")
        assert decide([silence], GAP, weights({}, {"one": -3.0})).kind == "nothing"
        assert decide([silence], GAP, weights({}, {"one": 1.0})).kind == "nothing"
        # Surely somebody spoke to us, but in words that mean nothing here.
        lost = decide([whisper(free="good morning")], GAP, weights({}, {"one": 4.0}))
        assert lost.kind == "again" and lost.heard == "good morning"
        assert lost.ranked == () and lost.probability == 0.0

    def test_shipped(self) -> None:
        found = POLICY["calibration"]
        assert 0 < found["take_from"] <= found["either_from"] < 1
        assert 0 < found["meant_for_us_from"] < 1
        assert found["temperature"] > 0
        weights = [*found["right"].values(), *found["meant_for_us"].values()]
        assert all(math.isfinite(weight) for weight in weights)
        assert found["right"]["odds"] > 0 and found["meant_for_us"]["gap"] > 0

    def test_shipped_says_clear_words_from_noise(self) -> None:
        clear = whisper(("nine sixteenths", 0.0), ("five sixteenths", -7.0), free="nine sixteenths")
        assert decide([clear, other("nine sixteenths")], GAP).kind == "accept"
        noise = Hearing(
            "whisper",
            (Hypothesis("half", -12.0), Hypothesis("eight thou", -12.1)),
            "thank you for watching",
            -6.0,
            {"inside": -22.0, "tokens": 2.0},
        )
        assert decide([noise, other("three thou")], GAP).kind == "nothing"


class TestFeatures:
    @pytest.mark.parametrize(
        "hearings",
        [
            [Hearing("whisper")],
            [Hearing("other")],
            [whisper(("a half", -1e9))],
            [whisper(("a half", 1e9), ("five eighths", -1e9), free="x", gap=1.0)],
            [whisper(("a half", 0.0)), other()],
        ],
    )
    def test_finite_and_bounded(self, hearings: list[Hearing]) -> None:
        got = decide(hearings, GAP)
        assert all(math.isfinite(v) and abs(v) <= 20 for v in got.features.values())
        assert 0 <= got.probability <= 1 and 0 <= got.meant_for_us <= 1

    def test_deterministic(self) -> None:
        pairs = (("nine sixteenths", 0.0), ("five sixteenths", 0.0), ("seven sixteenths", 0.0))
        made = {repr(decide([whisper(*pairs), other("a half")], GAP)) for _ in range(20)}
        assert len(made) == 1


class TestAtAStep:
    """Meanings at a step of the job: commands and readings against each other."""

    def decided(self, job: Job, *hearings: Hearing, who: str = "tech") -> tuple[str, str]:
        got = decide(hearings, meanings_now(job, who))
        return got.kind, got.name

    @pytest.fixture
    def job(self, card: Card, dialogs: Dialogs) -> Job:
        return put(Job(card, dialogs), "found_gap")

    @pytest.mark.parametrize("words", ["stop", "whoa", "halt", "okay stop", "stop stop stop"])
    @pytest.mark.parametrize("who", ["tech", "helper", ""])
    def test_stop(self, job: Job, words: str, who: str) -> None:
        heard = whisper((words, 0.0), ("top", -1.0), free=words)
        assert self.decided(job, heard, other(words), who=who) == ("accept", "stop")

    def test_ways_to_stop_add_up(self, job: Job) -> None:
        heard = whisper(("half inch", 0.0), ("stop", -0.3), ("stop stop", -0.4), ("halt", -0.5))
        assert self.decided(job, heard)[1] == "stop"

    def test_same_value_in_other_words_is_one_meaning(self, job: Job) -> None:
        meant = meanings_now(job)
        half, inch, other = meant("a half"), meant("half inch"), meant("five eighths")
        assert identity(half[0]) == identity(inch[0]) != identity(other[0])
        assert meant("the weather is fine") is None

    def test_outside_the_grammar_counts_less(self, job: Job) -> None:
        meant = meanings_now(job)
        inside, likened = meant("repeat"), meant("repeatt")
        assert identity(inside[0]) == identity(likened[0]) and likened[1] < inside[1]

    def test_who_speaks_by_the_words_then_by_the_step(self, job: Job) -> None:
        assert speaker_of("helper holding", job) == "helper"
        put(job, "ring_turn")
        assert speaker_of("my foot slipped", job) == "helper"
        assert speaker_of("let up", job) == "tech"
        put(job, "helper_ready")
        assert speaker_of("ready", job) == "helper"

    def test_whether_he_holds_is_his_at_any_step_of_a_hold(self, job: Job, card: Card) -> None:
        """ "Still holding?" could not be answered into a shared microphone at the lock plate."""
        held = moments(card, job.dialogs)["ring_lock", False]
        held.apply(Act("unsure", "tech"))
        assert speaker_of("holding", held) == "helper" and speaker_of("done", held) == "tech"
        put(job, "chocks")
        assert speaker_of("holding", job) == "tech"
