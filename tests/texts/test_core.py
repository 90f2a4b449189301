"""No edited text switches safety off: what weakens it is refused in one line that says what to do;
whatever loads still hears every core word, from whom it counts."""

import re
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.act import Act, Said
from assistant.card import Card
from assistant.conversation import Session
from assistant.conversation.understand import understand
from assistant.dialogue import Breath, Danger
from assistant.sentences import DialogError
from assistant.texts.core import CONFIRMS, CORE, orders
from assistant.texts.dialogs import Dialogs, load_dialogs
from tests.demo import DIALOGS
from tests.examples import examples
from tests.tables import rows_of

Play = Callable[[Session, str], list[Said]]


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return Path(shutil.copytree(DIALOGS, tmp_path / "dialogs"))


def edited(shop: Path, name: str, section: str, old: str, new: str) -> None:
    """Replace the first `old` behind the line `section` of a file; "+" puts `new` into a list."""
    path = shop / "en" / f"{name}.toml"
    text = path.read_text("utf-8")
    at = text.index(f"{section}\n") if section else 0
    if old.endswith("+"):
        old = old[:-1] + " = ["
        new = f'{old}"{new}", '
    assert old in text[at:], f"{name}.toml, {section} has no {old!r}"
    path.write_text(text[:at] + text[at:].replace(old, new, 1), "utf-8")


def refused(shop: Path, *parts: str) -> None:
    """Loading fails with one line that holds all `parts`."""
    with pytest.raises(DialogError) as caught:
        load_dialogs(shop)
    message = str(caught.value)
    assert ("\n" not in message and ";" in message) or "must" in message
    for part in parts:
        assert part in message, message


@rows_of("weakened_dialogs.txt", "file", "section", "old", "new", "told")("refused")
def test_what_weakens_safety_is_refused(
    shop: Path, file: str, section: str, old: str, new: str, told: str
) -> None:
    edited(shop, file, section, old, new)
    refused(shop, ".toml", *told.split("|"))


@rows_of("weakened_dialogs.txt", "file", "section", "old", "new")("taken")
def test_a_shop_may_still_add_and_reword(
    shop: Path, file: str, section: str, old: str, new: str
) -> None:
    edited(shop, file, section, old, new)
    load_dialogs(shop)


@pytest.mark.parametrize("act, name", CORE)
def test_no_core_word_can_be_taken_away(shop: Path, act: str, name: str) -> None:
    path = shop / "en" / "words.toml"
    text = path.read_text("utf-8")
    at = text.index(f"[{act}]\n")
    new = re.sub(rf"(?m)^{name} = .*$", f"{name} = []", text[at:], count=1)
    path.write_text(text[:at] + new, "utf-8")
    refused(shop, "words.toml", act, name)


@pytest.mark.parametrize("text, order", [
    ("RELEASE", "the pedal let up"),
    ("Okay, let it up now", "the pedal let up"),
    ("Cover on, then take your foot off the pedal.", "the foot off"),
    ("Helper: pedal down and keep it there", "the pedal held"),
    ("Please push the pedal down.", "the pedal pressed"),
    ("Now turn the ring", "the ring turned"),
    ("Eye protection on; give it two lugs tighter.", "the ring turned"),
])  # fmt: skip
def test_orders(text: str, order: str) -> None:
    assert order in orders(text)


@pytest.mark.parametrize("text", [
    "Nobody releases the pedal while anything of yours is in the hole.",
    "The helper moves the pedal only when told, and keeps it down until told.",
    "With the pedal down the ring is unloaded. If it comes up, the ring grips.",
    "Turn the flywheel until the lock plate shows. Say done.",
    "Hold the rule square. Read it twice.",
])  # fmt: skip
def test_what_only_tells_orders_nothing(text: str) -> None:
    assert not orders(text)


# --- edits at random ---

WHO = {"stop": "tech", "lost": "helper", "danger": "tech", "clear": "tech", "holding": "helper",
       "released": "helper", "let_up": "tech", "carry_on": "tech",
       "foot_off": "helper", "propped": "tech", "unpropped": "tech"}  # fmt: skip
TAKEN_AT = {
    "clear": ["clear"],
    "holding": ["holding"],
    "released": ["released"],
    "foot_off": ["foot_off"],
    "propped": ["propped", "unpropped"],
    "unpropped": ["propped", "unpropped"],
    "let_up": ["clear", "let_up", "carry_on"],
    "carry_on": ["clear", "let_up", "carry_on"],
}


class Standing:
    """A dialogue that stands where an act is taken; the pedal is down."""

    finished = choosing = trying = stopped = False
    pending = None
    correcting = handing = telling = ""
    units, distance = "inch", "miles"

    def __init__(self, dialogs: Dialogs, act: str, step: str) -> None:
        self.dialogs, self.act, self.at = dialogs, act, step

    def expects(self) -> str:
        return ""

    last_quantity = expects

    def breath(self) -> Breath:
        return Breath()

    def allowed(self) -> list[str]:
        return TAKEN_AT.get(self.act, [])

    def answers(self) -> dict[str, str]:
        return dict.fromkeys(self.dialogs.by_id[self.at].answers, "done")

    def whose(self) -> str:
        return WHO[self.act]

    def danger(self) -> Danger:
        return Danger(pedal=True, held=True)

    def prompt(self, entering: bool = False) -> list[Said]:
        return [Said("tech", "x", "x")]


