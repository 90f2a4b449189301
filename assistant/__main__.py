"""`python -m assistant` is `lugcall`."""

from assistant.cli import run

run()
