"""The plan as a report: readings in words, arithmetic from `clutch`, results in words and JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from assistant.card import Card
from assistant.card.arithmetic import plan_for
from assistant.card.show import limit_text
from assistant.clutch.conformity import gauge_that_settles
from assistant.clutch.plan import AdjustmentPlan
from assistant.clutch.uncertainty import Measured
from assistant.procedure import words as trade
from assistant.readings import read, speak

CAUTIONS = (
    "WARNING: wheels chocked, parking brake set, neutral, engine off, key with the technician.",
    "DANGER: hands and tool out of the hole before the pedal moves.",
    "NOTICE: the maker's manual, shop rules and local codes come before these figures.",
)
"""Shown with every plan. Common practice, no source."""


class PlanError(Exception):
    """One clear line on a reading that could not be used."""


def plan_report(called: Mapping[str, str], card: Card) -> dict[str, Any]:
    """The plan for readings as called out, by quantity name; lengths in inches.

    Raises:
        PlanError: a reading was not understood, or no sensible plan exists.
    """
    measured: dict[str, Measured] = {}
    heard: dict[str, str] = {}
    for name, words in called.items():
        got = read(words, name, card.units)
        if (
            got.status != "read"
            or got.value_in is None
            or got.low_in is None
            or got.high_in is None
        ):
            why = got.why or "no reading"
            raise PlanError(f"--{name} {words!r}: {why}")
        measured[name] = Measured.from_interval(got.value_in, got.low_in, got.high_in)
        heard[name] = got.figures
    try:
        plan = plan_for(card, measured)
    except ValueError as error:
        raise PlanError(str(error)) from None
    return _report(plan, card, heard)


def _report(plan: AdjustmentPlan, card: Card, heard: dict[str, str]) -> dict[str, Any]:
    units = card.units
    rod_words = f"{trade.rod(plan.rod)} {trade.rod_way(plan.rod, card.longer)}"
    return {
        "heard": heard,
        "lugs": plan.ring.lugs,
        "lug_in": plan.ring.pitch_in,
        "gap_after_in": plan.gap_after.value_in,
        "clearance_after_in": plan.clearance_after.value_in,
        "clearance_after_ring_in": plan.clearance_after_ring.value_in,
        "free_travel_after_in": plan.free_travel_after.value_in,
        "brake_contact_after_in": plan.brake_contact_after_in,
        "bearing_travel_after_in": plan.bearing_travel_after_in,
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
        "judgements": [
            {
                "quantity": j.quantity,
                "when": j.when,
                "value_in": j.value.value_in,
                "u_in": j.value.u_in,
                "decision": j.judgement.decision,
                "probability_in": j.judgement.probability,
                "limits": _limits(card, j.quantity),
                "source": j.source,
                "figures": heard.get(j.quantity, "") if j.when == "found" else "",
                # A finer gauge settles a reading, not a prediction.
                "gauge": gauge.name
                if j.when == "found" and (gauge := gauge_that_settles(j.judgement))
                else None,
            }
            for j in plan.judgements
        ],
        "spoken": {
            "ring": f"{trade.moved(plan.ring.lugs)}: gap becomes "
            f"{trade.length(plan.gap_after.value_in, units)}.",
            "rod": f"Then the rod: {rod_words}." if plan.rod.total_flats else "The rod stays.",
        },
        "notes": list(plan.notes),
        "cautions": list(CAUTIONS),
        "defaulted": list(card.defaulted),
        "units": units,
    }


def _limits(card: Card, quantity: str) -> str:
    figure = card.figures.get(quantity)
    return limit_text(figure.limits, card.units) if figure else ""


def _contact_line(report: Mapping[str, Any], length: Callable[[float | None], str]) -> str:
    contact = report["brake_contact_after_in"]
    if contact is not None and contact < 0:
        return f"The floor would come before the brake, by {length(-contact)}."
    return f"Brake contact height becomes {length(contact)}."


def plan_text(report: Mapping[str, Any]) -> str:
    """The report for reading on a screen."""
    units = report["units"]

    def length(value_in: float | None) -> str:
        return "not known" if value_in is None else speak.near_figures(value_in, units)

    lines = list(report["cautions"])
    lines += [
        "",
        f"RING  {report['spoken']['ring']} {report['chance_in_tolerance']:.0%} likely to land in.",
        f"ROD   {report['spoken']['rod']} Thread {report['rod_thread']}.",
        "",
        f"Fork clearance becomes {length(report['clearance_after_in'])}.",
        f"Free travel becomes about {length(report['free_travel_after_in'])}.",
        _contact_line(report, length),
        f"Pedal ratio {report['pedal_ratio']:.1f} to 1, from {report['pedal_ratio_source']}.",
        "",
    ]
    for j in report["judgements"]:
        gauge = f" A {j['gauge']} would settle it." if j["gauge"] else ""
        lines.append(
            f"{j['quantity']:<15} {j['when']:<6} {j['figures'] or length(j['value_in']):>18}  "
            f"{j['decision'].upper():<9} {j['limits']} ({j['source']}).{gauge}"
        )
    lines += ["", *report["notes"]]
    if report["defaulted"]:
        lines.append("Not on the card, so common practice: " + ", ".join(report["defaulted"]) + ".")
    return "\n".join(lines)
