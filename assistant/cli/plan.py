"""The plan as a report: readings in words, arithmetic from `clutch`, results in words and JSON."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from assistant.card import Card
from assistant.card.arithmetic import truck_for
from assistant.card.show import limit_text
from assistant.cli.terminal import CalledError, length_called
from assistant.clutch.conformity import Measured, judge
from assistant.clutch.equations import Readings
from assistant.clutch.linkage.lost_motion import brake_force_lbf, find_lost_motion
from assistant.clutch.linkage.stroke import LinkageError, brake_stroke_in, free_travel_in
from assistant.clutch.ring import RingBelief, plan_ring
from assistant.clutch.solver import solve, with_others
from assistant.clutch.thread import FLATS_PER_TURN
from assistant.job import plan_words, words
from assistant.job.plan import Settled
from assistant.job.plan_words import say
from assistant.job.state import Facts, Taken
from assistant.quantity import BEARING_TRAVEL, BRAKE_CONTACT, GAP, JUDGED, PEDAL_HEIGHT
from assistant.readings import read, speak


def plan_report(
    called: Mapping[str, str], card: Card, joints: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """The plan for readings as called out, by quantity name; lengths in inches.

    ``joints`` are travels of the linkage's joints as called out, with the brake touched.

    Raises:
        CalledError: a reading was not understood, or no sensible plan exists.
    """
    both = {name: length_called(f"--{name}", said, name, card) for name, said in called.items()}
    measured = {name: length for name, (length, _) in both.items()}
    heard = {name: figures for name, (_, figures) in both.items()}
    at_joints = {n: _joint_called(n, said, card) for n, said in (joints or {}).items()}
    if at_joints and not {PEDAL_HEIGHT, BRAKE_CONTACT} <= measured.keys():
        raise CalledError("--joint is read at brake contact: give --pedal-height, --brake-contact")
    facts = _as_found(card, measured)
    try:
        found = _as_in_a_job(facts, measured)
    except ValueError as error:
        raise CalledError(str(error)) from None
    truck = found.truck
    belief, setting = RingBelief.prior(card.lug_in), found.settings.chosen.setting
    read, move, limits = truck.readings, truck.adjusters, truck.limits(GAP)
    ring = plan_ring(read.gap, read.clearance, limits, belief, move.max_lugs, lugs=setting.lugs)
    assert ring.clearance_after is not None  # It was given a clearance.
    after = {q: value.value_in for q, value in found.after.items()}
    turns, flats = divmod(abs(setting.flats), FLATS_PER_TURN)
    sign = -1 if setting.flats < 0 else 1
    return {
        "heard": heard,
        "lugs": setting.lugs,
        "lug_in": ring.pitch_in,
        **{f"{q.replace('-', '_')}_after_in": after.get(q) for q in (*JUDGED, BEARING_TRAVEL)},
        "clearance_after_ring_in": ring.clearance_after.value_in,
        "height_change_in": setting.height_steps * move.height_step_in,
        "total_change_in": setting.total_steps * move.total_step_in,
        "rod_turns": sign * turns,
        "rod_flats": sign * flats,
        "rod_total_flats": setting.flats,
        "rod_travel_in": found.fork_in,
        "rod_thread": card.thread,
        "chance_in_tolerance": ring.chance,
        "ring_alternatives": [n._asdict() for n in ring.alternatives],
        "pedal_ratio": truck.ratio.value,
        "pedal_ratio_u": truck.ratio.u,
        "pedal_ratio_source": truck.ratio.source,
        "lash_in": truck.slack.value_in,
        "lash_u_in": truck.slack.u_in,
        "judgements": [*_judgements(found, card, heard)],
        "settings": _settings(found, card),
        "spoken": _spoken(found, card),
        "clutch_brake": truck.clutch_brake,
        "moves_ring": card.clutch != "self-adjusting",
        "notes": [*_untrue(facts), *plan_words.notes(found, ring, belief)],
        "cautions": [say(f"report.{word}") for word in ("warning", "danger", "notice")],
        "defaulted": list(card.defaulted),
        "units": card.units,
        "linkage": _linkage(card, read, at_joints),
    }


def _as_found(card: Card, measured: Mapping[str, Measured]) -> Facts:
    """A job's facts with these readings as found; one at its nominal stands, as it does there."""
    facts = Facts(card)
    for quantity, value in measured.items():
        half = value.u_in * math.sqrt(3.0)
        ends = (value.value_in, value.value_in - half, value.value_in + half)
        taken = Taken("", "found", quantity, "tech", *ends, None, "length", "", "")
        facts.readings.append(taken)
        taken.accepted = "nominal" if facts.at_nominal(taken) else ""
    return facts


