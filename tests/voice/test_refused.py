"""A value that was read back and denied is not heard again at the same step."""

from __future__ import annotations

from assistant.voice.interpretation.context import DENIED, Refused

SIX = ("reading", "tech", 0.046)
FORTY = ("reading", "tech", 0.040)
NO = ("no", "tech")


def weights(refused: Refused) -> tuple[float, float]:
    meant = refused.weighed(lambda words: (SIX if words == "six" else FORTY, 1.0))
    six, forty = meant("six"), meant("forty")
    assert six is not None and forty is not None
    return six[1], forty[1]


def test_denied_until_the_job_moves_on() -> None:
    refused = Refused()
    refused.took("clearance", True, SIX)
    assert weights(refused) == (1.0, 1.0)
    refused.took("clearance", False, NO)
    assert weights(refused) == (DENIED, 1.0)
    refused.took("clearance", True, FORTY)
    refused.took("clearance", True, ("why", "tech"))
    assert weights(refused) == (DENIED, 1.0), "a question denies nothing"
    refused.took("plan", False, ("check", "tech"))
    assert weights(refused) == (1.0, 1.0)


def test_another_value_in_its_place_denies_the_first() -> None:
    refused = Refused()
    refused.took("clearance", True, SIX)
    refused.took("clearance", True, FORTY)
    assert weights(refused) == (DENIED, 1.0)


def test_words_without_a_meaning_have_none() -> None:
    assert Refused().weighed(lambda words: None)("x") is None
