"""`python -m assistant` is `lugcall`."""

from assistant.cli import main

main(prog_name="lugcall")
