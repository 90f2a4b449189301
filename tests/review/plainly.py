"""The rows of a record, read the plain way: each table by itself, from the whole list of events.

Written apart from the index, to hold it against: slow, and as plain as can be. Only for records as
lugcall writes them.
"""

from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from tests.records import events_of

Row = dict[str, Any]
HALF_HOUR, LONG = 1800.0, 120.0
MILE_KM = 1.609344


def timed(path: Path) -> list[Row]:
    """Its lines as dicts, with the time in microseconds of UTC as `us`."""
    events = events_of(path)
    for event in events:
        moment = datetime.fromisoformat(event["at"])
        event["us"] = round(moment.timestamp() * 1000) * 1000
    return events


def turns_of(events: list[Row]) -> list[Row]:
    """The turns, each with `meaning`."""
    turns = [e for e in events if e["kind"] == "turn"]
    for turn in turns:
        turn["meaning"] = (turn["data"].get("act") or {}).get("meaning", "")
    return turns


def hearing(events: list[Row]) -> list[Row]:
    turns_of(events)
    found = []
    for e in events:
        data, taken = e["data"], e["kind"] == "turn" and e["meaning"] not in ("", "unclear")
        if e["kind"] == "unheard" or (e["kind"] == "turn" and data["words"]):
            ear = data.get("ear") or {}
            guesses = [g if isinstance(g, str) else g["words"] for g in ear.get("alternatives", [])]
            first = (ear.get("alternatives") or [{}])[0]
            engines = first.get("engines") if isinstance(first, dict) else None
            found.append({
                "n": e["n"], "at_utc": e["us"], "step": data["step"], "who": data["who"],
                "microphone": (ear.get("mic") or "unnamed") if ear else "typed",
                "taken": taken, "again": not taken, "decision": ear.get("decision", ""),
                "p_heard": ear.get("probability"), "engines": engines and len(engines),
                "decode_s": ear.get("seconds"), "meaning": e["meaning"] if taken else "",
                "words": data.get("words") or " / ".join(guesses),
            })  # fmt: skip
    return found


def cautions(events: list[Row]) -> list[Row]:
    """Each caution, with the next answer of whom it was for that took the job on."""
    found = []
    for e in events:
        step = e["data"].get("after") or ("" if e["kind"] == "opened" else e["data"].get("step"))
        for said in e["data"].get("said", []):
            if not said["key"].startswith("caution:"):
                continue
            answers = [
                t for t in turns_of(events)
                if t["n"] > e["n"] and t["data"]["words"]
                and t["data"]["after"] not in (t["data"]["step"], "halted", "repair")
                and t["meaning"] not in ("", "unclear", "back", "stop", "carry_on", "resumed")
                and said["to"] in (t["data"]["who"], "both")
            ]  # fmt: skip
            row = {
                "n": e["n"], "at_utc": e["us"], "step": step, "text": said["text"],
                "key": said["key"].removeprefix("caution:"), "signal": said.get("signal", ""),
                "to": said["to"], "acknowledged_utc": None, "acknowledged_by": "",
                "acknowledged_s": None,
            }  # fmt: skip
            if answers:
                row["acknowledged_utc"] = answers[0]["us"]
                row["acknowledged_by"] = answers[0]["data"]["who"]
                row["acknowledged_s"] = max(0, answers[0]["us"] - e["us"]) / 1e6
            found.append(row)
    return found


def gaps(events: list[Row]) -> list[tuple[str, float]]:
    """Seconds from event to event that count as work, with the step at which they passed."""
    at, found = "", []
    own = [e for e in events if not e["kind"].startswith("lead-")]
    for before, event in pairwise(own):
        if before["kind"] == "turn":
            at = before["data"]["after"]
        gone = (event["us"] - before["us"]) / 1e6
        if 0 < gone <= HALF_HOUR:
            found.append((at, gone))
    return found


def steps(events: list[Row]) -> list[Row]:
    """Each step, in the order the job came to it."""
    order: list[str] = []
    visits: list[str] = []
    at = ""
    for e in events:
        if e["kind"] == "turn":
            data = e["data"]
            first = [data["step"]] if not at and data["step"] else []
            visits += first
            order += ([data["step"]] if data["words"] else first) + [data["after"]]
            if data["after"] != (at or data["step"]):
                visits.append(data["after"])
            at = data["after"]
        elif e["kind"] == "unheard":
            order.append(e["data"]["step"])
    heard = hearing(events)
    return [
        {
            "step": step, "place": place, "visits": visits.count(step),
            "step_s": sum(s for at, s in gaps(events) if at == step),
            "turns": sum(h["step"] == step for h in heard),
            "say_agains": sum(h["step"] == step and h["again"] for h in heard),
        }
        for place, step in enumerate(dict.fromkeys(order))
    ]  # fmt: skip


