"""The plan's report for reading on a screen."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from assistant.readings import speak


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
