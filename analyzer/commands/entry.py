"""The ``prehoop`` command: its subcommands, and the one place where errors become a line and an exit code.

Exit codes: 0 nothing at level fault; 1 at least one fault; 2 wrong usage or unreadable input;
130 interrupted.
"""

from __future__ import annotations

import difflib
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

import click

from analyzer import __version__
from analyzer.commands.console import complain, prepare_streams, say_error
from analyzer.errors import PrehoopError

EXAMPLES = """\b
Examples:
  prehoop check crest.dst
  prehoop check crest.dst --goods jersey --maps pictures
  prehoop check *.pes --goods terry --json
  prehoop goods
"""


#: Every command: the module that holds it, its name there, and what the list of commands says of it.
COMMANDS = {
    "check": ("check", "check", "Look one or more designs over before hooping."),
    "counter": ("counter", "counter", "Write the countered copy of a design."),
    "serve": ("serve", "serve", "Show the local page: drop a design, see it on the cloth."),
    "scan": ("scan", "scan", "Read a whole library of designs into a design book."),
    "book": ("book", "book", "Ask a design book."),
    "order": ("order", "order", "Make the paperwork of an order: risks, sewing sheets, materials."),
    "sewout": ("sewout", "sewout", "Learn from sew-outs that you measure."),
    "goods": ("tables", "goods", "List the cloths that prehoop knows, and your own."),
    "backings": ("tables", "backings", "List the kinds of backing, and your own, with their usual weights."),
    "toppings": ("tables", "toppings", "List the toppings."),
    "threads": ("tables", "threads", "List the threads."),
    "needles": ("tables", "needles", "List the needles."),
    "hoops": ("tables", "hoops", "List the hoops by their sewing fields."),
    "formats": ("formats", "formats", "List the stitch file formats that are read and written."),
    "explain": ("explain", "explain", "Explain a finding; without a name, list them all."),
    "settings": ("settings_list", "settings", "Show what a check goes by, and where each value comes from."),
}


class LateCommands(click.Group):
    """A group that imports a command's module when that command is asked for, and not before."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, in the order in which they are wanted."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, or None where there is none of that name."""
        if cmd_name not in COMMANDS:
            if ctx.resilient_parsing or cmd_name.startswith("-"):
                return None
            nearest = difflib.get_close_matches(cmd_name, COMMANDS, n=1, cutoff=0.5)
            ctx.fail(f"No such command '{cmd_name}'." + (f" Did you mean {nearest[0]}?" if nearest else ""))
        module, name, _ = COMMANDS[cmd_name]
        command: click.Command = getattr(import_module(f"analyzer.commands.{module}"), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, _, summary) in COMMANDS.items()])


@click.group(
    name="prehoop",
    cls=LateCommands,
    epilog=EXAMPLES,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="prehoop", message="%(prog)s %(version)s")
def prehoop() -> None:
    """Look an embroidery design over before anything is hooped.

    Says whether it will stitch true on these goods, where it will not, what to put behind it, and what
    to change.
    """


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
