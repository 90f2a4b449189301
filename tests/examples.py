"""How many examples a property is tried with: all in the whole run, fewer among the quick tests."""

from collections.abc import Sequence
from typing import TypeVar

from hypothesis import settings

T = TypeVar("T")

quick = False
"""Whether only the quick tests are run, as `conftest` has found. Then it is a quarter of them, and
the same ones every time."""


def examples(count: int) -> settings:
    """Settings of hypothesis for `count` examples, which may take what time they need."""
    few = max(15, count // 4) if quick else count
    return settings(max_examples=few, deadline=None, database=None, derandomize=quick)


def some(cases: Sequence[T]) -> Sequence[T]:
    """All of them; among the quick tests every seventh, which is no step of any figure."""
    return cases[::7] if quick else cases
