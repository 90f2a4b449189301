"""The plan as a report: readings in words, arithmetic from `clutch`, results in words and JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from assistant.card import Card
from assistant.card.arithmetic import effects_for, plan_for
from assistant.card.show import limit_text
from assistant.clutch.conformity import gauge_that_settles, judge
from assistant.clutch.equations import Effects, Readings
from assistant.clutch.linkage.protocol import LinkageError
from assistant.clutch.plan import AdjustmentPlan
from assistant.clutch.solver import Candidate, Settings, condemned, solve
from assistant.clutch.uncertainty import Measured
from assistant.job import linkage_words, plan_words
from assistant.job import words as trade
from assistant.readings import read, speak

CAUTIONS = (
    "WARNING: wheels chocked, parking brake set, neutral, engine off, key with the technician.",
    "DANGER: hands and tool out of the hole before the pedal moves.",
    "NOTICE: the maker's manual, shop rules and local codes come before these figures.",
)
"""Shown with every plan. Common practice, no source."""


ENDS_EARLY = "By the card's geometry the brake is not reached: measure its [linkage] again."


class PlanError(Exception):
    """One clear line on a reading that could not be used."""


def plan_report(
    called: Mapping[str, str], card: Card, joints: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """The plan for readings as called out, by quantity name; lengths in inches.

    ``joints`` are travels of the linkage's joints as called out, with the brake touched.

    Raises:
        PlanError: a reading was not understood, or no sensible plan exists.
    """
    measured: dict[str, Measured] = {}
    heard: dict[str, str] = {}
    for name, words in called.items():
        measured[name], heard[name] = _heard(f"--{name}", words, name, card.units)
    at_joints = {n: _joint_heard(n, words, card) for n, words in (joints or {}).items()}
    if at_joints and not {"pedal-height", "brake-contact"} <= measured.keys():
        raise PlanError("--joint is read at brake contact: give --pedal-height, --brake-contact")
    try:
        effects = effects_for(card, measured)
        settings = solve(effects)
        chosen = settings.chosen.setting
        plan = plan_for(card, measured, move=(chosen.lugs, chosen.flats))
    except ValueError as error:
        raise PlanError(str(error)) from None
    report = _report(plan, effects, settings, card, heard)
    report["linkage"] = _linkage(card, effects.readings, at_joints)
    return report


def _heard(option: str, words: str, quantity: str, units: str) -> tuple[Measured, str]:
    """A reading in words as a measured length, and its figures. Raises PlanError."""
    got = read(words, quantity, units)
    if got.status != "read" or got.value_in is None or got.low_in is None or got.high_in is None:
        raise PlanError(f"{option} {words!r}: {got.why or 'no reading'}")
    return Measured.from_interval(got.value_in, got.low_in, got.high_in), got.figures


def _joint_heard(name: str, words: str, card: Card) -> Measured:
    """A joint's travel; a bare number is in the shop's unit. Raises PlanError."""
    if card.geometry is None:
        raise PlanError("--joint needs the linkage's geometry on the card: see [linkage]")
    names = [joint.name for joint in card.geometry.joints(0.0)]
    if name not in names:
        raise PlanError(f"--joint {name!r}: this chain has {', '.join(names)}")
    bare = read(words, "", card.units).status != "read"
    unit = {"inch": " in", "mm": " mm"}[card.units] if bare else ""
    return _heard(f"--joint {name}", words + unit, "", card.units)[0]


def _linkage(
    card: Card, readings: Readings, joints: Mapping[str, Measured]
) -> dict[str, Any] | None:
    """What the card's geometry says of these readings; None without geometry."""
    if card.geometry is None:
        return None
    try:
        lost = linkage_words.found(card, readings, joints)
        by_geometry = linkage_words.expected(card, readings)
    except LinkageError as error:
        return {"kind": "cannot reach", "spoken": str(error), "why": ENDS_EARLY}
    assert lost is not None and by_geometry is not None
    return {
        "free_travel_in": by_geometry[0],
        "brake_stroke_in": by_geometry[1],
        "ratio_at_rest": card.geometry.ratio(0.0),
        "pedal_force_lbf": linkage_words.pedal_force(card, readings),
        "kind": lost.kind,
        "slack_in": lost.slack_in,
        "give_in": lost.give_in,
        "between": None if lost.at is None else list(lost.at[:2]),
        "if_at_in": dict(lost.if_at),
        "air_in3": lost.air_in3,
        "spoken": linkage_words.spoken(lost, card.units),
        "why": linkage_words.why(lost, card, readings),
    }


