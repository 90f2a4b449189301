"""Removing sound and photos of old jobs, which each record notes at its end; no line of it changes.

A record holds them only by their hash, so `lugcall verify` counts them as removed, which is no
damage. A clip or photo that is not what its record says is evidence, and is kept.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from assistant.record import Journal, RecordError, read_events, records_in
from assistant.record.clips import FOLDERS, REMOVED, held, state
from assistant.record.disk import reason
from assistant.review.acts import MAX_TEXT, lead_code, opened
from assistant.review.wording import many

_OURS = re.compile(r"[0-9a-f]{16}\.(?:flac|jpg|png)|\..*\.part")


@dataclass(frozen=True, slots=True)
class OldClip:
    """A clip or photo to remove: its file, of when it is, its bytes, and whose it was; and the
    record and the line (from 1) that refer to it, None and 0 if none does."""

    path: Path
    at: datetime
    size: int
    what: str
    record: Path | None = None
    line: int = 0

    @property
    def is_photo(self) -> bool:
        return self.path.parent.name.endswith(FOLDERS[1])


def counted(clips: Iterable[OldClip]) -> str:
    """`2 clips, 1 photo`; `0 clips` of none."""
    photos = [one.is_photo for one in clips]
    told = {"clip": photos.count(False), "photo": photos.count(True)}
    return ", ".join(many(n, what) for what, n in told.items() if n) or many(0, "clip")


@dataclass(slots=True)
class OldClips:
    """What a look through folders finds: `old` clips, and in `kept` a line on each that is left."""

    old: list[OldClip] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)

    @property
    def size(self) -> int:
        """Bytes of all that is old."""
        return sum(one.size for one in self.old)


def look(folders: Iterable[Path], days: int, now: datetime | None = None) -> OldClips:
    """Find the clips and photos older than `days`; removes nothing.

    Each is as old as the line of the record that refers to it; one that no record refers to is as
    old as its file. Those of damaged records are kept.

    Raises:
        RecordError: a folder cannot be listed.
    """
    found, known, clips = OldClips(), set[Path](), list[OldClip]()
    for folder in folders:
        if not folder.is_dir():
            raise RecordError(f"{folder} is no folder; name a folder of records")
        for path in records_in(folder):
            clips += _of_record(path, known, found.kept)
        clips += _orphans(folder, known)
    end = now or datetime.now(UTC)
    before = end - min(timedelta(days=days), end - datetime.min.replace(tzinfo=UTC))
    found.old = [clip for clip in clips if clip.at < before]
    return found


def _of_record(path: Path, known: set[Path], kept: list[str]) -> Iterator[OldClip]:
    """The clips of a record; it adds what it protects to `known`, and lines to `kept`."""
    try:
        events, problem = read_events(path)
    except RecordError as error:
        kept.append(str(error))
        events, problem = [], "unreadable"
    own = [path.parent / f"{path.stem}{end}" for end in FOLDERS]
    there = [file for folder in own if folder.is_dir() for file in folder.iterdir()]
    if problem is not None:
        known.update(there)
        if there:
            kept.append(f"{path.name} is damaged: its clips are kept")
        return
    for event in events:
        refers = held(event.kind, event.data)
        if refers is None:
            continue
        what, name, digest = refers
        file, how = path.parent / name, state(path.parent, name, digest)
        line = f"{path.name}, line {event.n + 1}"
        known.add(file)
        if how == "good" and not file.parent.is_symlink():
            yield OldClip(file, event.time, file.stat().st_size, line, path, event.n + 1)
        elif how != "removed":
            kept.append(f"{line}: its {what} is {how} and is kept")
            # A name that is no clip's own may point anywhere: it protects by name as well.
            known.update(p for p in there if p.name == file.name)


def _orphans(folder: Path, known: set[Path]) -> Iterator[OldClip]:
    """Clips that no record refers to: of a record that is gone, or from before a power cut."""
    for own in sorted(one for end in FOLDERS for one in folder.glob(f"*{end}")):
        for path in sorted(own.iterdir()) if own.is_dir() and not own.is_symlink() else ():
            if path not in known and _OURS.fullmatch(path.name) and not path.is_symlink():
                facts = path.stat()
                at = datetime.fromtimestamp(facts.st_mtime, UTC)
                yield OldClip(path, at, facts.st_size, "no record refers to it")


def remove(
    found: OldClips, lead: str = "", now: Callable[[], datetime] = datetime.now
) -> tuple[int, list[str]]:
    """Remove what `look` found old; returns how many went, and a line on each that did not.

    Each record gets a line of the kind "lead-retention" that says which clips and photos went, so
    that its own chain tells one removed by rule from one that is lost. A record in use keeps its
    own. The files go first: what is noted is gone, also after a power cut.

    `lead` is the code of the lead who does it; empty: by the shop's rule.

    Raises:
        LeadError: that is no lead's code; nothing was removed.
    """
    code = lead_code(lead) if lead else ""
    of: dict[Path | None, list[OldClip]] = {}
    for one in found.old:
        of.setdefault(one.record, []).append(one)
    gone, left = 0, list[str]()
    for record, clips in of.items():
        try:
            with nullcontext() if record is None else opened(record, now) as journal:
                went = _unlink(clips, left)
                gone += len(went)
                if journal is not None and went:
                    _note(journal, went, code, left)
        except RecordError as error:
            left.append(f"{record}: its clips are kept: {error}")
    return gone, left


def _note(journal: Journal, went: list[OldClip], code: str, left: list[str]) -> None:
    told = f"{counted(went)} removed"
    about = "line " + ", ".join(str(one.line) for one in went)
    clips = [one.path.name for one in went if not one.is_photo]
    photos = [one.path.name for one in went if one.is_photo]
    data: dict[str, Any] = {"lead": code, "text": told, "about": about[:MAX_TEXT], "clips": clips}
    data |= {"photos": photos} if photos else {}
    try:
        journal.append(REMOVED, data)
    except RecordError as error:
        left.append(f"{went[0].record}: {told}, which could not be noted in it: {error}")


def _unlink(clips: list[OldClip], left: list[str]) -> list[OldClip]:
    """Those that went; a line on each other one is added to `left`."""
    gone = []
    for one in clips:
        try:
            one.path.unlink(missing_ok=True)
            gone.append(one)
        except OSError as error:
            left.append(f"{one.path} could not be removed: {reason(error)[0]}")
        parent = one.path.parent
        if parent.is_dir() and not any(parent.iterdir()):
            parent.rmdir()
    return gone
