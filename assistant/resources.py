"""Folders that come with the program: beside the package in a checkout, else inside it."""

from __future__ import annotations

from pathlib import Path


def data_folder(name: str, holds: str) -> Path:
    """The folder `name` of the checkout if it `holds` that file, else the installed copy."""
    package = Path(__file__).resolve().parent
    beside = package.parent / name
    return beside if (beside / holds).is_file() else package / f"_{name}"