def _report(
    plan: AdjustmentPlan, effects: Effects, settings: Settings, card: Card, heard: dict[str, str]
) -> dict[str, Any]:
    units, chosen = card.units, settings.chosen
    brake, ring = card.transmission != "synchronized", card.clutch != "self-adjusting"
    noun = trade.ADJUSTERS[card.linkage]
    rod_words = f"{trade.rod(plan.rod)} {trade.rod_way(plan.rod, card.longer)}"
    after = {
        "gap": plan.gap_after,
        "clearance": plan.clearance_after,
        "free-travel": plan.free_travel_after,
        **({"brake-contact": contact} if brake and (contact := plan.brake_contact_after) else {}),
        **chosen.after,
    }
    return {
        "heard": heard,
        "lugs": plan.ring.lugs,
        "lug_in": plan.ring.pitch_in,
        "gap_after_in": after["gap"].value_in,
        "clearance_after_in": after["clearance"].value_in,
        "clearance_after_ring_in": plan.clearance_after_ring.value_in,
        "free_travel_after_in": after["free-travel"].value_in,
        "brake_contact_after_in": _value(after.get("brake-contact")),
        "bearing_travel_after_in": _value(after.get("bearing-travel")),
        "pedal_height_after_in": _value(after.get("pedal-height")),
        "total_travel_after_in": _value(after.get("total-travel")),
        "height_change_in": chosen.setting.height_steps * effects.adjusters.height_step_in,
        "total_change_in": chosen.setting.total_steps * effects.adjusters.total_step_in,
        "rod_turns": plan.rod.turns,
        "rod_flats": plan.rod.flats,
        "rod_total_flats": plan.rod.total_flats,
        "rod_travel_in": plan.rod.travel_in,
        "rod_thread": card.thread,
        "chance_in_tolerance": plan.ring.chance,
        "ring_alternatives": [
            {"lugs": n.lugs, "gap_after_in": n.gap_after_in, "chance": n.chance}
            for n in plan.ring.alternatives
        ],
        "pedal_ratio": plan.ratio.value,
        "pedal_ratio_source": plan.ratio.source,
        "judgements": _judgements(plan, settings, after, card, heard),
        "settings": {
            "possible": settings.possible,
            "sure": settings.sure,
            "judged": list(settings.judged),
            "cannot": [
                {"quantity": c.quantity, "side": c.side, "part": c.part, "why": c.why}
                for c in condemned(effects, settings)
            ],
            "may_be": list(settings.may_be),
            "candidates": [
                _candidate(c, effects, card)
                for c in settings.candidates
                if ring or not c.setting.lugs
            ],
        },
        "spoken": {
            "plan": plan_words.spoken(effects, settings, card),
            "why": plan_words.why(effects, settings, card),
            "ring": f"{trade.moved(plan.ring.lugs)}: gap becomes "
            f"{trade.length(plan.gap_after.value_in, units)}."
            if ring
            else "This clutch adjusts itself: no ring is moved.",
            "rod": f"Then the {noun}: {rod_words}."
            if plan.rod.total_flats
            else f"The {noun} stays.",
        },
        "clutch_brake": brake,
        "moves_ring": ring,
        "notes": list(plan.notes),
        "cautions": list(CAUTIONS),
        "defaulted": list(card.defaulted),
        "units": units,
    }


def _value(value: Measured | None) -> float | None:
    return None if value is None else value.value_in


