"""Published threads."""

from __future__ import annotations

import pytest

from assistant.clutch.thread import METRIC, UNIFIED, lead_in


# Outside check: the threads-per-inch columns of aeakett/tappy_tap_tap, js/src/bolt.js (its third
# column, UNEF, left out), sizes #10 to 1.
@pytest.mark.parametrize(
    ("size", "coarse", "fine"),
    [
        ("#10", 24, 32),
        ("#12", 24, 28),
        ("1/4", 20, 28),
        ("5/16", 18, 24),
        ("3/8", 16, 24),
        ("7/16", 14, 20),
        ("1/2", 13, 20),
        ("9/16", 12, 18),
        ("5/8", 11, 18),
        ("3/4", 10, 16),
        ("7/8", 9, 14),
        ("1", 8, 12),
    ],
)
def test_unified_series(size: str, coarse: int, fine: int) -> None:
    assert UNIFIED[size][1:] == (coarse, fine)
    assert lead_in(f"{size}-{coarse}") == pytest.approx(1 / coarse)
    assert lead_in(f"{size}-{fine} UNF") == pytest.approx(1 / fine)


# Outside check: ISO 262 selected sizes as reprinted at
# liquisearch.com/iso_metric_screw_thread/preferred_sizes; "or" separates its fine pitches.
@pytest.mark.parametrize(
    ("diameter", "coarse", "fine"),
    [
        (8, 1.25, "1"),
        (10, 1.5, "1.25 or 1"),
        (12, 1.75, "1.5 or 1.25"),
        (14, 2, "1.5"),
        (16, 2, "1.5"),
        (18, 2.5, "2 or 1.5"),
        (20, 2.5, "2 or 1.5"),
        (22, 2.5, "2 or 1.5"),
        (24, 3, "2"),
    ],
)
def test_metric_series(diameter: int, coarse: float, fine: str) -> None:
    assert METRIC[diameter] == (coarse, *(float(pitch) for pitch in fine.split(" or ")))
    assert lead_in(f"M{diameter}") == pytest.approx(coarse / 25.4)


@pytest.mark.parametrize(
    ("said", "lead"),
    [
        ("1/2-20", 0.05),
        ("1/2 - 20 UNF", 0.05),
        ("1/2-20 UNF-2A", 0.05),
        ("0.5-20", 0.05),
        (".5 x 20", 0.05),
        ('1/2"-13 UNC', 1 / 13),
        ("10-32", 1 / 32),
        ("#10-32", 1 / 32),
        ("No. 10-32", 1 / 32),
        ("1-8", 1 / 8),
        (".3125-18", 1 / 18),
        ("M12x1.75", 1.75 / 25.4),
        ("m12 x 1,75", 1.75 / 25.4),
        ("M12", 1.75 / 25.4),
        ("M5", 0.8 / 25.4),
    ],
)
def test_ways_of_saying_a_thread(said: str, lead: float) -> None:
    assert lead_in(said) == pytest.approx(lead)


@pytest.mark.parametrize(
    ("said", "named"),
    [
        ("1/2-28", "1/2-20 UNF"),
        ("1/2-20 UNC", "1/2-13 UNC"),
        ("1-14", "1-12 UNF"),
        ("3/16-24", "#10-24 UNC"),
        ("M12x2", "M12x1.75"),
        ("M13", "M12x1.75"),
        ("half inch", "M12x1.75"),
        ("", "1/2-20"),
        ("1/2", "10-32"),
        ("1/0-20", "1/2-20"),
    ],
)
def test_unknown_threads_name_what_would_do(said: str, named: str) -> None:
    with pytest.raises(ValueError, match=r"nearest|Say one like") as caught:
        lead_in(said)
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)
