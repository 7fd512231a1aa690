"""The command line: a file a command, each imported only when it is called."""

import gc
import os
import sys
from collections.abc import Iterator, Sequence

from dryspell.errors import DryspellError

# What checks our models needs no plugins; to look for them in all that is installed takes a twentieth of a second.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
# Only fits multiply matrices, of a few columns; to start a thread a core for that is a tenth of what `windows` costs.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ABOUT = (
    "Watches the weather against every coat of varnish or paint that is built up outdoors.",
    "dryspell advises. The data sheet on the can, your eye and your thumb decide.",
)
# Name and what `dryspell --help` says of it; the module of that name in this package defines `command`.
COMMANDS = {
    "init": "Write a first configuration, by a few questions.",
    "run": "The daemon: watches the weather and sends the alerts.",
    "demo": "The daemon on an invented scenario; needs no network.",
    "windows": "Every window ahead for the next coat, and why the rest is not one.",
    "plan": "Every coat to come with its day and hours, and when each piece is done.",
    "coat": "Record a coat as done, correct one, or take the last one back.",
    "log": "What was put on, when and in what weather; also as a page to print.",
    "material": "What the coats to come take, and what to buy for them.",
    "fit": "How a piece stands in the weather, from a surface probe's log.",
    "review": "How often verdicts and odds were right here.",
    "replay": "A past period run through the daemon at speed.",
    "fleet": "Many sites and pieces out of a table, on several processors or machines.",
    "check": "Whether the configuration is good, part by part.",
    "status": "Whether the daemon runs, and how all that it needs does.",
    "backup": "Make a whole copy of the state, beside a running daemon.",
    "restore": "Put such a copy in the place of the state.",
    "export": "Write all that is kept as open formats: CSV, JSON Lines, iCalendar.",
}

SHORT = frozenset({"windows", "coat", "log", "material", "check", "status"})
"""What ends in about a second. To look for garbage meanwhile, and to take apart at the end all that was imported, is a
fifth of its cost, and gives back what the end of the process gives back anyway."""

DEBUG = "DRYSPELL_DEBUG"
BAD_INPUT, INTERNAL, INTERRUPTED = 2, 70, 130
"""Exit codes; 70 is EX_SOFTWARE of sysexits.h, 130 is what shells give for Ctrl-C."""
_WIDTH = 78
"""Click's lines are as long at the most."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code: 0, 1 (a "no", if asked for), 2 for bad input, 70 for a fault."""
    asked = sys.argv[1:] if arguments is None else list(arguments)
    if asked in (["--help"], ["-h"]) and _columns() >= _WIDTH + 2:
        return _print_help()
    if asked and asked[0] in SHORT and gc.isenabled():
        return _short(asked, alone=arguments is None)
    return _called(asked)


def _short(asked: list[str], *, alone: bool) -> int:
    """Run a command that ends soon, alone in its process or not."""
    gc.disable()
    if alone:
        from dryspell.heap import in_large_pages, keep_at_hand  # noqa: PLC0415  (what --help does without)

        keep_at_hand()  # a fortieth of what `windows` costs is memory met anew
        in_large_pages()
    try:
        code = _called(asked)
    finally:
        if not alone:
            gc.enable()
    return _end(code) if alone and not _is_watched() else code


def _is_watched() -> bool:
    """Say whether a debugger or a profiler looks on, which has to see the end."""
    return sys.gettrace() is not None or sys.getprofile() is not None


def _end(code: int) -> int:
    """End the process at once; what is in the way of the last words does not matter any more."""
    from contextlib import suppress  # noqa: PLC0415  (a third of what --help costs)

    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(code)


def _called(asked: list[str]) -> int:
    import click  # noqa: PLC0415  (two thirds of what the list of commands would cost)

    from dryspell.cli import plugins  # noqa: PLC0415
    from dryspell.cli.group import cli  # noqa: PLC0415

    plugins.leave_out()
    try:
        result = cli.main(args=asked, prog_name="dryspell", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return BAD_INPUT
    except DryspellError as error:
        click.echo(f"dryspell: {error}", err=True)
        return BAD_INPUT
    except (click.Abort, KeyboardInterrupt):
        return INTERRUPTED
    except BrokenPipeError:
        return _left_alone()
    except Exception as error:
        if os.environ.get(DEBUG):
            raise
        click.echo(
            f"dryspell: a fault of the program, not of yours: {type(error).__name__}: {error}\n"
            f"Run it again with {DEBUG}=1 to see where, and report that.",
            err=True,
        )
        return INTERNAL
    return result if isinstance(result, int) else 0


def _left_alone() -> int:
    """Go quietly where the reader of a pipe, such as head, has left: nothing more can be written, not even at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _columns() -> int:
    """Return how wide the terminal is, as shutil would, without what that imports."""
    try:
        return int(os.environ["COLUMNS"])
    except (KeyError, ValueError):
        try:
            return os.get_terminal_size(sys.__stdout__.fileno()).columns if sys.__stdout__ else _WIDTH + 2
        except (OSError, ValueError):
            return _WIDTH + 2


def _print_help() -> int:
    """Print what click prints for --help, where lines are as long as it makes them at the most."""
    try:
        print("\n".join(_help()), flush=True)
    except BrokenPipeError:
        return _left_alone()
    return 0


def _help() -> Iterator[str]:
    yield "Usage: dryspell [OPTIONS] COMMAND [ARGS]..."
    for paragraph in ABOUT:
        yield ""
        yield from _wrapped(paragraph, "  ")
    yield from ("", "Options:", "  --version   Show the version and exit.", "  -h, --help  Show this message and exit.")
    yield from ("", "Commands:")
    widest = max(map(len, COMMANDS))
    for name, says in COMMANDS.items():
        first, *rest = _wrapped(says, " " * (widest + 4))
        yield f"  {name.ljust(widest)}  {first.lstrip()}"
        yield from rest


def _wrapped(text: str, indent: str) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(indent) + len(lines[-1]) + 1 + len(word) > _WIDTH:
            lines.append("")
        lines[-1] += f" {word}" if lines[-1] else word
    return [indent + line for line in lines]
