"""What may be said: grammars held against the reader and the job."""

import random
import re
from collections import Counter

import pytest

from assistant.act import Act
from assistant.card import Card
from assistant.conversation.this_step import of_this_step
from assistant.conversation.understand import understand
from assistant.dialogue import Question
from assistant.job.job import Job
from assistant.readings import QUANTITIES, read
from assistant.readings.language import alt, opt, seq, weighted, words_of
from assistant.texts.dialogs import Dialogs
from assistant.voice.recognition.expected import expected, reading_grammar
from assistant.voice.recognition.grammar import Grammar
from tests.spoken.commands import commands
from tests.spoken.commands import moments as all_moments
from tests.tables import rows_of

LENGTHS = [name for name, q in QUANTITIES.items() if q.unit == "in"]


SMALL = Grammar(
    "small",
    weighted(
        (3, seq(opt("just"), alt("one", "two"), alt("half", seq("and", "a half")))),
        (1, "stop"),
    ),
)


class TestGrammar:
    def test_accepts_just_what_is_written(self) -> None:
        said = {"stop"} | {
            f"{lead}{n} {part}"
            for lead in ("", "just ")
            for n in ("one", "two")
            for part in ("half", "and a half")
        }
        assert set(SMALL.sentences(400, random.Random(1))) == said
        assert all(SMALL.accepts(text) for text in said)
        assert not any(
            SMALL.accepts(text)
            for text in ("", "just", "one", "stop stop", "one half half", "one and half", "three")
        )
        assert SMALL.vocabulary == ("a", "and", "half", "just", "one", "stop", "two")

    def test_weights_are_how_often(self) -> None:
        drawn = Counter(text == "stop" for text in SMALL.sentences(4000, random.Random(2)))
        assert 0.2 < drawn[True] / 4000 < 0.3  # one in four

    @pytest.mark.parametrize("text", ["", " ", "9/16", "12", "a, b", "100%", "nine!", "3rd"])
    def test_what_is_not_said_is_refused(self, text: str) -> None:
        with pytest.raises(ValueError, match="cannot stand in a grammar; write it in words") as e:
            words_of(text)
        assert "\n" not in str(e.value)

    def test_words_of_a_phrase(self) -> None:
        assert words_of("Sixty-four THOU") == ["sixty", "four", "thou"]
        assert words_of("brake’s up") == ["brake's", "up"]


QUESTIONS = re.compile(
    r"fits no unit for|over .* cannot be\.|under .* cannot be\.|cannot be negative|that number c|"
    r"cannot be\. Say how many|The bigger gauge cannot go|The upper end is lower|which unit\?|"
    r"tolerance is more than the reading|, only the reading\.$|Between two equal values|"
    r" or .*\?$|and one quarter\?$|millimetres\?$|inch(?:es)?\?$|One half\?|"
    r"A half, or a number and a half|That fraction is over one",
    re.IGNORECASE,
)
"""What a sentence of the grammar may be asked back, or refused for: a bare number that fits several
units or none, two limits alike or the wrong way round, a tolerance too wide, a value that no truck
has."""


class TestReadings:
    @pytest.mark.parametrize("metric", [False, True])
    @pytest.mark.parametrize("name", QUANTITIES)
    def test_what_may_be_said_is_read_or_asked_about(self, name: str, metric: bool) -> None:
        units = "mm" if metric else "inch"
        said = reading_grammar(name, metric).sentences(500, random.Random(name + units))
        found = [(text, read(text, name, units)) for text in said]
        rest = [(t, r.status, r.why) for t, r in found if r.status in ("ask", "refused")]
        assert all(QUESTIONS.search(why) for _, _, why in rest), rest
        # What the reader makes nothing of ("gave it one looser dead on") is a sentence wasted.
        assert sum(r.status == "none" for _, r in found) <= 10
        assert sum(r.status == "read" for _, r in found) >= 500 * (0.99 if not rest else 0.85)

    def test_trade_ways(self) -> None:
        gap = reading_grammar("gap")
        for text in (
            "half inch shy",
            "nine sixteenths",
            "four eighty five",
            "goes on the half no go on nine sixteenths",
            "half minus a thirty second",
            "thirteen millimetres",
            "between a half and nine sixteenths",
            "seventeen thirty seconds no nine sixteenths",
        ):
            assert gap.accepts(text) and read(text, "gap").status == "read", text
        assert not gap.accepts("check") and not gap.accepts("three lugs")

    def test_metric_shop_drops_the_unit(self) -> None:
        assert reading_grammar("free-travel", True).accepts("thirty eight")
        assert not reading_grammar("free-travel").accepts("thirty eight")


