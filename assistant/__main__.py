"""`python -m assistant` is `lugcall`."""

from assistant.cli.main import run

run()