def readings(events: list[Row]) -> list[Row]:
    """Each reading; a corrected one stands right after the one it replaced."""
    kept: list[Row] = []
    closed = next((e["data"] for e in events if e["kind"] == "closed"), None)
    for e in turns_of(events):
        data = e["data"]
        if "taken" in data:
            kept.append(_reading(e, data["taken"], ""))
        kept += (_reading(e, one, "") for one in data.get("over", []))
        if data.get("corrected"):
            was, new = data["corrected"]["was"], data["corrected"]["is"]
            row = _reading(e, new, was["figures"])
            what = (new["quantity"], new["stage"], was["figures"], False)
            same = ("quantity", "stage", "figures", "replaced")
            places = [i for i, r in enumerate(kept) if tuple(r[k] for k in same) == what]
            if places:
                kept[places[-1]]["replaced"] = True
            kept.insert(places[-1] + 1 if places else len(kept), row)
        if e["meaning"] == "accept" and data["after"] != data["step"]:
            last = [r for r in kept if not r["replaced"]][-1]
            if last["decision"] != "in":
                last["accepted"] = data["act"].get("text") or "no reason given"
    for stage, mark in (("found", "as_found"), ("final", "as_left")):
        of = {r["quantity"]: r for r in kept if r["stage"] == stage and not r["replaced"]}
        for row in of.values():
            row[mark] = True
            left = closed["as_left"].get(row["quantity"]) if closed and stage == "final" else None
            if left and left.get("accepted"):
                row["accepted"] = left["accepted"]
    for row in kept:
        same = [r for r in kept if r["quantity"] == row["quantity"]]
        found = [r for r in same if r["as_found"]]
        left = any(r["as_left"] for r in same)
        row["beside"] = row["as_left"] or (row["as_found"] and not left)
        there = row["beside"] and bool(found)
        row["found_in"] = found[0]["value_in"] if there else None
        row["found_figures"] = found[0]["figures"] if there else ""
        row["found_decision"] = found[0]["decision"] if there else ""
    return kept


def _reading(e: Row, kept: Row, corrects: str) -> Row:
    judged = kept.get("judged") or {}
    counted = kept.get("count") is not None
    return {
        "n": e["n"], "at_utc": e["us"], "step": e["data"]["step"], "stage": kept["stage"],
        "quantity": kept["quantity"], "who": kept.get("who", ""), "value_in": kept["value_in"],
        "low_in": kept.get("low_in"), "high_in": kept.get("high_in"), "count": kept.get("count"),
        "count_unit": kept["kind"] if counted else "", "figures": kept["figures"],
        "decision": judged.get("decision", ""), "p_in": judged.get("probability"),
        "limit_low_in": judged.get("low_in"), "limit_high_in": judged.get("high_in"),
        "limit_source": judged.get("source", ""), "accepted": kept.get("accepted", ""),
        "corrects": corrects, "replaced": False, "as_found": False, "as_left": False,
        "spoken": bool(e["data"].get("ear")),
        "clip": (e["data"].get("clip") or {}).get("file", ""),
    }  # fmt: skip


def ring_moves(events: list[Row]) -> list[tuple[int, int, float | None, float | None]]:
    """Of each move of the ring: lugs told and moved, gap predicted, and measured by its finding.

    A count told again without another hold of the pedal is the same move.
    """
    found: list[list[Any]] = []
    held = False
    for e in turns_of(events):
        data = e["data"]
        held = held or data.get("hold") == "held"
        if "ring" in data:
            ring = data["ring"]
            if found and not held and found[-1][0] == ring["told"]:
                found.pop()
            found.append([ring["told"], ring["moved"], ring.get("predicted_in"), None])
            held = False
        if "finding" in data and found and found[-1][3] is None:
            found[-1][2:] = data["finding"]["predicted_in"], data["finding"]["measured_in"]
    return [(told, moved, predicted, measured) for told, moved, predicted, measured in found]


def hold_times(events: list[Row]) -> list[float]:
    """Seconds of each hold of the pedal that ended."""
    found, since = [], None
    for e in turns_of(events):
        how = e["data"].get("hold")
        if how == "held":
            since = e["us"]
        elif how in ("up", "unsure") and since is not None:
            found.append(max(0, e["us"] - since) / 1e6)
            since = None
    return found


def job(events: list[Row]) -> Row:
    """What the job's own row says of a record with a good chain, less what the card tells."""
    opened, heard = events[0], hearing(events)
    closed = next((e["data"] for e in events if e["kind"] == "closed"), None)
    own = [e for e in events if not e["kind"].startswith("lead-")]
    changed = [e for e in turns_of(events) if e["data"].get("corrected")]
    edits = sum(h["meaning"] in ("back", "correct") for h in heard)
    ends = [e["data"]["after"] for e in turns_of(events)]
    due = (closed or {}).get("next_due") or {}
    miles = {"miles": 1, "kilometres": MILE_KM}
    odometer = [r for r in readings(events) if r["as_found"] and r["quantity"] == "odometer"]
    return {
        "unit": opened["data"]["unit"], "began_utc": opened["us"], "began_local": opened["at"],
        "ended_utc": own[-1]["us"], "signed_off": closed is not None,
        "code": closed["code"] if closed else "", "step": ends[-1] if ends else "",
        "events": len(events), "time_s": sum(s for _, s in gaps(events)), "turns": len(heard),
        "say_agains": sum(h["again"] for h in heard), "corrections": len(changed), "edits": edits,
        "holds": len(hold_times(events)), "longest_hold_s": max(hold_times(events), default=None),
        "cautions": len(cautions(events)), "ring_moves": len(ring_moves(events)),
        "next_due_miles": due["count"] / miles[due["kind"]] if due else None,
        "odometer_miles": odometer[0]["count"] / miles[odometer[0]["count_unit"]]
        if odometer else None,
        "voice": any(h["microphone"] != "typed" for h in heard),
        "clips": sum("file" in (e["data"].get("clip") or {}) for e in turns_of(events)),
        "chain": "good", "head": events[-1]["hash"], "opening": opened["hash"],
    }  # fmt: skip
