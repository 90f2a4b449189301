"""From complaint to cause: arithmetic against outside libraries, the table, the conversation."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from assistant.act import Act
from assistant.card import Card, card_from_text, default_card
from assistant.causes.ask import CauseTalk
from assistant.causes.case import (
    Case,
    bits,
    findings_of,
    gain_bits,
    low_in_high,
    most_telling,
    weigh,
)
from assistant.causes.table import Table, load_table
from assistant.cli.main import main
from assistant.clutch.conformity import Limits, Measured, conformance_probability
from assistant.conversation import Session, split_speaker
from assistant.conversation.understand import understand
from assistant.sentences import DialogError
from assistant.texts.dialogs import Dialogs
from assistant.voice.recognition.expected import expected
from tests import demo
from tests.tables import rows_of

HYDRAULIC = '[truck]\nlinkage = "hydraulic"\n'


@pytest.fixture(scope="module")
def whole() -> Table:
    return load_table(folder=demo.DIALOGS)


@pytest.fixture
def table(whole: Table) -> Table:
    """For a truck whose card has all limits."""
    return whole.of(demo.card())


def outside(table: Table):  # type: ignore[no-untyped-def]
    """The same table as a Bayesian network of pyAgrum (an outside library)."""
    gum = pytest.importorskip("pyagrum")
    net = gum.BayesNet()
    causes = list(table.causes.values())
    root = net.add(gum.LabelizedVariable("cause", "", [c.id for c in causes]))
    total = sum(c.prior.weight for c in causes)
    net.cpt(root).fillWith([c.prior.weight / total for c in causes])
    for key, complaint in table.complaints.items():
        node = net.add(gum.LabelizedVariable(f"c_{key}", "", ["no", "yes"]))
        net.addArc(root, node)
        shares = [c.brings(complaint) for c in causes]
        net.cpt(node).fillWith([x for p in shares for x in (1 - p, p)])
    for key, finding in table.findings.items():
        node = net.add(gum.LabelizedVariable(f"f_{key}", "", list(finding.states)))
        net.addArc(root, node)
        net.cpt(node).fillWith([x for c in causes for x in c.shows(finding)])
    return gum, net


@pytest.mark.parametrize("complaints", [[], ["grinds"], ["slips", "high"], ["no_free"]])
@pytest.mark.parametrize(
    "found",
    [
        {},
        {"free": (1.0, 0.0, 0.0)},
        {"free": (0.7, 0.3, 0.0), "gap": (0.0, 0.4, 0.6), "oil": (1.0, 0.0)},
        {"loose": (0.0, 1.0), "contact": (0.9, 0.1, 0.0), "noise": (1.0, 0.0)},
    ],
)
def test_chances_and_gains_as_pyagrum_has_them(
    table: Table, complaints: list[str], found: dict[str, tuple[float, ...]]
) -> None:
    """Posterior by its exact inference (soft evidence too), gains by its mutual information."""
    gum, net = outside(table)
    engine = gum.LazyPropagation(net)
    evidence = {f"c_{key}": [0.0, 1.0] for key in complaints}
    evidence |= {f"f_{key}": list(fits) for key, fits in found.items()}
    engine.setEvidence(evidence)
    engine.makeInference()
    theirs = engine.posterior("cause")
    ours = weigh(table, complaints, found)
    for i, key in enumerate(ours):
        assert ours[key] == pytest.approx(theirs[i], abs=1e-9)
    for finding in table.findings.values():
        if finding.id in found:
            continue
        info = gum.InformationTheory(engine, ["cause"], [f"f_{finding.id}"])
        assert gain_bits(table, ours, finding) == pytest.approx(
            info.mutualInformationXY(), abs=1e-6
        )


def test_a_reading_on_its_limit_is_both(table: Table) -> None:
    """As the conformity standard has it: on the limit, half in, half out."""
    limits = Limits(0.5, 0.5625)
    low, in_, high = low_in_high(Measured(0.5625, 0.005), limits)
    assert in_ == pytest.approx(0.5, abs=1e-6) and high == pytest.approx(0.5)
    assert low + in_ + high == pytest.approx(1.0)
    assert in_ == pytest.approx(conformance_probability(Measured(0.5625, 0.005), limits))


@rows_of("causes.txt", "complaint", "found", "cause")("experience")
def test_what_experience_would_say(table: Table, complaint: str, found: str, cause: str) -> None:
    """Plain cases, as any mechanic has them (common practice, no source)."""
    fits = {
        key: tuple(float(s == state) for s in table.findings[key].states)
        for key, state in (one.split("=") for one in found.split())
    }
    chances = weigh(table, [complaint], fits)
    assert max(chances, key=lambda k: chances[k]) == cause, chances


def test_a_hydraulic_truck_may_have_air_a_rod_truck_not(whole: Table) -> None:
    """What cannot be on this truck is neither weighed nor asked for."""
    hydraulic = whole.of(Card(linkage="hydraulic"))
    rod = whole.of(Card())
    assert "air" in hydraulic.causes and "spongy" in hydraulic.findings
    assert "air" not in rod.causes and "spongy" not in rod.findings
    synchronized = whole.of(Card(transmission="synchronized"))
    assert "brake" not in synchronized.causes and "contact" not in synchronized.findings
    assert "height" not in rod.findings, "no limit, so neither low nor high"


def test_every_word_spoken_fits_one_breath(whole: Table) -> None:
    for finding in whole.findings.values():
        for ask in (finding.ask, finding.instead.ask if finding.instead else ""):
            assert len(ask.split()) <= 12, ask
    causes = list(whole.causes.values())
    for cause in causes:
        reply = "parts" if cause.kind == "parts" else "likely"
        text = whole.say(reply, share=99, cause=cause.say, fix=cause.fix)
        assert len(text.split()) <= 16, text
        assert 5 <= len(cause.why.split()) <= 22, cause.why
    longest = max(causes, key=lambda c: len(c.say.split())).say
    assert len(whole.say("unsure", cause=longest, other=longest).split()) <= 20


def test_every_cause_can_be_found(whole: Table) -> None:
    """Each is among the first three for what its own row says sets it apart."""
    table = whole.of(Card(linkage="hydraulic"))
    for cause in table.causes.values():
        if cause.id == "other":
            continue
        complaint = max(table.complaints, key=lambda k: cause.brings(table.complaints[k]))
        fits = {}
        for key in cause.findings:
            if key in table.findings:
                finding = table.findings[key]
                shares = zip(cause.shows(finding), finding.usual.share, strict=True)
                lift = [p / u for p, u in shares]
                fits[key] = tuple(float(x == max(lift)) for x in lift)
        ranked = sorted(weigh(table, [complaint], fits).items(), key=lambda kv: -kv[1])
        assert cause.id in [key for key, _ in ranked[:3]], (cause.id, ranked[:3])


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return Path(shutil.copytree(demo.DIALOGS, tmp_path / "dialogs"))


@rows_of("causes.txt", "old", "new", "says")("damaged")
def test_a_damaged_table_says_where(shop: Path, old: str, new: str, says: str) -> None:
    path = shop / "en" / "causes.toml"
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(DialogError) as caught:
        load_table(folder=shop)
    assert says in str(caught.value) and "\n" not in str(caught.value)


def talk(dialogs: Dialogs, complaint: str = "", card: Card | None = None) -> CauseTalk:
    got = CauseTalk(load_table(folder=demo.DIALOGS), card or default_card(), dialogs, {})
    assert not complaint or got.complain(complaint)
    return got


@rows_of("causes.txt", "words", "names")("complaint")
def test_complaints_in_words(dialogs: Dialogs, words: str, names: str) -> None:
    got = talk(dialogs)
    assert got.complain(words) is bool(names)
    assert got.case.complaints == names.split()


def test_it_asks_first_what_tells_most_and_ends_sure(dialogs: Dialogs) -> None:
    got = talk(dialogs, "it slips under load")
    first = most_telling(got.case.table, got.case.chances(), ())[0][0]
    assert got.begin()[-1] == first.ask
    answers = {"gap": "three quarters", "free": "a quarter", "ring_end": "no"}
    for _ in range(12):
        said = got.hear(answers.get(got.asked.id, "skip" if got.asked.readings else "no"))
        if got.over:
            break
    assert got.over and "ring" in said[-1] and "Adjust the ring" in said[-1]


def test_what_to_look_for_next_is_a_sentence(dialogs: Dialogs) -> None:
    """ "The gap", but never "the something loose in the chain"; nor what was complained of."""
    got = talk(dialogs, "the pedal is spongy", card_from_text(HYDRAULIC, "h.toml"))
    looks = set()
    while got.case.telling():
        looks.add(got.case.next_reading())
        got.case.skipped.add(got.case.telling()[0][0].id)
    assert "Most telling next. Any pin, bracket or joint loose?" in looks
    assert "Most telling next: the free travel." in looks
    assert not any("spongy" in one or "the something" in one for one in looks)


def test_parts_are_called_parts(dialogs: Dialogs) -> None:
    got = talk(dialogs, "it slips")
    got.hear("gap nine sixteenths shy")
    got.case.found["oil"] = (0.0, 1.0)
    assert got.case.sentence().startswith("Parts, not adjustment: oil on the facings")


def test_why_skip_repeat_stop_and_nonsense_leave_the_question(dialogs: Dialogs) -> None:
    got = talk(dialogs, "it grinds")
    question = got.begin()[-1]
    assert any("gap opens" in line for line in got.hear("why"))
    assert got.hear("repeat") == [question]
    assert got.hear("purple bananas")[-1] == question
    assert got.hear("skip")[-1] != question
    got.hear("stop")
    assert got.over


def test_a_reading_may_be_named(dialogs: Dialogs) -> None:
    got = talk(dialogs, "pedal is heavy")
    got.begin()
    got.hear("the gap is 21/32")
    assert got.case.found["gap"][2] > 0.99
    got.hear("fork clearance an eighth")
    assert got.case.found["free"][1] > 0.99


def test_a_reading_may_be_judged_in_words(dialogs: Dialogs) -> None:
    """ "Low" answers a reading; at a question of yes or no it does not."""
    got = talk(dialogs, "it slips")
    got.begin()
    assert got.asked is not None and got.asked.readings
    first = got.asked.id
    got.hear("high")
    assert got.case.found[first] == (0.0, 0.0, 1.0)
    while got.asked is not None and got.asked.readings:
        got.hear("skip")
    assert got.hear("low") == ["Say yes, no, or skip.", got.asked.ask]


def test_without_a_brake_the_gap_is_asked_for_as_the_maker_has_it(whole: Table) -> None:
    text = '[truck]\ntransmission = "synchronized"\n[figures]\ngap = "1/2 to 5/8"'
    assert "brake" not in whole.of(card_from_text(text, "c")).findings["gap"].ask
    assert whole.of(default_card()).findings["gap"].ask == "Gap, bearing to brake?"


def test_gains_never_promise_more_than_there_is(table: Table) -> None:
    """Knowing a finding tells at most all that is not known, and at most its own bits."""
    for complaint in table.complaints:
        chances = weigh(table, [complaint], {})
        for _, told in most_telling(table, chances, ()):
            assert 0.0 <= told <= min(bits(chances.values()), 1.585)


def test_readings_of_a_record_are_as_the_report_has_them() -> None:
    """Free travel speaks for clearance too: one finding, not two."""
    card = default_card()
    table = load_table(folder=demo.DIALOGS).of(card)
    read = {"free-travel": Measured(0.5, 0.01), "clearance": Measured(0.125, 0.001)}
    assert set(findings_of(table, card, read)) == {"free"}
    assert findings_of(table, card, read)["free"][0] > 0.99


def test_command_with_a_pipe() -> None:
    script = "# as read\ngap 21/32\nwhy\nno\nthree sixteenths\nno\nno\nno\nno\n"
    done = CliRunner().invoke(main, ["cause", "it", "slips"], input=script)
    assert done.exit_code == 0, done.output
    assert "facings wore, the ring is due. Adjust the ring" in done.output
    assert "from memory" in done.output


def test_command_from_readings_alone_and_from_a_record() -> None:
    record = str(demo.DEMO / "records" / "first_job.jsonl")
    done = CliRunner().invoke(main, ["cause", "--record", record, "--json"])
    assert done.exit_code == 0 and '"cause": "ring_due"' in done.output
    first = re.search(r'"causes": \[\s*\{\s*"cause": "(\w+)"', done.output)
    assert first is not None and first[1] == "ring_due"


@pytest.mark.parametrize(
    "arguments", [["the pedal is purple"], ["slips", "--gap", "banana"], ["it doesn't slip"]]
)
def test_command_refuses_in_one_line(arguments: list[str]) -> None:
    done = CliRunner().invoke(main, ["cause", *arguments])
    assert done.exit_code == 2 and done.output.count("\n") == 1
    assert done.output.startswith("lugcall: ")


def test_case_of_a_hydraulic_card(dialogs: Dialogs) -> None:
    card = card_from_text(HYDRAULIC, "h.toml")
    case = Case(load_table(folder=demo.DIALOGS).of(card))
    case.complaints = ["low"]
    case.found["spongy"] = (0.0, 1.0)
    assert "air in the fluid" in case.sentence() and "bleed" in case.sentence()


SCRIPT = demo.script("first_job")


@pytest.fixture
def job(tmp_path: Path, dialogs: Dialogs) -> Iterator[Session]:
    session, _ = Session.begin(demo.card(), dialogs, tmp_path)
    yield session
    session.close()


def said_to(session: Session, line: str) -> list[str]:
    return [s.text for s in session.hear(*split_speaker(line))]


@pytest.mark.parametrize(
    "line",
    ["why does it slip", "driver says it grinds", "what is the cause", "helper: why does it drag?"],
)
def test_asked_anywhere_nothing_moves(job: Session, line: str) -> None:
    """With the pedal up, and not at the trial, it is answered and the step stays."""
    answered = 0
    for script_line in SCRIPT:
        if job.job.facts.hazards["pedal"] == "up" and not job.job.trying:
            before = job.job.at, job.job.pending, len(job.job.facts.readings)
            answered += any("telling" in s or "further" in s for s in said_to(job, line))
            assert (job.job.at, job.job.pending, len(job.job.facts.readings)) == before
        job.hear(*split_speaker(script_line))
    assert job.job.finished and answered > 0.75 * len(SCRIPT)


def test_with_the_pedal_held_there_is_no_talk(job: Session) -> None:
    """What slips then is a foot: the helper's words are an alarm, the technician's are put off."""
    for line in SCRIPT:
        if job.job.facts.hazards["pedal"] == "held":
            break
        job.hear(*split_speaker(line))
    assert job.job.facts.hazards["pedal"] == "held"
    told = said_to(job, "tech: why does it slip")
    assert not any("percent" in t or "Not clear" in t for t in told)
    assert job.job.facts.hazards["pedal"] == "held"
    assert "HANDS OUT. The pedal is coming up." in said_to(job, "helper: it slips")


def test_the_cause_is_told_once_all_is_read(job: Session) -> None:
    """The complaint comes first, its cause with the last reading as found, and the lead sees it."""
    job.hear("tech", "the driver says it slips under load")
    told: list[str] = []
    for line in SCRIPT:
        told += said_to(job, line)
    assert sum("the ring is due" in t for t in told) == 1
    closed = job.journal.events[-1].data
    assert {"who": "tech", "text": "complaint: slips under load"} in closed["notes"]


def test_reasons_on_request(job: Session) -> None:
    job.hear("tech", "it slips under load")
    told = said_to(job, "why that cause")
    assert len(told) >= 4 and told[-1].startswith("All weights: from memory")


def test_it_grinds_at_the_trial_is_not_sound(job: Session) -> None:
    """Safety first, and then what may be behind it; the words for it do not matter."""
    for line in SCRIPT:
        if job.job.trying:
            break
        job.hear(*split_speaker(line))
    told = said_to(job, "helper: it grinds into gear")
    assert told[0] == "Neutral, engine off, key back. Nobody under the truck."
    assert told[1].startswith("STOP HERE") and job.job.at == "repair"
    assert any("telling next" in t for t in told)


def test_it_resumes(tmp_path: Path, dialogs: Dialogs) -> None:
    session, _ = Session.begin(demo.card(), dialogs, tmp_path)
    for line in ["it slips under load", *SCRIPT[:20], "what is the cause"]:
        session.hear(*split_speaker(line))
    path, state, complaints = session.journal.path, session.job.at, session.job.facts.complaints
    session.close()
    again, _ = Session.resume(path, dialogs)
    assert (again.job.at, again.job.facts.complaints) == (state, complaints)
    again.close()


@pytest.mark.parametrize("words", ["it doesn't slip", "the slip ring is new", "a dragon"])
def test_what_is_no_complaint(job: Session, words: str) -> None:
    got = understand(words, "tech", job.job)
    assert not isinstance(got, Act) or got.meaning != "complaint" or words == "the slip ring is new"


def test_complaints_can_be_spoken(job: Session) -> None:
    grammar = expected(job.job)
    for words in ("why does it slip", "what is the cause", "it drags"):
        assert grammar.accepts(words)


def test_a_damaged_table_costs_the_answer_and_not_the_job(
    job: Session, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = shop / "en" / "causes.toml"
    path.write_text(path.read_text("utf-8").replace("weight = 30", "weight = -1"), "utf-8")
    monkeypatch.setenv("LUGCALL_DIALOGS", str(shop))
    before = job.job.at
    told = said_to(job, "why does it slip")
    assert len(told) == 1 and "prior.weight" in told[0] and job.job.at == before
    job.hear("tech", "skip")
    assert job.job.at != before


def test_two_threads_may_ask_at_once() -> None:
    """A question that comes while the table is still loaded beside the job's first steps."""
    code = (
        "import sys, threading\n"
        "from assistant.causes.table import load_table\n"
        "sys.setswitchinterval(1e-6)\n"
        "threads = [threading.Thread(target=load_table) for _ in range(4)]\n"
        "[t.start() for t in threads]\n"
        "[t.join() for t in threads]\n"
    )
    for _ in range(4):
        subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
