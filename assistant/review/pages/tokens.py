"""How the parts of the fleet page point at jobs: `#jobs=first:no&month:2026-11`.

Each job carries its tokens; a link names those that a job must have. The page's script does the
rest, and without it the links lead to the list.
"""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import quote

from assistant.review.pages.questions import BIN_MIN, Answers, Row


def hash_of(*tokens: str) -> str:
    """The end of a link to the jobs that have all these tokens."""
    return "jobs=" + "&".join(quote(token, safe=":-._~") for token in tokens)


def tokens_of(row: Row, answers: Answers) -> list[str]:
    """What one job can be found by."""
    job = row["job"]
    out = [
        f"unit:{row['unit']}",
        f"code:{row['code']}",
        f"month:{row['ended_utc']:%Y-%m}",
        f"signed:{_yes(row['signed_off'])}",
        f"chain:{'broken' if row['chain'] == 'BROKEN CHAIN' else row['chain']}",
        f"lead:{answers.left_as.get(job, 'none')}",
    ]
    if row["first_time_right"] is not None:
        out.append(f"first:{_yes(row['first_time_right'])}")
    if row["signed_off"] and row["time_s"] is not None:
        out.append(f"time:{min(int(row['time_s'] // (60 * BIN_MIN)), 30)}")
    kinds = answers.flags.get(job, set())
    out += sorted(f"doubt:{kind}" for kind in kinds)
    if kinds:
        out.append("doubt:any")
    out += sorted(answers.misheard_at.get(job, set()))
    return out


def joined(tokens: Iterable[str]) -> str:
    """For the attribute of a row: quoted, so that a space parts them."""
    return " ".join(quote(token, safe=":-._~") for token in tokens)


def _yes(value: object) -> str:
    return "yes" if value else "no"
