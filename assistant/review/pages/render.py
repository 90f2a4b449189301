"""Templates to pages. All that comes from a record is escaped by the template engine.

Jinja2 is imported when the first page is made, so that no other command waits for it.
"""

from __future__ import annotations

import contextlib
import os
import re
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from assistant.record.disk import write_whole
from assistant.record.folder import slug
from assistant.review.wording import lugs, many, short, span
from assistant.sentences import printable, step_name

if TYPE_CHECKING:
    from jinja2 import BytecodeCache, Environment
    from jinja2.bccache import Bucket
    from markupsafe import Markup

_HERE = Path(__file__).parent
_DAY = re.compile(r"(\d{4}-\d\d-\d\d)", re.ASCII)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from assistant.review.index import index_home

    made = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        # None is shown as nothing; what is no text is shown as it is.
        finalize=lambda v: printable(v) if type(v) is str else "" if v is None else v,
        bytecode_cache=_compiled(index_home() / "templates"),
    )
    made.filters.update(short=short, lugs=lugs, span=span, step=step_name, days=_whole_days)
    made.globals["many"] = many
    made.globals["file"] = lambda name: (_HERE / name).read_text(encoding="utf-8")
    return made


def _whole_days(text: str) -> Markup:
    """A text in which no day is broken at the end of a line."""
    from markupsafe import Markup, escape

    whole = Markup('<span class="day">{}</span>')
    parts = enumerate(_DAY.split(printable(text)))
    return Markup("").join(whole.format(one) if i % 2 else escape(one) for i, one in parts)


def _compiled(folder: Path) -> BytecodeCache | None:
    """Templates as they were compiled before, in the user's cache; None where that cannot be."""
    from jinja2 import FileSystemBytecodeCache

    class Cache(FileSystemBytecodeCache):
        def dump_bytecode(self, bucket: Bucket) -> None:
            with contextlib.suppress(OSError):  # a full disk: then it is compiled again
                super().dump_bytecode(bucket)

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return Cache(str(folder))


def page(template: str, **fields: Any) -> str:
    """A whole page. Only what the template calls safe, drawings and files of ours, is not escaped.

    Raises:
        ValueError: a field lacks what the template shows.
    """
    from jinja2 import UndefinedError

    try:
        return _environment().get_template(template).render(**fields)
    except UndefinedError as error:
        raise ValueError(str(error)) from error


def link(target: Path, page_folder: Path) -> str:
    """A link from a page in `page_folder` to a file, relative where the two share a drive."""
    folder = _way(str(page_folder), str(target.parent))
    return f"{folder}/{quote(os.fsencode(target.name))}"


def page_name(record: Path, opening: str) -> str:
    """The page of a record among others: named after it, and apart from its namesakes."""
    return f"{slug(record.stem)}-{opening[:8]}.html"


@lru_cache(maxsize=64)
def _way(start: str, folder: str) -> str:
    """From one folder to another, as a part of a link."""
    try:
        way = os.path.relpath(os.path.abspath(folder), os.path.abspath(start))
    except ValueError:
        return Path(folder).absolute().as_uri()
    return quote(os.fsencode(way.replace(os.sep, "/")))


def write_page(path: Path, text: str) -> None:
    """Put a page in place; whoever has it open sees the old one or the new one.

    Raises:
        OSError: the disk did not take it; an older page is as it was.
    """
    write_whole(path, text.encode("utf-8", "replace"), durable=False)
