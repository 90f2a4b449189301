"""One live job on several screens: stale touches, lost links, two cabs, a restart."""

import asyncio
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path

import orjson
import pytest

from assistant.conversation import Session
from assistant.screens.bay import _LOOK_S, SILENT_S, STALL_S, Bay, Screen
from assistant.screens.bays import Bays
from assistant.screens.view import WORDS, cab_view
from tests.conversation.test_session import FIRST
from tests.demo import CARDS, played, shipped
from tests.screens.conftest import until


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def in_bay(folder: Path, at: str, work: Callable[[Bay, Clock], Awaitable[None]]) -> None:
    """Do something with the demo job, live at a step."""
    path, dialogs = folder / f"{until(at, folder)}.jsonl", shipped()
    session, said = Session.resume(path, dialogs)
    while session.job.asking:
        said = session.hear(session.job.whose(), FIRST[session.job.asking])

    async def run() -> None:
        clock = Clock()
        bay = Bay("job", session, said, lambda: Session.resume(path, dialogs), clock)
        watch = asyncio.create_task(bay.watch())
        try:
            await work(bay, clock)
        finally:
            watch.cancel()
            await bay.close()

    asyncio.run(run())


async def to_the_turn(bay: Bay) -> None:
    """From a resumed hold back to where the ring may be turned."""
    for who, words in (
        ("tech", "clear"),
        ("tech", "carry on"),
        ("tech", "key's on me"),
        ("tech", "clear"),
        ("helper", "holding"),
    ):
        await bay.hear(who, words)
    assert bay.conversation.dialogue.danger().held, bay.conversation.dialogue.at


def last(bay: Bay, role: str = "tech") -> dict:
    return orjson.loads(bay.messages[-1].texts[role])


@pytest.mark.parametrize("job", sorted(CARDS))
def test_every_moment_of_a_job_has_one_word(job: str, tmp_path: Path) -> None:
    """HOLD wherever the pedal must stay down, RELEASE only where the helper is told to, and the
    touches beside it are words that are taken then."""
    for session, *_ in played(job, tmp_path):
        view, danger = cab_view(session.job), session.job.danger()
        assert view["word"] in WORDS
        if danger.held:
            assert view["word"] in ("hold", "stop", "release")
        if view["word"] == "press":
            assert danger.pedal
        if view["word"] == "release":
            assert danger.releasing
        if view["word"] in ("wait", "foot", "turn"):
            assert not (danger.held or danger.pedal)
        if session.job.whose() == "helper" and not session.job.finished:
            assert view["word"] != "wait", session.job.at
        assert view["safe"] == ("hold" if danger.pedal or danger.held else "wait")
        for answer in view["answers"]:
            meant = session.understood(answer["words"], "helper")
            assert getattr(meant, "meaning", "") == answer["means"]