def _as_in_a_job(facts: Facts, measured: Mapping[str, Measured]) -> Settled:
    """The plan as a job with these facts would have it, with all other ways.

    Raises:
        ValueError: a reading or a figure is impossible; the message says what to do.
    """
    whole = facts.plans.whole()
    if whole is None:
        truck = truck_for(facts.card, measured)
        return Settled(truck, solve(truck))
    return whole._replace(settings=with_others(whole.truck, whole.settings))


def _untrue(facts: Facts) -> list[str]:
    """Readings that cannot all be true."""
    odd = facts.contradiction()
    if odd is None:
        return []
    length = words.length(max(0.0, odd.bound_in), facts.card.units)
    bound = say(f"note.at_{'least' if odd.at_least else 'most'}", length=length)
    names = ", ".join(words.spoken(q) for q in odd.quantities)
    return [say("note.untrue", names=names, again=words.spoken(odd.again), bound=bound)]


def _joint_called(name: str, said: str, card: Card) -> Measured:
    """A joint's travel; a bare number is in the shop's unit. Raises CalledError."""
    if card.geometry is None:
        raise CalledError("--joint needs the linkage's geometry on the card: see [linkage]")
    names = [joint.name for joint in card.geometry.joints(0.0)]
    if name not in names:
        raise CalledError(f"--joint {name!r}: this chain has {', '.join(names)}")
    bare = read(said, "", card.units).status != "read"
    unit = {"inch": " in", "mm": " mm"}[card.units] if bare else ""
    return length_called(f"--joint {name}", said + unit, "", card)[0]


def _linkage(
    card: Card, readings: Readings, joints: Mapping[str, Measured]
) -> dict[str, Any] | None:
    """What the card's geometry says of these readings; None without geometry."""
    chain = card.geometry
    if chain is None:
        return None
    c, g, lash = readings.clearance.value_in, readings.gap.value_in, readings.lash_in
    try:
        lost = find_lost_motion(chain, readings, card.load, joints)
        free, stroke = free_travel_in(chain, c, lash), brake_stroke_in(chain, c, g, lash, card.load)
    except LinkageError as error:
        return {"kind": "cannot reach", "spoken": str(error), "why": say("linkage.ends_early")}
    return {
        "free_travel_in": free,
        "brake_stroke_in": stroke,
        "ratio_at_rest": chain.ratio(0.0),
        "pedal_force_lbf": brake_force_lbf(chain, readings, card.load),
        **_fields(lost, "kind", "slack_in", "give_in"),
        "between": None if lost.at is None else list(lost.at[:2]),
        "if_at_in": dict(lost.if_at),
        "air_in3": lost.air_in3,
        "spoken": plan_words.linkage(lost, card.units),
        "why": plan_words.linkage_why(lost, card, readings),
    }


def _fields(of: object, *names: str) -> dict[str, Any]:
    """Some of an object's attributes under their own names."""
    return {name: getattr(of, name) for name in names}


def _spoken(found: Settled, card: Card) -> dict[str, str]:
    setting, noun = found.settings.chosen.setting, plan_words.noun(card.linkage)
    ring, rod = say("report.own_ring"), say("report.rod_stays", noun=noun)
    if card.clutch != "self-adjusting":
        gap = words.length(found.after[GAP].value_in, card.units)
        ring = say("report.ring", lugs=words.moved(setting.lugs), gap=gap)
    if setting.flats:
        way = words.rod_way(setting.flats, card.longer)
        rod = say("report.rod", noun=noun, size=words.rod(setting.flats), way=way)
    plan, why = plan_words.spoken(found, card), plan_words.why(found, card)
    return {"plan": plan, "why": why, "ring": ring, "rod": rod}


