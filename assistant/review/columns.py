"""The columns of the index's tables: one list for the index, its questions and the exports.

What each holds is said in `dialogs/en/columns.toml`. Names carry their unit: `_in` inches, `_s`
seconds, `_miles`, `_lugs`; `_utc` is a moment in UTC. Every table has `job`, and is joined on it.
"""

from __future__ import annotations


def _columns(names: str) -> dict[str, str]:
    """Column -> its type: what follows a colon, or else text."""
    parts = (word.partition(":") for word in ("job:int", *names.split()))
    return {name: kind or "text" for name, _, kind in parts}


_TABLES = {
    "jobs": """
        folder path unit card transmission linkage clutch lug_pitch_in:float
        ring_lugs:int format:int lugcall began_utc:time began_local ended_utc:time
        signed_off:bool unfinished code step events:int time_s:float turns:int say_agains:int
        corrections:int edits:int holds:int longest_hold_s:float cautions:int doubts:int
        unseen:int weight:int reason asked ring_moves:int lugs:int lugs_by_gap:int
        first_time_right:bool odometer_miles:float odometer_unit length_unit
        next_due_miles:float
        free_found_in:float free_found_low_in:float free_found_high_in:float
        free_left_in:float free_left_low_in:float free_left_high_in:float free_limit_in:float
        ring_left:int fitted
        gap_found_in:float gap_found_low_in:float gap_found_high_in:float
        gap_left_in:float gap_left_low_in:float gap_left_high_in:float voice:bool
        clips:int photos:int lead_accepted seal chain head opening
        free_last_in:float gap_last_in:float
        """,
    "readings": """
        n:int at_utc:time step stage quantity who value_in:float low_in:float
        high_in:float count:float count_unit figures decision p_in:float limit_low_in:float
        limit_high_in:float limit_source accepted corrects replaced:bool as_found:bool
        as_left:bool beside:bool found_in:float found_figures found_decision spoken:bool clip
        """,
    "moves": """
        n:int at_utc:time move:int kind step what told_lugs:int moved_lugs:int
        total_lugs:int gap_before_in:float predicted_gap_in:float measured_gap_in:float
        error_in:float finding p_finding:float gap_by_lugs:int
        """,
    "holds": """
        n:int at_utc:time step asked_utc:time held_utc:time ended_utc:time hold_s:float
        ended long:bool
        """,
    "hearing": """
        n:int at_utc:time step who microphone taken:bool again:bool decision
        p_heard:float engines:int decode_s:float meaning words
        """,
    "steps": "step place:int visits:int step_s:float turns:int say_agains:int",
    "cautions": """
        n:int at_utc:time step key signal to text acknowledged_utc:time acknowledged_by
        acknowledged_s:float
        """,
    "doubts": "n:int at_utc:time kind text weight:int seen:bool",
    "lead_acts": "n:int at_utc:time kind code text hash withdrawn:bool later_utc:time data",
    "answers": """
        n:int at_utc:time question of_record of_line:int answer_n:int answered_utc:time who answer
        """,
    "kept": "n:int at_utc:time what file sha256 state noted:bool seen_utc:time",
    "due": """
        unit jobs:int last_utc:time odometer_miles:float odometer_unit length_unit
        a_day_miles:float
        state due_from_utc:time due_to_utc:time worn_from_miles:float worn_to_miles:float
        check_miles:float free_left_in:float free_limit_in:float lugs:int since_utc:time
        lugs_left:int ring_lugs:int looked:bool clutch lining_from_miles:float lining_to_miles:float
        unknown
        """,
    "files": "folder path status line size_bytes:int seen_utc:time fresh_utc:time",
}
COLUMNS = {table: _columns(names) for table, names in _TABLES.items()}
"""Of each table, its columns and their types: int, float, text, bool or time."""
OF_A_JOB = tuple(name for name in COLUMNS if name not in ("due", "files"))
"""Tables whose rows belong to a job: not those of trucks, and of files, records or not."""
ASKED = (
    "needs_eyes", "causes", "unfinished", "lead_questions", "as_found_left", "predicted_measured",
    "by_finding", "first_time_right", "better", "safety", "safety_months", "misheard",
    "time_a_step", "totals", "free_travel", "units", "by_odometer", "due_count", "damaged",
    "work_orders",
)  # fmt: skip
"""What can be asked by name, each a function of `questions`; here, because it is told without
them, whose imports take long."""
BROKEN, DIFFERS, CHANGED = "BROKEN CHAIN", "DIFFERS", "CHANGED"
COPY, LOST = "copy", "photo missing"
"""What a file can be, among others."""
DAMAGE = (BROKEN, DIFFERS, CHANGED)
"""What stands above everything else: it was changed after it was written."""
