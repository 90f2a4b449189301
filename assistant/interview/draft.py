"""A card in the making on disk: one line a change, synced before it is answered.

The draft stands in the cards' folder until the card is kept; whoever is cut off goes on from it.
"""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

from assistant.card import CardError
from assistant.card.making import Making
from assistant.record.disk import lock, reason, sync_folder, write_all

NAME = "card-in-the-making.jsonl"


class Draft:
    """The draft of one folder, held by this session alone.

    Raises:
        CardError: the folder or the draft cannot be used; one line on what to do.
        RecordBusy: another session makes a card there.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._fd = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
        except OSError as error:
            raise _unusable(folder, error) from None
        try:
            lock(self._fd, NAME)
            self.changes = self._read()
        except BaseException:
            os.close(self._fd)
            raise

    def _read(self) -> list[dict[str, Any]]:
        """The changes so far; a line torn by a power cut is cut off."""
        data = self.path.read_bytes()
        whole = data[: data.rfind(b"\n") + 1]
        if len(whole) < len(data):
            os.ftruncate(self._fd, len(whole))
        try:
            changes = [json.loads(line) for line in whole.decode("utf-8").splitlines() if line]
            trial = Making()
            for change in changes:
                trial.change(change)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            raise CardError(
                f"{self.path} holds what lugcall does not write; move it away to begin anew"
            ) from None
        return changes

    def add(self, changes: list[dict[str, Any]]) -> None:
        """Keep changes; they are on the disk when this returns. Raises CardError."""
        block = "".join(json.dumps(change, ensure_ascii=False) + "\n" for change in changes)
        try:
            write_all(self._fd, block.encode("utf-8", "replace"))
            os.fsync(self._fd)
            sync_folder(self.folder)
        except OSError as error:
            raise _unusable(self.folder, error) from None
        self.changes += changes

    def clear(self) -> None:
        """Begin anew."""
        os.ftruncate(self._fd, 0)
        self.changes = []

    def remove(self) -> None:
        """The card is kept: the draft goes."""
        self.path.unlink(missing_ok=True)

    def close(self) -> None:
        """Let go of the file; a draft with nothing in it goes."""
        if self._fd >= 0:
            if not self.changes:
                self.remove()
            os.close(self._fd)
            self._fd = -1


def keep(path: Path, text: str) -> None:
    """Write a card in one go; one that stood there is kept beside it, as NAME.old, NAME.old.2...

    Raises:
        CardError: it cannot be written; what stood there stands.
    """
    part = path.with_name(path.name + ".part")
    try:
        with part.open("w", encoding="utf-8") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        if path.exists():
            shutil.copyfile(path, _free(path))
        os.replace(part, path)
        sync_folder(path.parent)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise _unusable(path.parent, error) from None


def _free(path: Path) -> Path:
    old, n = path.with_name(path.name + ".old"), 1
    while old.exists():
        n += 1
        old = path.with_name(f"{path.name}.old.{n}")
    return old


def _unusable(folder: Path, error: OSError) -> CardError:
    what, remedy = reason(error)
    return CardError(f"no card can be made in {folder}: {what}; {remedy}, or name another folder")
