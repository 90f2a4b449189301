"""The written diagram is the machine's."""

from assistant.job import diagram


def test_diagram_is_fresh() -> None:
    assert diagram.FILE.read_text(encoding="utf-8") == diagram.draw(), (
        "run: python -m assistant.job.diagram --write"
    )