def test_the_bench_shows_the_next_number_and_the_last_reading(tmp_path: Path) -> None:
    """What waits for its check, else the number that the prompt begins with; and what the last
    reading was understood as, also once it is taken."""

    async def turned(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        assert last(bay)["view"]["figure"] == "5 lugs tighter in all"

    async def read(bay: Bay, clock: Clock) -> None:
        assert last(bay)["view"]["figure"] == "" and last(bay)["view"]["last"] == {}
        await bay.hear("tech", "nine sixteenths shy")
        seen = {"words": "nine sixteenths shy", "as": "just under 9/16 in"}
        assert last(bay)["view"]["figure"] == seen["as"] and last(bay)["view"]["last"] == seen
        await bay.hear("tech", "check")
        assert last(bay)["view"]["figure"] == "" and last(bay)["view"]["last"] == seen

    in_bay(tmp_path, "found_gap", read)
    for record in tmp_path.iterdir():
        record.unlink()
    in_bay(tmp_path, "ring_turn", turned)


def test_a_touch_on_an_old_word_counts_nothing_but_stop_does(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        old = bay.n
        await bay.hear("tech", "5 lugs")
        before = bay.n
        assert await bay.hear("helper", "released", about=old) == "late"
        assert bay.n == before and bay.conversation.dialogue.danger().held
        assert await bay.hear("helper", "stop", about=old) == ""
        assert bay.conversation.dialogue.stopped
        assert last(bay, "helper")["view"]["word"] == "stop"

    in_bay(tmp_path, "ring_turn", work)


def test_a_cab_that_falls_silent_in_a_hold_gets_hands_out(tmp_path: Path) -> None:
    """Within two seconds; no count is taken before the helper has answered."""

    async def work(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        cab = Screen("helper", "phone")
        await bay.join(cab)
        await asyncio.sleep(0.3)
        assert bay.cab_state != "lost"
        clock.now += SILENT_S + STALL_S
        await asyncio.sleep(0.3)
        assert bay.cab_state == "lost"
        told = [
            (one["signal"], one["text"]) for one in last(bay)["said"] if one.get("cue") == "STOP"
        ]
        assert told and told[0][0] == "DANGER" and told[0][1].startswith("HANDS OUT")
        n = bay.n
        await bay.hear("tech", "5 lugs")
        assert bay.conversation.dialogue.pending is None
        assert not any("5 lugs" in one["text"] for m in bay.messages if m.n > n
                       for one in orjson.loads(m.texts["tech"])["said"])  # fmt: skip
        await bay.join(Screen("helper", "phone"))
        await bay.hear("helper", "holding")
        assert bay.conversation.dialogue.danger().held

    in_bay(tmp_path, "ring_turn", work)


def test_outside_a_hold_a_lost_link_is_told_and_moves_nothing(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        cab = Screen("helper", "phone")
        await bay.join(cab)
        at = bay.conversation.dialogue.at
        clock.now += SILENT_S + 1
        await asyncio.sleep(0.3)
        assert bay.cab_state == "lost" and bay.conversation.dialogue.at == at
        assert not bay.conversation.dialogue.stopped
        cab.heard_s, cab.seen = clock.now, bay.n + 1  # it was slow, and answers again
        await asyncio.sleep(0.3)
        assert bay.cab_state == "shows"

    in_bay(tmp_path, "found_gap", work)


def test_a_second_cab_takes_over_and_in_a_hold_that_is_no_certainty(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        first, second = Screen("helper", "one"), Screen("helper", "two")
        await bay.join(first)
        await bay.join(second)
        assert bay.moved(first) and not bay.moved(second)
        assert any("HANDS OUT" in one["text"] for one in last(bay)["said"])
        again = Screen("helper", "two")  # the same page, connected again
        n = bay.n
        await bay.join(again)
        assert bay.n == n and not bay.moved(again)

    in_bay(tmp_path, "ring_turn", work)


def test_what_was_missed_is_sent_again_oldest_first(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        seen = bay.n
        for _ in range(3):
            await bay.hear("tech", "say again")
        assert [m.n for m in bay.owed(seen)] == [seen + 1, seen + 2, seen + 3]
        await asyncio.gather(*(bay.hear("tech", "say again") for _ in range(80)))
        owed = bay.owed(seen)
        assert owed[-1].n == bay.n and len(owed) == 50

    in_bay(tmp_path, "found_gap", work)


def test_a_fault_of_ours_stops_the_job_and_the_record_takes_it_up_again(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        kept = len(bay.conversation.journal.events)
        bay.conversation.take = lambda meant: 1 / 0
        assert await bay.hear("tech", "5 lugs") == "unkept" and bay.broken
        bench, cab = last(bay), last(bay, "helper")
        assert [one["text"] for one in bench["said"] if one.get("signal") == "DANGER"] == [
            "HANDS OUT. The pedal is not certain."
        ]
        assert cab["view"]["word"] == "stop" and not cab["view"]["answers"]
        assert "fault of lugcall" in bench["view"]["now"]
        for one in ("join", "turn"):  # nothing else moves it meanwhile
            n = bay.n
            await (bay.join(Screen("helper", "b")) if one == "join" else bay.turn(lambda: 1 / 0))
            assert bay.n == n
        assert await bay.hear("tech", bench["view"]["answers"][0]["words"]) == ""
        assert bay.conversation.dialogue.stopped and not bay.broken
        assert len(bay.conversation.journal.events) == kept + 1
        assert "HANDS OUT" in " ".join(one["text"] for one in last(bay)["said"])

    in_bay(tmp_path, "ring_turn", work)


def test_a_restart_takes_every_job_up_again_and_trusts_no_pedal(tmp_path: Path) -> None:
    name = until("ring_turn", tmp_path)

    async def life() -> Bay:
        bays = Bays(tmp_path, shipped())
        async with bays.running():
            bay = await bays.open(name)
            assert bay is await bays.open(name)
            return bay

    for _ in range(2):
        bay = asyncio.run(life())
        assert bay.conversation.dialogue.stopped
        assert orjson.loads(bay.messages[0].texts["helper"])["view"]["word"] == "stop"
        assert any(
            "HANDS OUT" in one["text"]
            for one in orjson.loads(bay.messages[0].texts["tech"])["said"]
        )


def told(bay: Bay, role: str = "helper") -> str:
    """All that the newest message says to one of the two."""
    return " ".join(one["text"] for one in last(bay, role)["said"])


def cab(bay: Bay) -> dict:
    return last(bay, "helper")["view"]


def means(bay: Bay) -> list[str]:
    """What the touches of the cab mean now."""
    return [one["means"] for one in cab(bay)["answers"]]


def test_after_lost_the_cab_shows_what_was_said(tmp_path: Path) -> None:
    """One instruction for eye and ear; and a "holding" that does not count is answered."""

    async def work(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        await bay.hear("helper", "i lost it", about=bay.n)
        assert cab(bay)["word"] == "stop" and cab(bay)["line"] == told(bay)
        before = cab(bay)
        await bay.hear("helper", "holding", about=bay.n)
        assert cab(bay) != before and "Heard" in cab(bay)["line"] and "stopped" in cab(bay)["line"]
        assert bay.conversation.dialogue.stopped
        await bay.hear("helper", "released", about=bay.n)
        assert "Foot off" in cab(bay)["line"] and "Pedal up" in told(bay)

    in_bay(tmp_path, "ring_turn", work)


def test_a_stop_of_the_cab_is_not_undone_on_the_bench(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await bay.hear("helper", "stop", about=bay.n)
        await bay.hear("tech", "carry on", about=bay.n)
        assert bay.conversation.dialogue.stopped and cab(bay)["word"] == "stop"
        assert "Say ready" in cab(bay)["line"] and "ready" in means(bay)
        await bay.hear("helper", "ready", about=bay.n)
        assert "ready" not in means(bay)
        await bay.hear("tech", "carry on", about=bay.n)
        assert not bay.conversation.dialogue.stopped

    in_bay(tmp_path, "found_gap", work)


def test_no_press_on_the_cab_before_the_bench_has_warned(tmp_path: Path) -> None:
    """Till a bench has painted that the pedal will move, the cab is sent another word."""

    async def work(bay: Bay, clock: Clock) -> None:
        bench = Screen("tech", "bench")
        await bay.join(bench)
        await bay.join(Screen("helper", "phone"))
        await bay.hear("helper", "8.5 in")
        asked = bay.messages[-1]
        assert cab(bay)["word"] == "turn" and "Press" in cab(bay)["line"]
        assert "PEDAL WILL MOVE" in last(bay)["view"]["warn"]
        before = orjson.loads(asked.unwarned)
        assert before["view"]["word"] == "wait" and before["n"] == asked.n and not before["said"]
        assert "Press" not in before["view"]["line"]
        assert not bay.warned(asked)
        bay.acknowledged(bench, asked.n - 1, 0, 0)
        assert not bay.warned(asked)
        bay.acknowledged(bench, asked.n, 0, 0)
        assert bay.warned(asked)

    in_bay(tmp_path, "found_height", work)


@pytest.mark.parametrize("words", ["say again", "lovely day", "yes", "blorp", "note it squeaks"])
@pytest.mark.parametrize("at", ["found_height", "found_gap", "ring_turn"])
def test_whatever_is_typed_is_answered_on_its_own_page(tmp_path: Path, at: str, words: str) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        if at == "ring_turn":
            await to_the_turn(bay)
        for who in ("helper", "tech"):
            assert await bay.hear(who, words) != "" or told(bay, who)

    in_bay(tmp_path, at, work)


def test_a_yes_of_the_helper_s_to_what_the_technician_is_asked(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        await bay.hear("tech", "8 lugs")
        await bay.hear("helper", "yes")
        assert "Only the technician" in told(bay) and "Check?" not in cab(bay)["line"]

    in_bay(tmp_path, "ring_turn", work)


def test_what_the_technician_says_is_not_shown_as_the_helper_s(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await bay.hear("tech", "not sound")
        assert bay.conversation.dialogue.at == "repair"
        assert "repaired" not in cab(bay)["line"] + told(bay) and "Wait" in cab(bay)["line"]
        assert "repaired" in last(bay)["view"]["now"]

    in_bay(tmp_path, "look_inside", work)


def test_press_and_keep_down_are_two_words_and_stop_is_beside_both(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        back = (("clear", "stop"), ("carry on", "hold"), ("key's on me", "hold"))
        for words, wanted in (*back, ("clear", "press")):
            await bay.hear("tech", words)
            assert cab(bay)["word"] == wanted
        assert {"holding", "stop", "repeat"} <= {*means(bay)} and cab(bay)["safe"] == "hold"
        assert "PEDAL WILL MOVE" in last(bay)["view"]["warn"]
        await bay.hear("helper", "holding")
        assert cab(bay)["word"] == "hold" and {"lost", "stop", "repeat"} <= {*means(bay)}
        assert last(bay)["view"]["warn"] == ""
        await bay.hear("helper", "say again", about=bay.n)
        assert cab(bay)["line"] in told(bay) and bay.conversation.dialogue.danger().held

    in_bay(tmp_path, "ring_turn", work)


def test_a_reading_on_the_cab_has_its_unit_and_is_his_to_check(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await bay.hear("helper", "foot off")
        assert (cab(bay)["asks"], cab(bay)["unit"]) == ("pedal-height", "in")
        await bay.hear("helper", "correct pedal height 8.5 in")
        if bay.conversation.dialogue.pending is not None:
            assert cab(bay)["word"] == "turn" and {"check", "no"} <= {*means(bay)}

    in_bay(tmp_path, "found_height", work)


def test_heard_is_gone_after_the_next_step(tmp_path: Path) -> None:
    async def work(bay: Bay, clock: Clock) -> None:
        await bay.hear("tech", "nine sixteenths shy")
        await bay.hear("tech", "check")
        assert last(bay)["view"]["last"]
        await bay.hear("tech", "say again")
        assert last(bay)["view"]["last"] == {}

    in_bay(tmp_path, "found_gap", work)


def test_hands_out_waits_for_no_disk(tmp_path: Path) -> None:
    """A cab is missed well within 2 s of its last beat, and every bench is told so with a beat,
    also while the record is slow."""
    assert SILENT_S + STALL_S + _LOOK_S < 1.8

    async def work(bay: Bay, clock: Clock) -> None:
        await to_the_turn(bay)
        bench, phone = Screen("tech", "bench"), Screen("helper", "phone")
        await bay.join(bench)
        await bay.join(phone)
        bench.news.clear()
        slow, notice = threading.Event(), bay.conversation.notice
        bay.conversation.notice = lambda *a, **k: (slow.wait(5), notice(*a, **k))[1]
        clock.now += SILENT_S + STALL_S
        await asyncio.wait_for(bench.news.wait(), 0.5)
        assert orjson.loads(bay.beat(bench))["cab"] == "lost" and last(bay)["view"]["down"]
        slow.set()

    in_bay(tmp_path, "ring_turn", work)
