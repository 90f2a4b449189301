"""`python -m assistant` is `lugcall`: Ctrl-C and missing libraries, from its first moment on."""

# What `signal` is made of: `signal` itself takes longer to import than somebody to press a key.
import _signal  # type: ignore[import-not-found]
import sys


def run() -> None:
    """The program. Until it is loaded Ctrl-C just ends it: nothing has begun that could be lost."""
    if _signal.getsignal(_signal.SIGINT) is _signal.default_int_handler:
        _signal.signal(_signal.SIGINT, _signal.SIG_DFL)
    try:
        from assistant.cli.main import run as commands

        commands()
    except ImportError as error:
        what = (error.name or str(error)).partition(".")[0]
        told = f"lugcall: {what}, a library it needs, cannot be loaded; "
        told += "pip install lugcall again, with [voice] to hear and speak"
        print(told, file=sys.stderr)
        raise SystemExit(1) from None


if __name__ == "__main__":
    run()
