"""Pictures: to scale, legible, self-contained, the same in plain characters; every edge drawn."""

import math
import random
from pathlib import Path
from xml.etree import ElementTree as Xml

import pytest
from click.testing import CliRunner

from assistant.card import Card, card_from_text, default_card
from assistant.card.arithmetic import lengths_kept
from assistant.cli.main import main
from assistant.clutch.conformity import Measured
from assistant.pictures import plain
from assistant.pictures import plain as say
from assistant.pictures.snapshot import PictureError, Stroke, figures_of, today_and_after
from assistant.pictures.svg import HEIGHT, SMALL, WIDTH, bars_svg, chain_svg, stroke_svg
from assistant.quantity import BRAKE_CONTACT, FREE_TRAVEL, GAP
from assistant.record.history import JobHistory
from tests.clutch.rods import BARS
from tests.demo import DEMO, script
from tests.examples import some

HEADING = "UNIT-1042-B of the north yard: pedal stroke"
NS = "{http://www.w3.org/2000/svg}"
RECORD = DEMO / "records" / "first_job.jsonl"
READ = {
    "gap": Measured(0.656, 0.005),
    "clearance": Measured(0.040, 0.001),
    "free-travel": Measured(0.53, 0.01),
    "pedal-height": Measured(8.5, 0.01),
    "total-travel": Measured(8.25, 0.01),
    "brake-contact": Measured(0.1, 0.01),
}
EDGES = [
    {"gap": 0.656, "clearance": 0.04},
    {"gap": 0.9, "clearance": 0.2, "pedal-height": 8.0},
    {"gap": 0.5, "clearance": 0.0, "free-travel": 0.0, "pedal-height": 9.0, "total-travel": 9.0},
    {"gap": 0.02, "clearance": 0.6, "free-travel": 7.0, "pedal-height": 9.0, "total-travel": 6.0},
    {"gap": 1.5, "clearance": 0.01, "pedal-height": 6.0, "brake-contact": 0.0},
    {"gap": 0.53, "clearance": 0.125, "free-travel": 1.5, "pedal-height": 8.5,
     "total-travel": 8.25, "brake-contact": 0.64},
]  # fmt: skip


def readings(values: dict[str, float]) -> dict[str, Measured]:
    return {name: Measured(value, 0.002) for name, value in values.items()}


def drawn(what: str, read: dict[str, Measured], card: Card) -> Xml.Element:
    shots = today_and_after(card, read)
    if what == "chain":
        return Xml.fromstring(chain_svg(shots, card, HEADING).encode())
    return Xml.fromstring(stroke_svg(shots, card, HEADING).encode())


def filled(svg: Xml.Element, fill: str) -> list[tuple[float, float]]:
    """(x, width) of the rectangles with a fill."""
    rects = [r.attrib for r in svg.iter(f"{NS}rect") if r.attrib.get("fill") == fill]
    return [(float(r["x"]), float(r["width"])) for r in rects if "x" in r]


def test_the_stroke_is_to_scale(card: Card) -> None:
    """Widths go as lengths: free, release, brake, and the floor where the pedal height says."""
    read = {**READ, "brake-contact": Measured(0.75, 0.01)}
    svg = drawn("stroke", read, card)
    floor = min(x for x, w in filled(svg, "#111111") if w == 30)
    left = 60.0
    per_in = (floor - left) / 8.5
    release = filled(svg, "url(#release)")[0]
    assert (release[0] - left) / per_in == pytest.approx(0.53, abs=0.01)
    brake = filled(svg, "url(#brake)")[0]
    assert (brake[0] - left) / per_in == pytest.approx(8.5 - 0.75, abs=0.01)
    assert brake[1] / per_in == pytest.approx(8.25 - 7.75, abs=0.01)


def test_the_chain_is_to_scale(card: Card) -> None:
    svg = drawn("chain", READ, card)
    brake = filled(svg, "url(#brake)")[0][0]
    bearing = next(x for x, w in filled(svg, "#c9ced6") if w == 120)
    fork = next(x for x, w in filled(svg, "#ffffff") if w == 44)
    gap, clearance = brake - bearing - 120, bearing - fork - 44
    assert gap / clearance == pytest.approx(0.656 / 0.040, rel=0.02)


