"""`titrator`: the group of commands and the way errors leave the program."""

from __future__ import annotations

import sys
from typing import Any

import click

from titrator.cli.check import check
from titrator.cli.dry_run import dry_run
from titrator.cli.evaluate import evaluate
from titrator.cli.failure import NOT_DONE, Failure
from titrator.cli.new import new
from titrator.cli.rig import rig
from titrator.cli.run import run
from titrator.cli.words import answer, go_on, hold, stop


class _Group(click.Group):
    """Turns what can go wrong with the user's input into one message and an exit status, never a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except Failure as failure:
            click.echo(failure.text, err=True)
            ctx.exit(failure.status)
        except (OSError, UnicodeError) as error:
            # The last net: a disk that is full, a folder that cannot be read, a name that no encoding holds.
            if isinstance(error, BrokenPipeError):
                raise  # click ends quietly where nobody reads any more
            click.echo(f"expected to read and write what this command needs, got: {error}", err=True)
            ctx.exit(NOT_DONE)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="titrator")
def main() -> None:
    """Unattended potentiometric titration from a YAML method file, rehearsed on a simulated cell.

    \b
    Begin here:
      titrator new FOLDER        a method, a rig and a simulated cell from a few questions
      titrator check METHOD      is the method file sound?
      titrator dry-run METHOD    the whole titration against the simulated cell
      titrator run METHOD        the same on a bench, unattended
      titrator evaluate RUN      equivalence points and results again, or of a CSV file

    Exit status: 0 done, 1 the work could not be done, 2 the input was wrong, 130 interrupted.
    """


main.add_command(new)
main.add_command(check)
main.add_command(dry_run)
main.add_command(evaluate)
main.add_command(rig)
main.add_command(run)
for word in (hold, go_on, stop, answer):
    main.add_command(word)

if __name__ == "__main__":
    sys.exit(main())
