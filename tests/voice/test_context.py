"""What was said before at a moment, and how it bears on what is said now."""

import pytest

from assistant.act import Act
from assistant.voice.interpretation import POLICY, Candidate, Decision
from assistant.voice.interpretation.context import Denials, Retries, contradicted


def heard(*meanings: tuple[str, float], kind: str = "accept") -> Decision:
    ranked = tuple(
        Candidate(name, Act(name, "tech"), p, ("whisper",), probability=p) for name, p in meanings
    )
    return Decision(kind, ranked, ranked[0].probability, 1.0, ranked[0].words)


class TestOpposites:
    """What lets something pass is not taken while its opposite may have been said."""

    @pytest.mark.parametrize(("yes", "no"), [("check", "no"), ("sound", "not_sound"),
                                             ("clear", "stop"), ("holding", "lost")])  # fmt: skip
    def test_a_likely_one_contradicts(self, yes: str, no: str) -> None:
        assert contradicted(heard((yes, 0.85), ("repeat", 0.08), (no, 0.07)))
        assert not contradicted(heard((yes, 0.95), ("repeat", 0.03), (no, 0.02)))

    @pytest.mark.parametrize("first, second", [("no", "check"), ("stop", "clear"),
                                               ("check", "repeat")])  # fmt: skip
    def test_what_holds_up_and_other_words_are_not(self, first: str, second: str) -> None:
        assert not contradicted(heard((first, 0.6), (second, 0.4)))


SIX = Act("reading", "tech", {"value_in": 0.006})
FORTY = Act("reading", "tech", {"value_in": 0.040})


class TestDenials:
    """A value that was read back and denied is not heard again at the same step."""

    def priors(self, denials: Denials) -> tuple[float, float]:
        return denials.prior(SIX), denials.prior(FORTY)

    def test_until_the_job_moves_on(self) -> None:
        denied, denials = POLICY["prior"]["denied"], Denials()
        denials.took("clearance", True, SIX)
        assert self.priors(denials) == (1.0, 1.0)
        denials.took("clearance", False, Act("no", "tech"))
        assert self.priors(denials) == (denied, 1.0)
        denials.took("clearance", True, FORTY)
        denials.took("clearance", True, Act("why", "tech"))
        assert self.priors(denials) == (denied, 1.0), "a question denies nothing"
        denials.took("plan", False, Act("check", "tech"))
        assert self.priors(denials) == (1.0, 1.0)

    def test_another_value_in_its_place_denies_the_first(self) -> None:
        denials = Denials()
        denials.took("clearance", True, SIX)
        denials.took("clearance", True, FORTY)
        assert self.priors(denials) == (POLICY["prior"]["denied"], 1.0)

    def test_words_said_in_vain_weigh_less_each_time(self) -> None:
        """ "Carry on" was heard as "how long" fourteen times in a row."""
        denials, vain = Denials(), Act("how_long", "tech")
        denials.took("halted", False, Act("stop", "tech"))
        priors = []
        for _ in range(5):
            denials.took("halted", False, vain, True)
            priors.append(denials.prior(vain))
        weight = POLICY["prior"]["in_vain"]
        assert priors == pytest.approx([weight, weight**2, weight**3, weight**3, weight**3])
        denials.took("ring_ready", False, Act("carry_on", "tech"))
        assert denials.prior(vain) == 1.0


class TestRetries:
    """What several unsure hearings make together, and what they must not."""

    def unsure(self, name: str, probability: float, kind: str = "again") -> Decision:
        return heard((name, probability), kind=kind)

    def test_a_second_hearing_adds_to_the_first(self) -> None:
        retries = Retries()
        assert retries.joined("hold", self.unsure("holding", 0.45)).kind == "again"
        retries.missed(self.unsure("holding", 0.45))
        both = retries.joined("hold", self.unsure("holding", 0.4))
        assert both.probability == pytest.approx(1 - 0.55 * 0.6)
        assert both.kind == "accept"
        assert both.ranked[0].probability == both.probability

    def test_other_words_add_nothing(self) -> None:
        retries = Retries()
        alone = self.unsure("check", 0.45)
        retries.joined("gap", alone)
        retries.missed(self.unsure("no", 0.45))
        assert retries.joined("gap", alone) == alone

    def test_a_move_of_the_job_forgets(self) -> None:
        retries = Retries()
        retries.joined("ring_clear", self.unsure("clear", 0.5))
        retries.missed(self.unsure("clear", 0.5))
        assert retries.joined("ring_hold", self.unsure("clear", 0.5)).probability == 0.5

    def test_what_was_not_for_us_adds_nothing(self) -> None:
        retries = Retries()
        retries.joined("gap", self.unsure("done", 0.5, "nothing"))
        retries.missed(self.unsure("done", 0.5, "nothing"))
        assert retries.joined("gap", self.unsure("done", 0.4)).probability == 0.4
        retries.missed(self.unsure("done", 0.5))
        assert retries.joined("gap", self.unsure("done", 0.4, "nothing")).kind == "nothing"

    def test_a_crowd_of_faint_hearings_never_adds_up(self) -> None:
        retries = Retries()
        for _ in range(20):
            faint = self.unsure("released", 0.19)
            assert retries.joined("release", faint).kind == "again"
            retries.missed(faint)

    def test_only_the_last_two_count(self) -> None:
        retries = Retries()
        retries.joined("gap", self.unsure("sound", 0.2))
        for _ in range(20):
            retries.missed(self.unsure("sound", 0.2))
        both = retries.joined("gap", self.unsure("sound", 0.2))
        assert both.probability == pytest.approx(1 - 0.8**3)


def test_no_number_of_the_policy_has_the_name_of_another() -> None:
    names = [n for section, table in POLICY.items() if section != "calibration" for n in table]
    assert len(names) == len(set(names)) > 30