def _settings(found: Settled, card: Card) -> dict[str, Any]:
    """What can be had, what not, and every candidate with its cost."""
    settings, ring = found.settings, card.clutch != "self-adjusting"
    cannot = [
        {
            **_fields(out, "quantity", "side"),
            "part": plan_words.part(out, card),
            "why": plan_words.part_why(out),
        }
        for out in settings.given_up
    ]
    candidates = [
        {
            "kind": c.kind,
            "words": plan_words.plan_line(c.setting, found.truck.adjusters, card),
            **c.setting._asdict(),
            **_fields(c.setting, "moves", "minutes"),
            **_fields(c, "tightest", "margin_u", "probability_in", "out"),
        }
        for c in settings.candidates
        if ring or not c.setting.lugs
    ]
    return {
        **_fields(settings, "possible", "sure", "judged"),
        "cannot": cannot,
        "may_be": settings.may_be,
        "candidates": candidates,
    }


def _judgements(found: Settled, card: Card, heard: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    """Every quantity with a figure, as found and as it should be after."""
    rows = [(q, "found", value) for q, value in found.truck.found().items()]
    rows += [(q, "after", value) for q, value in found.after.items()]
    for quantity, when, value in rows:
        figure = card.figures.get(quantity)
        if figure is None:
            continue
        judgement = judge(value, figure)
        # Another look settles a reading, not a prediction.
        close = when == "found" and judgement.decision == "too close"
        how = plan_words.settles(quantity, value.value_in, figure, card.units) if close else None
        yield {
            "quantity": quantity,
            "when": when,
            "value_in": value.value_in,
            "u_in": value.u_in,
            "decision": judgement.decision,
            "probability_in": judgement.probability,
            "limits": limit_text(figure, card.units),
            "source": figure.source,
            "figures": heard.get(quantity, "") if when == "found" else "",
            "settles": how,
        }


def plan_text(report: Mapping[str, Any]) -> str:
    def length(value_in: float | None) -> str:
        if value_in is None:
            return say("report.unknown")
        return speak.near_figures(value_in, report["units"])

    def judged(j: Mapping[str, Any]) -> str:
        shown = {**j, "decision": j["decision"].upper()}
        shown["figures"] = j["figures"] or length(j["value_in"])
        shown["settles"] = f" {j['settles']}" if j["settles"] else ""
        return say("report.judged", **shown)

    def candidate(c: Mapping[str, Any]) -> str:
        margin, minutes = f"{min(c['margin_u'], 9.9):.1f}", f"{c['minutes']:.0f}"
        placed = say("report.placed", quantity=c["tightest"], margin=margin)
        if c["out"]:
            placed = say("report.out", names=", ".join(c["out"]))
        moves = words.counted(c["moves"], "moves")
        return say("report.way", **{**c, "moves": moves, "minutes": minutes, "placed": placed})

    contact, linkage, defaulted = (
        report[key] for key in ("brake_contact_after_in", "linkage", "defaulted")
    )
    below, chance = contact is not None and contact < 0, f"{report['chance_in_tolerance']:.0%}"
    touched = say(
        "report.floor" if below else "report.contact", length=length(contact and abs(contact))
    )
    told = say(
        "report.text",
        **report["spoken"],
        cautions="\n".join(report["cautions"]),
        chain=say("report.chain", **linkage) if linkage else "",
        chance=say("report.chance", chance=chance) if report["moves_ring"] else "",
        thread=report["rod_thread"],
        clearance=length(report["clearance_after_in"]),
        free=length(report["free_travel_after_in"]),
        contact=touched if report["clutch_brake"] else "",
        ratio=f"{report['pedal_ratio']:.1f}",
        low=f"{report['pedal_ratio'] - 2 * report['pedal_ratio_u']:.1f}",
        high=f"{report['pedal_ratio'] + 2 * report['pedal_ratio_u']:.1f}",
        source=report["pedal_ratio_source"],
        judgements="\n".join(map(judged, report["judgements"])),
        ways="\n".join(map(candidate, report["settings"]["candidates"])),
    )
    last = [say("report.defaulted", names=", ".join(defaulted))] if defaulted else []
    return "\n".join([told, *report["notes"], *last])
