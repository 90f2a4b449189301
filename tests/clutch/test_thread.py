"""Published threads, and ways of saying one: the tables of `tests/corpus/threads.txt`."""

import pytest

from assistant.clutch.thread import METRIC, UNIFIED, lead_in
from tests.tables import length_in, rows_of


@rows_of("threads.txt", "size", "coarse", "fine")("unified")
def test_unified_series(size: str, coarse: str, fine: str) -> None:
    assert UNIFIED[size][1:] == (int(coarse), int(fine))
    assert lead_in(f"{size}-{coarse}") == pytest.approx(1 / int(coarse))
    assert lead_in(f"{size}-{fine} UNF") == pytest.approx(1 / int(fine))


@rows_of("threads.txt", "diameter", "coarse", "fine")("metric")
def test_metric_series(diameter: str, coarse: str, fine: str) -> None:
    pitches = [float(coarse), *(float(pitch) for pitch in fine.split(" or "))]
    assert METRIC[int(diameter)] == tuple(pitches)
    assert lead_in(f"M{diameter}") == pytest.approx(float(coarse) / 25.4)


@rows_of("threads.txt", "said", "lead")("said")
def test_ways_of_saying_a_thread(said: str, lead: str) -> None:
    assert lead_in(said) == pytest.approx(length_in(lead))


@rows_of("threads.txt", "said", "named")("unknown")
def test_unknown_threads_name_what_would_do(said: str, named: str) -> None:
    with pytest.raises(ValueError, match=r"nearest|Say one like") as caught:
        lead_in(said)
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)