STEPS = ("ring_turn", "ring_tool", "out_from_under", "ring_lock")


def still_heard(dialogs: Dialogs) -> None:
    """Every core phrase means what it must, wherever its act is taken."""
    alarms = {"stop", "lost", "danger"}
    for (act, name), phrases in CORE.items():
        if name != "phrases":
            assert set(phrases) <= set(getattr(dialogs.words[act], name))
            continue
        for phrase in phrases:
            for step in STEPS:
                got = understand(phrase, WHO[act], Standing(dialogs, act, step))  # type: ignore
                assert isinstance(got, Act), (phrase, got)
                assert got.meaning == act or {act, got.meaning} <= alarms, (phrase, got)


def written(data: dict[str, Any]) -> str:
    """`words.toml` of its parsed data; JSON's strings are TOML's."""
    import json

    lines = []
    for key, entry in data.items():
        lines += [f"[{key}]", *(f"{k} = {json.dumps(v)}" for k, v in entry.items())]
    return "\n".join(lines)


WORDS = tomllib.loads((DIALOGS / "en" / "words.toml").read_text("utf-8"))
LISTS = [(key, name) for key, entry in WORDS.items() for name, v in entry.items()
         if isinstance(v, list)]  # fmt: skip
SAFE = [pair for pair in LISTS if pair[0] in WHO]
SHIPPED = sorted({p for key, name in LISTS for p in WORDS[key][name]})
PHRASE = st.one_of(
    st.sampled_from(sorted({p for phrases in CORE.values() for p in phrases})),
    st.sampled_from(SHIPPED),
    st.lists(st.sampled_from(sorted({w for p in SHIPPED for w in p.split()})), max_size=4).map(
        " ".join
    ),
    st.text(st.characters(codec="ascii", exclude_categories=("Cc",)), max_size=6),
)
EDIT = st.tuples(
    st.sampled_from(["add", "add", "drop", "empty", "flag", "answer"]),
    st.one_of(st.sampled_from(SAFE), st.sampled_from(LISTS)),
    PHRASE,
    st.integers(0, 60),
)


@given(edits=st.lists(EDIT, min_size=1, max_size=2))
@settings(examples(60), suppress_health_check=list(HealthCheck))
def test_random_edits_load_with_all_core_words_heard_or_are_refused(
    tmp_path_factory: pytest.TempPathFactory, edits: list[tuple[str, tuple[str, str], str, int]]
) -> None:
    import copy
    import json

    words = copy.deepcopy(WORDS)
    folder = Path(shutil.copytree(DIALOGS, tmp_path_factory.mktemp("shop") / "dialogs"))
    steps = folder / "en" / "steps.toml"
    for what, (key, name), phrase, at in edits:
        phrases = words[key][name]
        match what:
            case "add":
                phrases.insert(at % (len(phrases) + 1), phrase)
            case "drop" if phrases:
                phrases.pop(at % len(phrases))
            case "empty":
                phrases.clear()
            case "flag":
                flag = ("anytime", "exact")[at % 2]
                words[key][flag] = not words[key].get(flag, False)
            case "answer":
                text = steps.read_text("utf-8")
                steps.write_text(text.replace('["tool\'s out"', f"[{json.dumps(phrase)}", 1))
    (folder / "en" / "words.toml").write_text(written(words), "utf-8")
    try:
        dialogs = load_dialogs(folder)
    except DialogError as error:
        assert "\n" not in str(error)
    else:
        still_heard(dialogs)
    shutil.rmtree(folder)


def test_the_shipped_dialogs_hear_every_core_word(dialogs: Dialogs) -> None:
    still_heard(dialogs)


@pytest.mark.parametrize("act", CONFIRMS)
def test_an_alarm_is_no_phrase_that_confirms(shop: Path, act: str) -> None:
    for alarm in ("my hand is in", "not clear", "i'm stuck", "slipping", "can i"):
        copy = Path(shutil.copytree(shop, shop.parent / f"{act}-{alarm}"))
        edited(copy, "words", f"[{act}]", "phrases+", alarm)
        refused(copy, "words.toml", act)


# --- resuming after an edit ---


def test_a_resume_tells_that_the_dialogs_changed_and_asks(
    shop: Path, card: Card, play: Play, tmp_path: Path
) -> None:
    session, _ = Session.begin(card, load_dialogs(shop), tmp_path / "records")
    play(session, "skip / done / done")
    session.close()
    path = session.journal.path

    same, said = Session.resume(path, load_dialogs(shop))
    same.close()
    assert "reply:dialogs_changed" not in [s.key for s in said] and same.job.at == "neutral"

    edited(shop, "job", "", 'tighter = "tighter"', 'tighter = "in tighter"')
    session, said = Session.resume(path, load_dialogs(shop))
    told = [s for s in said if s.key == "reply:dialogs_changed"]
    assert len(told) == 1 and "\n" not in told[0].text
    assert "Who goes on" in said[-1].text and session.job.stopped
    play(session, "done")
    assert session.job.stopped, "nothing goes on before it is said"
    assert "carry on" in play(session, "code 12")[-1].text
    play(session, "carry on / done")
    assert session.job.at == "key"
    session.close()

    again, said = Session.resume(path, load_dialogs(shop))
    assert "reply:dialogs_changed" not in [s.key for s in said] and again.job.at == "key"
    again.close()
