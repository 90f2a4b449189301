"""The written diagram is the machine's."""

from assistant.job import diagram


def test_diagram_is_fresh() -> None:
    assert diagram.FILE.read_text(encoding="utf-8") == diagram.draw(), (
        "run: python -m assistant.job.diagram --write"
    )


def test_diagram_shows_the_guards() -> None:
    text = diagram.draw()
    assert "ring_hold --> ring_turn : [holds_for_ring_turn, hold_confirmed" in text
    assert "ring_clear --> ring_release : [hands_clear" in text
