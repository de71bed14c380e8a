"""The ``prehoop`` command: its subcommands, and the one place where errors become a line and an exit code.

Exit codes: 0 nothing at level fault; 1 at least one fault; 2 wrong usage or unreadable input;
130 interrupted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from analyzer import __version__
from analyzer.commands.check import check
from analyzer.commands.console import complain, prepare_streams, say_error
from analyzer.commands.counter import counter
from analyzer.commands.explain import explain
from analyzer.commands.formats import formats
from analyzer.commands.settings_list import settings
from analyzer.commands.tables import TABLE_COMMANDS
from analyzer.errors import PrehoopError

EXAMPLES = """\b
Examples:
  prehoop check crest.dst
  prehoop check crest.dst --goods jersey --maps pictures
  prehoop check *.pes --goods terry --json
  prehoop goods
"""


@click.group(
    name="prehoop",
    epilog=EXAMPLES,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="prehoop", message="%(prog)s %(version)s")
def prehoop() -> None:
    """Look an embroidery design over before anything is hooped.

    Says whether it will stitch true on these goods, where it will not, what to put behind it, and what
    to change.
    """


prehoop.add_command(check)
prehoop.add_command(counter)
for _command in TABLE_COMMANDS:
    prehoop.add_command(_command)
prehoop.add_command(formats)
prehoop.add_command(explain)
prehoop.add_command(settings)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and leave with its exit code."""
    # The matrices are small: several threads of the linear algebra library would mostly wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    prepare_streams()
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; every error has become one line on stderr."""
    try:
        code = prehoop.main(
            args=None if arguments is None else list(arguments), prog_name="prehoop", standalone_mode=False
        )
        sys.stdout.flush()
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help() if error.ctx else error.format_message())
        return 2
    except click.UsageError as error:
        where = error.ctx.command_path if error.ctx else "prehoop"
        complain(f"{error.format_message()} (see {where} --help)")
        return 2
    except (click.Abort, KeyboardInterrupt):
        complain("interrupted")
        return 130
    except BrokenPipeError:
        _drop_stdout()
        return 0
    except (click.ClickException, PrehoopError, OSError) as error:
        say_error(error)
        return 2
    except Exception as error:
        complain(f"something went wrong inside prehoop ({type(error).__name__}: {error}); please report it")
        return 2
    return code if isinstance(code, int) else 0


def _drop_stdout() -> None:
    """Let nobody complain about the rest of an output that its reader no longer wants."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