def _judgements(
    plan: AdjustmentPlan,
    settings: Settings,
    after: Mapping[str, Measured],
    card: Card,
    heard: Mapping[str, str],
) -> list[dict[str, Any]]:
    """Every quantity with a figure, as found and as it should be after."""
    rows = [(j.quantity, "found", j.value) for j in plan.judgements if j.when == "found"]
    told = {j.quantity for j in plan.judgements if j.when == "after"} | set(settings.judged)
    rows += [(q, "after", value) for q, value in after.items() if q in told]
    out = []
    for quantity, when, value in rows:
        figure = card.figures.get(quantity)
        if figure is None:
            continue
        judgement = judge(value, figure.limits)
        # A finer gauge settles a reading, not a prediction.
        gauge = gauge_that_settles(judgement) if when == "found" else None
        out.append(
            {
                "quantity": quantity,
                "when": when,
                "value_in": value.value_in,
                "u_in": value.u_in,
                "decision": judgement.decision,
                "probability_in": judgement.probability,
                "limits": _limits(card, quantity),
                "source": figure.source,
                "figures": heard.get(quantity, "") if when == "found" else "",
                "gauge": gauge.name if gauge else None,
            }
        )
    return out


def _candidate(candidate: Candidate, effects: Effects, card: Card) -> dict[str, Any]:
    """One candidate with its cost, for people and programs."""
    return {
        "kind": candidate.kind,
        "words": plan_words.plan_line(candidate.setting, effects.adjusters, card),
        **candidate.setting._asdict(),
        "moves": candidate.setting.moves,
        "minutes": candidate.setting.minutes,
        "tightest": candidate.tightest,
        "margin_u": candidate.sure,
        "probability_in": candidate.chance,
        "out": list(candidate.out),
    }


def _limits(card: Card, quantity: str) -> str:
    figure = card.figures.get(quantity)
    return limit_text(figure.limits, card.units) if figure else ""


# --- The plan's report for reading on a screen.


def _contact_line(report: Mapping[str, Any], length: Callable[[float | None], str]) -> str:
    contact = report["brake_contact_after_in"]
    if contact is not None and contact < 0:
        return f"The floor would come before the brake, by {length(-contact)}."
    return f"Brake contact height becomes {length(contact)}."


def _linkage_lines(report: Mapping[str, Any]) -> list[str]:
    linkage = report["linkage"]
    return [f"CHAIN {linkage['spoken']}", f"      {linkage['why']}"] if linkage else []


def _candidate_line(c: Mapping[str, Any]) -> str:
    placed = (
        f"out: {', '.join(c['out'])}"
        if c["out"]
        else f"{c['tightest']} tightest, {min(c['margin_u'], 9.9):.1f} u inside"
    )
    moves = f"{c['moves']} move{'s' if c['moves'] != 1 else ''}"
    return f"  {c['kind']:<14} {moves:<8} {c['minutes']:>2.0f} min  {placed:<40} {c['words']}"


def plan_text(report: Mapping[str, Any]) -> str:
    """The report for reading on a screen."""
    units = report["units"]

    def length(value_in: float | None) -> str:
        return "not known" if value_in is None else speak.near_figures(value_in, units)

    lines = list(report["cautions"])
    lines += [
        "",
        f"PLAN  {report['spoken']['plan']}",
        f"      {report['spoken']['why']}",
        *_linkage_lines(report),
        "",
        f"RING  {report['spoken']['ring']}"
        + (f" {report['chance_in_tolerance']:.0%} likely to land in." * report["moves_ring"]),
        f"ROD   {report['spoken']['rod']} Thread {report['rod_thread']}.",
        "",
        f"Fork clearance becomes {length(report['clearance_after_in'])}.",
        f"Free travel becomes about {length(report['free_travel_after_in'])}.",
        *([_contact_line(report, length)] if report["clutch_brake"] else []),
        f"Pedal ratio {report['pedal_ratio']:.1f} to 1, from {report['pedal_ratio_source']}.",
        "",
    ]
    for j in report["judgements"]:
        gauge = f" A {j['gauge']} would settle it." if j["gauge"] else ""
        lines.append(
            f"{j['quantity']:<15} {j['when']:<6} {j['figures'] or length(j['value_in']):>18}  "
            f"{j['decision'].upper():<9} {j['limits']} ({j['source']}).{gauge}"
        )
    lines += ["", "What each way costs (u: standard uncertainties):"]
    lines += [_candidate_line(c) for c in report["settings"]["candidates"]]
    lines += ["", *report["notes"]]
    if report["defaulted"]:
        lines.append("Not on the card, so common practice: " + ", ".join(report["defaulted"]) + ".")
    return "\n".join(lines)
