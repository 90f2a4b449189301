"""A record as people read it: who said what and when, what it was taken for, what was answered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from assistant.record.events import Event, RecordError

_WHO = {"tech": "TECH", "helper": "HELPER", "both": "BOTH"}
_NAMES = {
    "gap": "gap",
    "clearance": "fork clearance",
    "free-travel": "free travel",
    "pedal-height": "pedal height",
    "total-travel": "total travel",
    "brake-contact": "brake contact",
    "odometer": "odometer",
}


def transcript(events: Sequence[Event], problem: str | None = None) -> Iterator[str]:
    """The lines of a record's transcript, from `verify.read_events`.

    Control characters are shown, not obeyed: a note must not repaint the lead's screen.

    Raises:
        RecordError: an event holds what lugcall does not write.
    """
    try:
        for line in _lines(events, problem):
            yield "".join(c if c.isprintable() else repr(c)[1:-1] for c in line)
    except (KeyError, TypeError, AttributeError, ValueError):
        raise RecordError(
            "The record holds what lugcall does not write. Do not rely on it."
        ) from None


def _lines(events: Sequence[Event], problem: str | None) -> Iterator[str]:
    for event in events:
        if event.kind == "opened":
            yield from _opened(event)
        elif event.kind == "turn":
            yield from _turn(event)
        elif event.kind == "unheard":
            yield from _unheard(event)
        elif event.kind == "notice":
            yield from _said(event)
        elif event.kind == "repaired":
            yield f"{_clock(event)}  -- a torn last line was cut off and the record went on --"
        elif event.kind == "closed":
            yield ""
            yield from _closed(event)
        elif event.kind.startswith("lead-"):
            yield _lead(event)
        else:
            yield f"{_clock(event)}  -- {event.kind} --"
    yield ""
    if problem:
        yield f"DAMAGED HERE, nothing after this can be relied on: {problem}"
    elif not any(e.kind == "closed" for e in events):
        yield "NOT SIGNED OFF. lugcall resume carries on."


def _lead(event: Event) -> str:
    """An act of the lead, with its date: it may come weeks after the job."""
    data = event.data
    about = f" ({data['about']})" if data.get("about") else ""
    text = f": {data['text']}" if data.get("text") else ""
    act = event.kind.removeprefix("lead-").upper()
    return f"{event.at[:19]}  LEAD {data.get('lead') or '(no code)'} {act}{about}{text}"


def _clock(event: Event) -> str:
    return event.at[11:19]


def _opened(event: Event) -> Iterator[str]:
    data = event.data
    card = data.get("card", {}).get("name") or "none (common-practice figures)"
    yield f"Clutch adjustment, {data.get('unit') or 'unit not named'}, {event.at[:10]}"
    yield f"Card: {card}"
    yield "Limits:"
    for name, figure in data.get("figures", {}).items():
        yield f"  {_NAMES.get(name, name):<15} {_limits(figure)}   ({figure.get('source', '?')})"
    yield ""
    yield from _said(event)


def _limits(figure: dict[str, Any]) -> str:
    low, high = figure.get("low_in"), figure.get("high_in")
    if low is None:
        return f"at most {_inches(high)}"
    if high is None:
        return f"at least {_inches(low)}"
    return f"{_inches(low)} to {_inches(high)}"


def _inches(value: float | None) -> str:
    return "?" if value is None else f"{value:.4g} in"


def _turn(event: Event) -> Iterator[str]:
    data = event.data
    act = data.get("act") or {}
    if data.get("words"):
        yield f"{_clock(event)}  {_WHO.get(data.get('who', ''), '?'):<6} : {data['words']}"
        yield f"{'':10}{'':7}  [{meant(act)}]{_clip(data.get('clip'))}"
    elif act.get("meaning") == "resumed":
        yield f"{_clock(event)}  -- resumed --"
    yield from findings(data)
    yield from _said(event)


def _clip(clip: dict[str, Any] | None) -> str:
    """The file beside the record that holds the sound of what this turn kept."""
    if clip is None:
        return ""
    return f" (no clip: {clip['lost']})" if "lost" in clip else f" (clip {clip['sha256'][:16]})"


def _unheard(event: Event) -> Iterator[str]:
    """Speech that was not taken: what it may have been, and what was asked."""
    data = event.data
    ear = data["ear"]
    heard = [a["words"] if isinstance(a, dict) else a for a in ear.get("alternatives", [])]
    what = " / ".join(str(words) for words in heard) or "nothing"
    taken = "unsure between" if ear.get("decision") == "choose" else "not understood"
    yield f"{_clock(event)}  {_WHO.get(data['who'], '?'):<6} : ({taken}: {what})"
    yield from _said(event)


def meant(act: dict[str, Any]) -> str:
    """What words were taken for."""
    if not act:
        return "asked back"
    reading = act.get("reading")
    words = str(act["meaning"]).replace("_", " ")
    if reading:
        words += f" {reading.get('figures', '')}"
    if act.get("quantity"):
        words += f" ({_NAMES.get(act['quantity'], act['quantity'])})"
    if act.get("text") and act["meaning"] != "unclear":
        words += f": {act['text']}"
    return words


def findings(data: dict[str, Any]) -> Iterator[str]:
    """What a turn settled: readings judged, corrections, moves, the pedal; indented."""
    pad = " " * 19
    taken = data.get("taken")
    if taken and "judged" in taken:
        judged = taken["judged"]
        yield (
            f"{pad}= {_NAMES.get(taken['quantity'], taken['quantity'])} {taken['figures']}: "
            f"{judged['decision'].upper()} ({judged['probability']:.0%} in), {_limits(judged)}, "
            f"{judged['source']}"
        )
    if "corrected" in data:
        was, now = data["corrected"]["was"], data["corrected"]["is"]
        yield f"{pad}= corrected {now['quantity']}: {was['figures']} to {now['figures']}"
    if "ring" in data:
        ring = data["ring"]
        yield f"{pad}= ring: told {ring['told']:+d}, moved {ring['moved']:+d} (plus tightens)"
    if "finding" in data:
        found = data["finding"]
        yield (
            f"{pad}= ring move: {found['kind']} ({found['probability']:.0%}), "
            f"{_inches(found['measured_in'])} measured, {_inches(found['predicted_in'])} expected"
        )
    if "linkage" in data:
        yield f"{pad}= {data['linkage']['step'].replace('_', ' ')}: {data['linkage']['what']}"
    if "hold" in data:
        yield f"{pad}= PEDAL {data['hold'].upper()}"
    if "hands" in data and data["hands"] == "clear":
        yield f"{pad}= HANDS CLEAR"


def _said(event: Event) -> Iterator[str]:
    for said in event.data.get("said", []):
        signal = f"{said['signal']}: " if said.get("signal") else ""
        yield f"{_clock(event)}    to {_WHO.get(said['to'], said['to']):<6}: {signal}{said['text']}"


def _closed(event: Event) -> Iterator[str]:
    data = event.data
    yield f"{'':17}{'as found':>14}{'as left':>14}"
    for name, spoken in _NAMES.items():
        found, left = data["as_found"].get(name), data["as_left"].get(name)
        if found or left:
            yield f"{spoken:<17}{_cell(found):>14}{_cell(left):>14}   {_decided(left)}"
    yield f"Ring: {data['lugs']:+d} lugs in {len(data['ring_moves'])} moves (plus tightens)"
    if data.get("lugs_by_gap", data["lugs"]) != data["lugs"]:
        yield f"      by the gap readings it was {data['lugs_by_gap']:+d}"
    for change in data["linkage"]:
        yield f"Linkage: {change['step'].replace('_', ' ')}: {change['what']}"
    for note in data["notes"]:
        yield f"Note ({note['who']}): {note['text']}"
    for doubt in data["doubts"]:
        yield f"DOUBT: {doubt}"
    due = data.get("next_due")
    if due:
        yield f"Next check at {due['count']:,.0f} {due['kind']}"
    yield f"SIGNED OFF by {data['code']} at {event.at}"


def _cell(taken: dict[str, Any] | None) -> str:
    return taken["figures"] if taken else "-"


def _decided(taken: dict[str, Any] | None) -> str:
    if not taken or "judged" not in taken:
        return "no limit" if taken else ""
    if taken.get("accepted"):
        return f"{taken['judged']['decision']}, accepted: {taken['accepted']}"
    return str(taken["judged"]["decision"])