@pytest.mark.parametrize("what", ["stroke", "chain"])
@pytest.mark.parametrize("values", EDGES)
@pytest.mark.parametrize("metric", [False, True])
def test_legible_and_on_the_sheet(what: str, values: dict[str, float], metric: bool) -> None:
    """No letters smaller than can be read from 2 m, nothing outside, no text over another."""
    card = card_from_text('[shop]\nunits = "mm"\n', "m.toml") if metric else default_card()
    svg = drawn(what, readings(values), card)
    boxes = []
    for node in svg.iter(f"{NS}text"):
        size = float(node.attrib["font-size"])
        assert size >= SMALL and size / WIDTH >= 0.023
        words = node.text or ""
        wide = 0.60 * size * len(words)  # a little narrow, so that only real clashes count
        x, y = float(node.attrib["x"]), float(node.attrib["y"])
        left = {"start": x, "middle": x - wide / 2, "end": x - wide}[node.attrib["text-anchor"]]
        assert left >= 0 and left + wide <= WIDTH + 1 and size * 0.7 <= y <= HEIGHT, words
        boxes.append((left, y - size * 0.72, left + wide, y, words))
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, (a, b)


RODS = '[linkage]\npedal = "15 in"\nfork = "4-1/2 in"\n' + BARS


def test_rods_and_levers_are_to_scale() -> None:
    """In every position drawn the parts keep their lengths, and one scale holds for all of them."""
    card = card_from_text(RODS, "rods.toml")
    shots = today_and_after(card, readings(EDGES[0]))
    svg = Xml.fromstring(bars_svg(shots, card, "T").encode())
    lengths = []
    for line in svg.iter(f"{NS}line"):
        x1, y1, x2, y2 = (float(line.attrib[k]) for k in ("x1", "y1", "x2", "y2"))
        lengths.append(math.hypot(x2 - x1, y2 - y1))
    parts = [3.0, 14.0, 6.0] * 2 + [3.0, 10.0, 5.0] * 2
    scale = lengths[0] / 3.0
    assert len(shots) == 2 and lengths == pytest.approx([scale * p for p in parts * 2], rel=1e-3)
    assert "the card's geometry" in say.why(shots, card)[0]


def test_without_rods_there_is_no_picture_of_them(card: Card) -> None:
    shots = today_and_after(card, READ)
    with pytest.raises(PictureError, match="picture chain"):
        bars_svg(shots, card, "T")


def test_self_contained_and_not_by_colour_alone(card: Card) -> None:
    for what in ("stroke", "chain"):
        svg = drawn(what, READ, card)
        text = Xml.tostring(svg, "unicode")
        assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
        assert "<image" not in text and "script" not in text
        words = " ".join(t.text or "" for t in svg.iter(f"{NS}text"))
        assert "OUT" in words and "IN" in words and "BRAKE" in words
        assert svg.find(f"{NS}title") is not None and svg.find(f"{NS}desc") is not None


def test_what_is_not_known_is_not_drawn() -> None:
    card = default_card()
    shots = today_and_after(card, readings(EDGES[0]))
    stroke = Stroke(shots[0], card)
    assert stroke.floor_in is None and not stroke.brake_missed
    assert [s.name for s in stroke.stretches] == ["free", "release"]
    assert any("Worked out, not read: free-travel" in line for line in say.why(shots, card))
    with pytest.raises(PictureError, match="gap"):
        today_and_after(card, {"clearance": Measured(0.1)})


def test_a_brake_below_the_end_of_the_pedal_is_said_to_be_missed(card: Card) -> None:
    """The pedal ends a quarter inch above the floor, the brake would come below that."""
    shots = today_and_after(card, READ)
    lines = plain.stroke_lines(shots[:1], card)
    assert lines[0] == "TODAY  BRAKE NOT REACHED"
    assert lines[1].endswith("..|") and "#" not in lines[1]


def test_plain_characters_are_to_scale_and_fit_a_terminal(card: Card) -> None:
    rng = random.Random(4)
    for _ in some(range(200)):
        height = rng.uniform(7, 10)
        values = {
            "gap": rng.uniform(0.3, 0.9), "clearance": rng.uniform(0.01, 0.3),
            "free-travel": rng.uniform(0.2, 3.0), "pedal-height": height,
            "total-travel": height - rng.uniform(0, 1), "brake-contact": rng.uniform(0, 2),
        }  # fmt: skip
        shots = today_and_after(card, readings(values))
        lines = plain.stroke_lines(shots, card) + plain.chain_lines(shots, card)
        assert max(map(len, lines)) <= 100  # the strips themselves are 72
        per_in = plain.WIDTH / max(s.length_in for s in (Stroke(shot, card) for shot in shots))
        assert lines[1].count("_") == pytest.approx(values["free-travel"] * per_in, abs=1)
        row = next(line for line in plain.chain_lines(shots, card) if "[BRG]" in line)
        ratio = row.count("-") / max(1, row.count("."))
        if row.count(".") > 5:
            assert ratio == pytest.approx(values["gap"] / values["clearance"], rel=0.2)


