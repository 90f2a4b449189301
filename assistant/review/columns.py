"""What every column of the index holds: one list for the index, the exports and their schema page.

Names carry their unit: `_in` inches, `_s` seconds, `_miles`, `_lugs`; `_utc` is a moment in UTC.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple


class Column(NamedTuple):
    """One column: name, type (`int`, `float`, `text`, `bool` or `time`) and what it says."""

    name: str
    type: str
    what: str


def _columns(text: str) -> tuple[Column, ...]:
    rows = (line.split(None, 2) for line in text.splitlines() if line.strip())
    return tuple(Column(*row) for row in rows)


_JOB = "job int which job: the same in all tables\n"
_EVENT = (
    _JOB + "n int number of the event in its record, from 0\n"
    "at_utc time when the event was written\n"
)

COLUMNS: dict[str, tuple[Column, ...]] = {
    "jobs": _columns(
        _JOB
        + """
folder text the records folder given to the review
path text file of the record, below the folder
unit text the fleet's number of the truck; empty when not named
card text file name of the card; empty for common practice
transmission text as on the card, or what is usual
linkage text as on the card, or what is usual
clutch text as on the card, or what is usual
lug_pitch_in float bearing travel of one lug by the card; null when not on it
ring_lugs int lugs the ring moves from new to its end by the card; null when not on it
format int version of the record's format
lugcall text version that opened the record
began_utc time moment of the first event
began_local text the same as written, with the shop's offset
ended_utc time moment of the last event of the job (not of the lead's acts)
signed_off bool whether the job was closed
code text sign-off code; empty while open
step text where the job stands, or stood last
events int whole events in the record
time_s float time at work: gaps between events, none counted over 30 minutes
turns int utterances taken or asked back
say_agains int utterances that had to be said again or asked back
corrections int readings corrected after they were kept
edits int turns with "back" or "correct"
holds int times the helper held the pedal down
longest_hold_s float the longest of them
cautions int cautions spoken
doubts int rows in the table of doubts
ring_moves int moves of the ring
lugs int lugs moved as told by the technician; plus tightens
lugs_by_gap int lugs moved as the gap readings say
first_time_right bool at most one ring move, no correction, all as left in; null while open
odometer_miles float as found
next_due_miles float next check by the odometer, as told at sign-off
voice bool whether any of it was spoken
clips int readings whose sound was kept
lead_accepted text reason a lead gave for accepting the job, the last; empty when none stands
chain text good, torn, or BROKEN CHAIN
head text hash of the last good event
opening text hash of the first event: the same for copies of one record
"""
    ),
    "readings": _columns(
        _EVENT
        + """
step text step at which it was taken
stage text found, ring, set, final or due
quantity text gap, clearance, free-travel, pedal-height, total-travel, brake-contact, odometer
who text tech or helper
value_in float the value; null for counts
low_in float lower end of what the reading can mean
high_in float upper end
count float for counts: the odometer as read
count_unit text miles or kilometres
figures text as shown to people
decision text in, out or too close to call (too close) against the limits; empty without one
p_in float probability that the true value is within the limits
limit_low_in float lower limit then in force
limit_high_in float upper limit
limit_source text whose figure the limits are
accepted text reason given for accepting it although not clearly in
corrects text figures of the reading that this one replaced; empty for a first reading
replaced bool a later correction took its place
as_found bool the reading that stands as found
as_left bool the reading that stands as left
spoken bool by voice, not typed
clip text file of its sound, beside the record; empty when not kept
"""
    ),
    "moves": _columns(
        _EVENT
        + """
move int which change of its kind in this job, from 1
kind text ring or linkage
step text step of the change
what text in words
told_lugs int lugs the plan told; null for the linkage
moved_lugs int lugs moved as told by the technician; plus tightens
total_lugs int all lugs so far
gap_before_in float gap read before
predicted_gap_in float gap expected after
measured_gap_in float gap read after; null when none was
error_in float measured less predicted
finding text as planned, other count, did not move, wrong way; empty when not read
p_finding float probability of that finding
gap_by_lugs int lugs moved as the gap says
"""
    ),
    "holds": _columns(
        _EVENT
        + """
step text step at which the pedal was held
asked_utc time when the helper was asked
held_utc time when the helper said holding
ended_utc time when it ended
hold_s float how long it was held
ended text up, unsure (lost or stopped) or open (the record ends)
long bool over two minutes
"""
    ),
    "hearing": _columns(
        _EVENT
        + """
step text step at which it was said
who text tech or helper
microphone text name of the microphone; typed for the keyboard
taken bool understood and acted on
again bool it had to be said again, or was asked back
decision text of the ears: accept, choose, again; empty when typed
p_heard float probability the ears gave it
engines int recognizers behind the first alternative
decode_s float seconds of decoding
meaning text what it was taken for; empty when it was not
words text the words, or the likeliest alternatives; only where it was not taken
"""
    ),
    "steps": _columns(
        _JOB
        + """
step text id of the step
place int order in which the job came to it, from 0
visits int times the job came to it
step_s float time spent there, no gap counted over 30 minutes
turns int utterances there
say_agains int utterances there that had to be said again
"""
    ),
    "cautions": _columns(
        _EVENT
        + """
step text step before which it was given
key text which caution
signal text DANGER, WARNING, CAUTION or NOTICE
to text tech, helper or both
text text as it was spoken
acknowledged_utc time next answer of the one it was for that moved the job on; null: none
acknowledged_by text tech or helper
acknowledged_s float seconds until then
"""
    ),
    "doubts": _columns(
        _EVENT
        + """
kind text accepted, out, ring, ratio, remark, skipped, long hold, say-agains, edits, clock, chain
text text in words
"""
    ),
    "lead_acts": _columns(
        _EVENT
        + """
kind text kind of the event: lead-...
code text the lead's code; empty when the event has none
text text reason, question or remark; empty when the event has none
data text the event's data as JSON
"""
    ),
    "files": _columns(
        _JOB
        + """
folder text the records folder given to the review
path text file, below the folder
status text record, torn, BROKEN CHAIN, copy, later (version), foreign, unreadable, or missing
line text in one line, what is wrong; empty when nothing is
size_bytes int size when read last
seen_utc time when it was last there
"""
    ),
}
"""The tables of the index, and their columns."""

PER = {
    "jobs": "job",
    "readings": "reading taken",
    "moves": "change on ring or linkage",
    "holds": "time the helper held the pedal",
    "hearing": "utterance",
    "steps": "step of a job",
    "cautions": "caution spoken",
    "doubts": "thing the lead should look at",
    "lead_acts": "event the lead appended",
    "files": "file in the folders",
}
"""What a row of each table is."""


@cache
def names(table: str) -> tuple[str, ...]:
    """The columns between the job and the part."""
    return tuple(c.name for c in COLUMNS[table] if c.name != "job")


@cache
def places(table: str) -> dict[str, int]:
    """Where each column stands in a row that is a list: the job and the part come by themselves."""
    return {name: place for place, name in enumerate(names(table))}
