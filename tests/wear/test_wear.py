"""Wear: the model against outside libraries, ranges against known truth, records to sentences."""

import json
import math
import random
import re
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from assistant.card import Card
from assistant.cli.main import main
from assistant.clutch.conformity import Measured
from assistant.conversation import Session, split_speaker
from assistant.record import Journal
from assistant.texts.dialogs import Dialogs
from assistant.wear import say
from assistant.wear.outlook import (
    chance_used_up,
    days_until,
    miles_until,
    outlook,
    rate_range,
    usage_of,
)
from assistant.wear.rate import FleetRate, RatePoint, of_truck, restricted, sums
from assistant.wear.visits import Interval, Visit, intervals_of, visits_in
from tests import demo
from tests.wear.fleet import LIMIT_IN, Fleet, Score, simulate

START = datetime(2025, 1, 6, 8, 0, tzinfo=UTC)


def rate_of(fleet: dict[str, list[Interval]], unit: str) -> list[RatePoint]:
    return FleetRate.of_fleet(fleet).of(fleet[unit])


def test_likelihood_and_shrinkage_by_plain_matrices() -> None:
    np = pytest.importorskip("numpy")
    rng = random.Random(7)
    fleet = {
        str(t): [
            Interval(rng.uniform(1, 6), rng.uniform(0, 0.5), rng.uniform(0.01, 0.05))
            for _ in range(t + 1)
        ]
        for t in range(4)
    }
    tau, omega = 0.03, 0.015
    log = information = pull = 0.0
    blocks = []
    for items in fleet.values():
        x = np.array([i.way for i in items])
        y = np.array([i.lost_in for i in items])
        v = np.diag([i.u_in**2 + (omega * i.way) ** 2 for i in items]) + tau**2 * np.outer(x, x)
        inverse = np.linalg.inv(v)
        information += x @ inverse @ x
        pull += x @ inverse @ y
        blocks.append((x, y, v, inverse))
    beta = pull / information
    for x, y, v, inverse in blocks:
        log -= 0.5 * (np.linalg.slogdet(v)[1] + (y - beta * x) @ inverse @ (y - beta * x))
    log -= 0.5 * math.log(information)
    each = [sums(items, omega) for items in fleet.values()]
    ours = restricted(each, tau)
    assert ours == pytest.approx((log, beta, 1 / information))
    for own, (x, y, _, inverse) in zip(each, blocks, strict=True):
        mean, var = of_truck(own, tau, ours[1], ours[2])
        assert mean == pytest.approx(beta + tau**2 * x @ inverse @ (y - beta * x))
        share = 1 - tau**2 * x @ inverse @ x
        assert var == pytest.approx(tau**2 * share + share**2 / information)