Moments = dict[tuple[str, bool], Job]


@pytest.fixture(scope="module")
def moments(card: Card, dialogs: Dialogs) -> Moments:
    """The job as it stands at every step of the demo script, and with a reading to be checked."""
    return all_moments(card, dialogs)


class TestExpected:
    @pytest.mark.parametrize("split", ["tuning", "test"])
    def test_commands_of_every_step(self, split: str, moments: Moments) -> None:
        pairs = [(c, who) for c in commands(split) for who in (c.who, "")]
        # Those of one moment together: few grammars are kept, and each is made once.
        for command, who in sorted(pairs, key=lambda p: (p[0].step, p[0].pending, p[1])):
            job = moments[command.step, command.pending]
            assert expected(job, who).accepts(command.words), (command, who)
            act = understand(command.words, command.who, job)
            if command.meaning in ("done", "sound") and not of_this_step(command.words, job):
                # "It's in", where a cover comes off; "nothing loose", where the pedal is pressed.
                assert isinstance(act, Question) or act.meaning == "unclear"
                continue
            assert isinstance(act, Act) and act.meaning == command.meaning, (command, act)

    def test_stop_and_what_works_everywhere(self, moments: Moments) -> None:
        assert len(moments) > 40
        for job in moments.values():
            for who in ("tech", "helper", ""):
                grammar = expected(job, who)
                for words in ("stop", "whoa", "halt", "repeat", "where are we", "okay stop"):
                    assert grammar.accepts(words), (job.at, who, words)

    def test_each_means_something_then(self, moments: Moments) -> None:
        missed = []
        for (state, _), job in moments.items():
            for text in expected(job, "tech").sentences(30, random.Random(state)):
                act = understand(text, "tech", job)
                okay = text in job.dialogs.words["check"].phrases  # says nothing where none waits
                if isinstance(act, Act) and act.meaning == "unclear" and not okay:
                    missed.append((state, text))
        assert len(missed) <= 0.01 * 30 * len(moments), missed[:20]

    def test_readings_where_they_are_asked(self, moments: Moments) -> None:
        asked = {job.expects(): job for job in moments.values() if job.expects()}
        assert set(asked) >= {*LENGTHS, "lugs", "odometer"} - {"bearing-travel"}
        for quantity, job in asked.items():
            grammar = expected(job, "tech")
            for text in reading_grammar(quantity).sentences(20, random.Random(3)):
                assert grammar.accepts(text), (quantity, text)

    @rows_of("said_when.txt", "at", "who", "may", "may_not")("accepted")
    def test_what_may_be_said(
        self, at: str, who: str, may: str, may_not: str, moments: Moments
    ) -> None:
        grammar = expected(moments[at.removesuffix("?"), at.endswith("?")], who)
        assert [words for words in may.split("|") if not grammar.accepts(words)] == []
        assert [words for words in may_not.split("|") if words and grammar.accepts(words)] == []

    def test_answers_only_to_a_question(self, moments: Moments) -> None:
        question = read("one", "gap")
        assert question.status == "ask"
        grammar = expected(moments["found_gap", False], "tech", ("one", question))
        for words in ("the first", "neither", "thousandths", "thirty seconds"):
            assert grammar.accepts(words), words

    def test_same_moment_same_grammar(self, moments: Moments) -> None:
        job = moments["found_gap", False]
        assert expected(job, "tech") is expected(job, "tech")
        assert expected(job, "tech").name != expected(job, "helper").name
