"""The command line: a file a command, each imported only when it is called."""

import os
import sys
from collections.abc import Sequence
from importlib import import_module

import click

from dryspell.errors import DryspellError

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

DEBUG = "DRYSPELL_DEBUG"
BAD_INPUT, INTERNAL, INTERRUPTED = 2, 70, 130
"""Exit codes; 70 is EX_SOFTWARE of sysexits.h, 130 is what shells give for Ctrl-C."""


class LazyGroup(click.Group):
    """A group that imports a command's module when that command is called, and none to list them."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  (click's signature)
        """Return the names in the order of the table above."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002  (click's signature)
        """Return a command; None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"dryspell.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002  (click's signature)
        """Write the list of commands."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dryspell", message="%(prog)s %(version)s")
def cli() -> None:
    """Watches the weather against every coat of varnish or paint that is built up outdoors.

    dryspell advises. The data sheet on the can, your eye and your thumb decide.
    """


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code: 0, 1 (a "no", if asked for), 2 for bad input, 70 for a fault."""
    try:
        result = cli.main(
            args=None if arguments is None else list(arguments), prog_name="dryspell", standalone_mode=False
        )
    except click.ClickException as error:
        error.show()
        return BAD_INPUT
    except DryspellError as error:
        click.echo(f"dryspell: {error}", err=True)
        return BAD_INPUT
    except (click.Abort, KeyboardInterrupt):
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe, such as head, has left. Nothing more can be written, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
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