def test_miles_as_drawn_at_random() -> None:
    rng = random.Random(3)
    nodes = [RatePoint(0.7, 0.08, 0.02**2, 0.01), RatePoint(0.3, 0.10, 0.03**2, 0.02)]
    left = Measured(0.4, 0.02)
    drawn = []
    while len(drawn) < 40_000:
        node = nodes[0] if rng.random() < 0.7 else nodes[1]
        rate = rng.gauss(node.mean, math.hypot(math.sqrt(node.var), node.omega))
        if rate > 0.0:
            drawn.append(rng.gauss(left.value_in, left.u_in) / rate)
    for way in (3.0, 5.0, 8.0):
        share = sum(d <= way for d in drawn) / len(drawn)
        assert chance_used_up(nodes, left, way) == pytest.approx(share, abs=0.01)
    drawn.sort()
    until = miles_until(nodes, left)
    assert until.low == pytest.approx(drawn[len(drawn) // 10] * 1e4, rel=0.03)
    assert until.high == pytest.approx(drawn[len(drawn) * 9 // 10] * 1e4, rel=0.05)


def test_ranges_hold_the_truth_about_four_times_in_five() -> None:
    """A small backtest with known truth; the whole one is tests/benchmarks/bench_wear.py.

    360 ranges: 80 % held has a standard deviation of 2 to 3 %, trucks of a fleet hanging together.
    """
    rng = random.Random(20)
    score = Score()
    for _ in range(60):
        visits, truths = simulate(Fleet(trucks=6), rng)
        fleet, _ = intervals_of(visits)
        for truth in truths:
            last = max((v for v in visits if v.unit == truth.unit), key=lambda v: v.at)
            nodes = rate_of(fleet, truth.unit)
            if nodes and last.left is not None and last.miles is not None:
                until = miles_until(nodes, last.left.shifted(-LIMIT_IN))
                score.count(until.low, until.high, truth.odometer - last.miles)
    assert score.all >= 350
    assert 0.72 <= score.share <= 0.88, score
    assert score.before > 10 and score.after > 10, "wrong on both sides, not on one"


def test_a_short_history_leans_on_the_fleet_and_a_long_one_on_itself() -> None:
    """One interval of a fast truck: between its own rate and the fleet's; ten: at its own."""
    slow = {str(i): [Interval(4.0, 0.2 + 0.01 * (i % 3), 0.05)] * 3 for i in range(8)}

    def rate(count: int) -> float:
        nodes = rate_of({**slow, "fast": [Interval(4.0, 0.48, 0.05)] * count}, "fast")
        return sum(n.weight * n.mean for n in nodes)

    assert rate(0) == pytest.approx(0.0525, abs=0.005)
    assert rate(0) + 0.01 < rate(1) < rate(3) < rate(10) == pytest.approx(0.12, abs=0.004)
    assert rate(1) < 0.115, "one interval is not believed whole"


def test_more_history_narrows_the_range_and_none_gives_none() -> None:
    width = []
    for count in (1, 3, 12):
        rng = random.Random(5)
        items = [Interval(4.0, 0.32 + rng.gauss(0, 0.02), 0.02) for _ in range(count)]
        span = rate_range(rate_of({"a": items}, "a"))
        assert span.high is not None and span.low < 0.08 < span.high
        width.append(span.high - span.low)
    assert width == sorted(width, reverse=True)
    assert rate_of({"a": []}, "a") == []


def test_no_wear_seen_has_no_end_in_sight() -> None:
    nodes = rate_of({"a": [Interval(2.0, 0.0, 0.02)] * 2}, "a")
    until = miles_until(nodes, Measured(0.4, 0.01))
    assert until.low > 20_000 and (until.high is None or until.high > 200_000)


def test_at_the_limit_already() -> None:
    nodes = rate_of({"a": [Interval(4.0, 0.3, 0.02)] * 3}, "a")
    until = miles_until(nodes, Measured(-0.1, 0.01))
    assert until.low == 0.0 and until.high == 0.0


def visit(miles: float | None, found: float, left: float, day: int, **more: Any) -> Visit:
    gap = more.pop("gap", (0.6, 0.52))
    fields: dict[str, Any] = {
        "unit": "A", "at": START + timedelta(days=day), "miles": miles,
        "found": Measured(found, 0.01), "left": Measured(left, 0.01),
        "gap_found": Measured(gap[0], 0.005), "gap_left": Measured(gap[1], 0.005), "lugs": 3,
        "low_in": LIMIT_IN, "kind": ("non-synchronized", "rod", "manual"), "lug_in": 0.027,
        "distance": "miles", "name": f"day {day}",
    }  # fmt: skip
    return Visit(**{**fields, **more})


def test_adjustments_in_between_drop_out() -> None:
    visits = [
        visit(100_000, 0.5, 1.5, 0),
        visit(140_000, 1.1, 1.9, 100),
        visit(160_000, 1.7, 1.5, 150),
    ]
    fleet, notes = intervals_of(visits)
    assert [(i.way, round(i.lost_in, 6)) for i in fleet["A"]] == [(4.0, 0.4), (2.0, 0.2)]
    assert not notes
    gaps, _ = intervals_of(visits, by_gap=True)
    assert [round(i.lost_in, 6) for i in gaps["A"]] == [0.08, 0.08]


@pytest.mark.parametrize(
    ("second", "note"),
    [
        (visit(None, 1.1, 1.5, 90), "no odometer"),
        (visit(90_000, 1.1, 1.5, 90), "went back"),
        (visit(100_100, 1.1, 1.5, 90), "under 500 miles"),
        (visit(140_000, 2.5, 1.5, 90), "changed elsewhere"),
    ],
)
def test_what_says_nothing_of_wear_is_left_out_and_told(second: Visit, note: str) -> None:
    fleet, notes = intervals_of([visit(100_000, 0.5, 1.5, 0), second])
    assert fleet["A"] == [] and len(notes) == 1 and note in notes[0]
    look = outlook([visit(100_000, 0.5, 1.5, 0), second], "A")
    assert look is not None and look.miles is None and say.reply_of(look) is None
    assert any(note in line for line in say.why(look))


def test_dates_follow_the_truck_s_own_miles_a_day() -> None:
    """400 miles a day: a year is about 146,000 miles; a spread in use widens the dates."""
    visits = [(START + timedelta(days=100 * i), 40_000.0 * i) for i in range(4)]
    usage = usage_of(visits)
    assert usage is not None and usage.miles_a_day == pytest.approx(400)
    nodes = [RatePoint(1.0, 0.08, 1e-8, 0.0)]
    days = days_until(nodes, Measured(0.4, 1e-6), usage)
    miles = miles_until(nodes, Measured(0.4, 1e-6))
    assert miles.low == pytest.approx(50_000, rel=0.01)
    assert days.high is not None and days.low < 125 < days.high
    assert usage_of(visits[:1]) is None


def test_lugs_and_lining_only_when_the_ring_is_known() -> None:
    visits = [visit(100_000 + 40_000 * i, 1.1, 1.5, 100 * i) for i in range(3)]
    look = outlook(visits, "A")
    assert look is not None and look.lugs_left is None and look.lining is None
    assert any("how many lugs" in text for text in look.unknown) and look.lugs_used == 9
    known = outlook(visits, "A", ring_lugs=15)
    assert known is not None and known.lugs_left == 6 and known.lining is not None
    by_card = outlook([visits[0], replace(visits[1], ring_lugs=15), *visits[2:]], "A")
    assert by_card is not None and by_card.lugs_left == 6 and by_card.lining == known.lining
    again = outlook([replace(v, ring_lugs=15) for v in visits], "A", ring_lugs=40)
    assert again is not None and again.lugs_left == 31  # who asks with a number of his own gets it
    own = [replace(v, kind=(*v.kind[:2], "self-adjusting"), ring_lugs=15) for v in visits]
    assert (none := outlook(own, "A")) is not None and none.lugs_left is None
    assert not any("lugs" in text for text in none.unknown)
    # 6 lugs of 0.027 in, 0.08 in of gap every 40,000 miles: about 81,000 miles from 180,000.
    assert known.lining.low < 180_000 + 81_000 < (known.lining.high or math.inf)


def test_other_kinds_of_truck_do_not_count() -> None:
    other = [
        visit(
            100_000 + 40_000 * i,
            0.7,
            1.9,
            100 * i,
            unit="H",
            kind=("synchronized", "hydraulic", "manual"),
        )
        for i in range(4)
    ]
    mine = [visit(100_000, 1.1, 1.5, 0)]
    look = outlook([*other, *mine], "A")
    assert look is not None and look.others == 0 and look.rate is None


def finished(folder: Path, unit: str, miles: int, found: float, left: float, day: int) -> None:
    """A signed-off record with the lines that wear is read from."""

    def taken(value: float, quantity: str) -> dict[str, Any]:
        return {"stage": "final", "quantity": quantity, "value_in": value, "low_in": value - 1 / 64,
                "high_in": value + 1 / 64, "figures": f"{value} in"}  # fmt: skip

    odometer = {"stage": "found", "quantity": "odometer", "count": float(miles), "kind": "miles",
                "value_in": None, "low_in": None, "high_in": None,
                "figures": f"{miles:,} miles"}  # fmt: skip
    at = START + timedelta(days=day)
    opened = {"unit": unit, "card": {"text": '[ring]\nlug = "0.027 in"\n'},
              "figures": {"free-travel": {"low_in": 1.125, "high_in": 2.0}}}  # fmt: skip
    journal = Journal.create(folder, unit, opened, lambda: at)
    journal.append("closed", {
        "as_found": {"free-travel": taken(found, "free-travel"), "gap": taken(0.62, "gap"),
                     "odometer": odometer},
        "as_left": {"free-travel": taken(left, "free-travel"), "gap": taken(0.53, "gap")},
        "lugs": 3, "lugs_by_gap": 3, "code": "12", "ring_moves": [], "linkage": [], "doubts": [],
        "notes": [],
    })  # fmt: skip
    journal.close()


@pytest.fixture(autouse=True)
def own_index(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LUGCALL_INDEX", str(tmp_path / "index"))


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Three trucks; T-1 has been in three times."""
    for i in range(3):
        finished(tmp_path, "T-1", 300_000 + 40_000 * i, 1.125 + 0.03125 * i, 1.5, 100 * i)
        finished(tmp_path, "T-2", 200_000 + 30_000 * i, 1.25, 1.5, 90 * i)
    finished(tmp_path, "T-3", 100_000, 1.0, 1.5, 5)
    return tmp_path


def test_command_gives_ranges(shop: Path) -> None:
    done = CliRunner().invoke(main, ["due", str(shop)])
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert len(lines) == 3
    for line in lines:
        spans = re.search(r"due between ([\d,]+) and ([\d,]+) miles\.", line)
        assert spans is not None, line
        low, high = (int(x.replace(",", "")) for x in spans.groups())
        assert low < high
    assert re.search(r"20\d\d to \w+ 20\d\d", lines[0]) and "20" not in lines[2].split("miles.")[1]


def test_command_why_and_json(shop: Path) -> None:
    done = CliRunner().invoke(main, ["due", str(shop), "--unit", "T-1", "--why"])
    assert "shrunk toward 1 similar truck;" in done.output.replace(", shrunk", " shrunk")
    assert "Unknown: lugs and lining left" in done.output
    done = CliRunner().invoke(main, ["due", str(shop), "--json", "--ring-lugs", "20"])
    objects = [json.loads(line) for line in done.output.splitlines()]
    assert [o["unit"] for o in objects] == ["T-1", "T-2", "T-3"]
    assert objects[0]["lugs_left"] == 11 and objects[0]["due_miles"][0] > 380_000
    assert objects[2]["lining_miles"][1] > objects[2]["lining_miles"][0]


def test_a_changed_record_is_left_out_and_named(shop: Path) -> None:
    path = next(p for p in shop.glob("*.jsonl") if b'"unit":"T-3"' in p.read_bytes())
    path.write_bytes(path.read_bytes().replace(b'"lugs":3,', b'"lugs":4,'))
    visits, problems = visits_in(shop)
    assert all(v.unit != "T-3" for v in visits) and path.name in problems[0]


@pytest.mark.fleet
def test_command_looks_into_subfolders_and_counts_copies_once(shop: Path) -> None:
    """A bay's own folder is read too; a copy changes nothing; hidden folders are passed over."""
    command = ["due", str(shop), "--json"]
    before = CliRunner().invoke(main, command).output
    paths = sorted(shop.glob("*.jsonl"))
    bay, hidden = shop / "bay-2", shop / ".trash"
    bay.mkdir()
    hidden.mkdir()
    shutil.copy(paths[0], bay / "copy.jsonl")
    (hidden / "torn.jsonl").write_bytes(b"{")
    assert CliRunner().invoke(main, command).output == before
    for path in paths:
        path.rename(bay / path.name)
    assert CliRunner().invoke(main, command).output == before
    (bay / "odd.jsonl").write_bytes(b"{}\n")
    done = CliRunner().invoke(main, command)
    assert done.stdout == before and str(Path("bay-2", "odd.jsonl")) in done.stderr
    assert visits_in(shop) == ([], [])


@pytest.mark.parametrize(
    ("arguments", "code"), [(["nowhere"], 2), ([".", "--unit", "T-9"], 3), ([".", "--no"], 2)]
)
def test_command_refuses_in_one_line(arguments: list[str], code: int, tmp_path: Path) -> None:
    """That it is not known yet is no wrong question: another exit code."""
    arguments[0] = str(tmp_path / arguments[0])
    done = CliRunner().invoke(main, ["due", *arguments])
    assert done.exit_code == code and done.output.count("\n") == (4 if "--no" in arguments else 1)


def test_an_empty_folder_says_so(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["due", str(tmp_path)])
    assert done.exit_code == 3 and "no finished record" in done.output


def play_first(session: Session, until: str) -> list[str]:
    """The demo job up to a step, but that nobody saw the ring; texts of the last turn."""
    said: list[str] = []
    for line in demo.script("first_job"):
        if session.job.at == until:
            break
        line = "tech: can't see it" if session.job.at == "found_ring_left" else line
        if session.job.at == "found_gap" and not session.job.pending and "check" in line:
            continue
        said = [s.text for s in session.hear(*split_speaker(line))]
    return said


def test_at_sign_off_the_job_says_when_it_is_due(
    card: Card, dialogs: Dialogs, tmp_path: Path
) -> None:
    """With history, before the question; "why" gives the reasons; the step does not move."""
    for i in range(3):
        finished(tmp_path, "T-1", 290_000 + 40_000 * i, 1.125, 1.5, 100 * i)
    session, _ = Session.begin(card, dialogs, tmp_path)
    said = play_first(session, "next_due")
    assert said[-1].startswith("Next check at what odometer")
    assert any(
        re.match(r"By its wear, due between 4\d\d,000 and 4\d\d,000 miles\.", t) for t in said
    )
    assert any(re.match(r"That is \w+ 20\d\d", t) for t in said)
    reasons = [s.text for s in session.hear("tech", "why")]
    assert any("adjustments in between are taken out" in t for t in reasons)
    assert session.job.at == "next_due"
    assert not any("left on the ring" in t for t in said)
    path = session.journal.path
    session.close()
    again, resumed = Session.resume(path, dialogs)
    assert any("By its wear" in s.text for s in resumed)
    again.close()


def test_at_sign_off_the_card_tells_the_lugs_left(
    card: Card, dialogs: Dialogs, tmp_path: Path
) -> None:
    """Three lugs in each record before, the demo's own besides, of the card's eighteen."""
    lugs = replace(card, text=card.text.replace("[ring]", "[ring]\nlugs = 18"))
    session, _ = Session.begin(lugs, dialogs, tmp_path / "alone")
    said = play_first(session, "next_due")
    own = session.job.facts.plans.lugs_by_gap()
    assert f"At most {18 - own} lugs left on the ring: nobody looked." in said
    assert any("Lugs used since" in s.text for s in session.hear("tech", "why"))
    session.close()
    for i in range(3):
        finished(tmp_path, "T-1", 290_000 + 40_000 * i, 1.125, 1.5, 100 * i)
    session, _ = Session.begin(lugs, dialogs, tmp_path)
    said = play_first(session, "next_due")
    assert f"At most {18 - 9 - own} lugs left on the ring: nobody looked." in said
    assert any("By its wear, due between" in t for t in said)
    session.close()


def test_without_history_nothing_is_said(session: Session) -> None:
    assert not any("wear" in t for t in play_first(session, "next_due")[:-1])
    session.close()


def test_every_reply_fits_one_breath(dialogs: Dialogs) -> None:
    blanks = {"low": "1,448,000", "high": "1,476,000", "unit": "kilometres",
              "dates": "September 2027 to November 2028", "lugs": "15 lugs"}  # fmt: skip
    for key in ("due_range", "due_open", "due_now", "due_dates", "due_lugs", "due_lugs_most"):
        assert len(dialogs.say(key, **blanks).split()) <= 12