def test_spoken_in_one_breath(card: Card) -> None:
    shots = today_and_after(card, READ)
    said = [say.spoken(s, card) for s in shots]
    assert said[0].startswith("Today: free 17/32 in is out; brake ")
    assert all(len(s.split()) <= 24 for s in said)


def test_figures_are_as_true_as_they_are_short() -> None:
    """On a rule's grid a fraction, else thousandths: 0.040 is no 3/64."""
    assert figures_of(0.5625, "inch") == "9/16 in"
    assert figures_of(0.040, "inch") == "0.040 in"
    assert figures_of(0.040, "mm") == "1.0 mm"


def test_as_left_shows_nothing_that_nobody_read() -> None:
    """A job left half-way through its last readings is not drawn as left: what is not read yet
    would have to be worked out."""
    history = JobHistory.read(RECORD)
    card = card_from_text(history.opened.card.text, "card")
    found, left = (lengths_kept(history.last_read(stage)) for stage in ("found", "final"))
    assert [shot.title for shot in today_and_after(card, found, left)] == ["TODAY", "AS LEFT"]
    for missing in (BRAKE_CONTACT, FREE_TRAVEL, GAP):
        some = {name: value for name, value in left.items() if name != missing}
        titles = [shot.title for shot in today_and_after(card, found, some)]
        assert titles == ["TODAY", "AFTER"]


def test_a_record_is_not_of_today() -> None:
    """Its day stands above, and the readings are as found; called out anew, they are of today."""
    command = ["picture", "--record", str(RECORD)]
    for what in ("stroke", "chain"):
        told = CliRunner().invoke(main, [*command, what]).output
        day = JobHistory.read(RECORD).opened.at[:10]
        assert told.splitlines()[0] == f"T-104, {day}" and "AS FOUND" in told
        assert "TODAY" not in told and "Today" not in told and "As found: free" in told
    assert "TODAY" in CliRunner().invoke(main, [*command, "--gap", "5/8"]).output


@pytest.mark.parametrize("kind", ["cable", "hydraulic"])
def test_what_a_linkage_cannot_have_is_not_asked_for(kind: str) -> None:
    record = RECORD.with_name(f"{kind}_job.jsonl")
    for more in ([], ["--svg", "x.svg"]):
        done = CliRunner().invoke(main, ["picture", "linkage", "--record", str(record), *more])
        assert done.exit_code == 2 and f"a {kind} linkage has no rods to draw" in done.output
        assert "linkage.bar" not in done.output and "lugcall picture chain" in done.output


def test_command_draws_a_record(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["picture", "--record", str(RECORD)])
    assert (
        done.exit_code == 0 and "AS LEFT" in done.output and "As left: free 1-9/16" in done.output
    )
    for what in ("stroke", "chain"):
        out = tmp_path / f"{what}.svg"
        done = CliRunner().invoke(
            main, ["picture", what, "--record", str(RECORD), "--svg", str(out)]
        )
        assert done.exit_code == 0, done.output
        assert Xml.fromstring(out.read_bytes()).tag == f"{NS}svg"


@pytest.mark.parametrize(
    "arguments",
    [["--gap", "21/32"], ["--gap", "x", "--clearance", "1/8"], ["--record", "nothing.jsonl"]],
)
def test_command_refuses_in_one_line(arguments: list[str]) -> None:
    done = CliRunner().invoke(main, ["picture", *arguments])
    assert done.exit_code in (1, 2) and done.output.count("\n") == 1


def test_in_a_job_it_is_said_and_drawn(tmp_path: Path) -> None:
    """Nothing before gap and clearance are read; then one breath, and both pictures below it."""
    lines = script("first_job")
    at = lines.index("tech: forty thou") + 2
    told = ["picture", *lines[:at], "show me the stroke", "where are we"]
    card = str(DEMO / "truck_t104.toml")
    done = CliRunner().invoke(
        main, ["chat", "--card", card, "--records", str(tmp_path)], input="\n".join(told)
    )
    assert "No picture before gap and fork clearance are read." in done.output
    after = done.output.split("tech: show me the stroke")[1]
    assert after.splitlines()[1].endswith(
        "Today: free 17/32 in is out; brake 1/32 in is out; gap 21/32 in is out."
    )
    assert "\nTODAY\n" in after and "[BRG]" in after and "AFTER" in after
    assert "brake 1/32 in OUT (1/2 to 1 in high)" in after, "as it was read"
    assert "4 of 9" in after, "the step is where it was"
