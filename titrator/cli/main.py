"""`titrator`: the group of commands and the way errors leave the program."""

from __future__ import annotations

import contextlib
import io
import sys
from itertools import takewhile
from typing import Any, Final

import click

from titrator.cli.check import check
from titrator.cli.dry_run import dry_run
from titrator.cli.evaluate import evaluate
from titrator.cli.failure import NOT_DONE, Failure
from titrator.cli.new import new
from titrator.cli.resume import resume
from titrator.cli.rig import rig
from titrator.cli.run import run
from titrator.cli.tune import tune
from titrator.cli.words import answer, go_on, hold, stop

AS_JSON: Final = "titrator.as_json"
"""Key of the context: whether the command line asks for JSON, known before its options are understood."""


class _Group(click.Group):
    """Turns what can go wrong with the user's input into one message and an exit status, never a traceback."""

    def main(self, *args: Any, **extra: Any) -> Any:
        """As click's; standard output takes every name, and what fails before any command is told too."""
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(errors="backslashreplace")
        try:
            return super().main(*args, **extra)
        except (OSError, UnicodeError) as error:
            with contextlib.suppress(OSError):  # standard error may be what cannot be written
                click.echo(_net(error).text, err=True)
            sys.exit(NOT_DONE)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As click's."""
        ctx.meta[AS_JSON] = "--json" in takewhile(lambda word: word != "--", args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except Failure as failure:
            _give_up(ctx, failure)
        except click.UsageError as error:  # click tells it, on standard error
            _print_if_asked(ctx, Failure(error.format_message()))
            raise
        except BrokenPipeError:
            raise  # click ends quietly where nobody reads any more
        except (OSError, UnicodeError) as error:
            _give_up(ctx, _net(error))


def _net(error: Exception) -> Failure:
    """The last net: a disk that is full, a folder that cannot be read, a name that no encoding holds."""
    return Failure(f"expected to read and write what this command needs, got: {error}", NOT_DONE)


def _give_up(ctx: click.Context, failure: Failure) -> None:
    click.echo(failure.text, err=True)
    _print_if_asked(ctx, failure)
    ctx.exit(failure.status)


def _print_if_asked(ctx: click.Context, failure: Failure) -> None:
    if ctx.meta[AS_JSON]:
        from titrator.cli.output import print_json

        with contextlib.suppress(OSError):  # standard output may be what failed
            print_json(failure.document)


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
      titrator resume RUN        go on with one whose process was killed
      titrator tune METHOD       faster or more exact: settings compared on simulated cells
      titrator evaluate RUN      equivalence points and results again, or of a CSV file

    Exit status: 0 done, 1 the work could not be done, 2 the input was wrong, 130 interrupted.
    """


main.add_command(new)
main.add_command(check)
main.add_command(dry_run)
main.add_command(evaluate)
main.add_command(resume)
main.add_command(rig)
main.add_command(run)
main.add_command(tune)
for word in (hold, go_on, stop, answer):
    main.add_command(word)

if __name__ == "__main__":
    sys.exit(main())
