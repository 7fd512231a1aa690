"""The command line as click has it."""

from importlib import import_module

import click

from dryspell.cli import ABOUT, COMMANDS


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


@click.group(cls=LazyGroup, help="\n\n".join(ABOUT), context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dryspell", message="%(prog)s %(version)s")
def cli() -> None:
    """Hold all commands."""
