"""A sound path without sound, for the tests that need a real one."""

from collections.abc import Iterator

import pytest

from tests.voice.pulse import Pulse, missing, pulse


@pytest.fixture(scope="module")
def daemon() -> Iterator[Pulse]:
    if missing():
        pytest.skip(missing())
    with pulse() as running:
        yield running
