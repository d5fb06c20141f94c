"""The command ``bed-scanner`` itself: its list of commands, and errors told as sentences."""

from __future__ import annotations

from typing import Any

import click

from scanner import __version__
from scanner.cli.assemble import assemble
from scanner.cli.calibrate import calibrate
from scanner.cli.calls import calls
from scanner.cli.care import care
from scanner.cli.checklist import checklist
from scanner.cli.find import demo, scan
from scanner.cli.get_in import check, new
from scanner.cli.record import record
from scanner.cli.talk import say
from scanner.cli.trace import trace
from scanner.errors import InputError, LogError


class StoryGroup(click.Group):
    """A group that lists its commands in the order of the story and tells errors as sentences."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  # click's signature
        """
        List the commands as they were added, which is the order of use.

        Parameters
        ----------
        ctx
            What click knows of this call.

        Returns
        -------
        names
            Names of the commands.
        """
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401  # click's signature
        """
        Run a command; what someone can fix becomes a sentence and exit code 1.

        Parameters
        ----------
        ctx
            What click knows of this call.

        Returns
        -------
        result
            What the command returned.
        """
        try:
            return super().invoke(ctx)
        except (InputError, LogError) as err:
            say(f"Cannot go on: {err}")
            raise click.exceptions.Exit(1) from err
        except PermissionError as err:
            # Nearly always a list that is still open in a spreadsheet program.
            say(f"Cannot go on: {err.filename} is locked. Close it elsewhere, then try again.")
            raise click.exceptions.Exit(1) from err


@click.group(name="bed-scanner", cls=StoryGroup, context_settings={"max_content_width": 100})
@click.version_option(__version__, prog_name="bed-scanner")
def main() -> None:
    """
    Find, size, price and rank accent beds on the lots that you mow.

    A book is one folder with your client list and your lots. Begin with
    "bed-scanner demo", then "bed-scanner new my-book".

    Exit code: 0 done, 1 the input needs fixing, 2 wrong usage.
    """


for command in (new, assemble, trace, checklist, check, scan, demo, calls, record, calibrate, care):
    main.add_command(command)
