"""``prehoop serve``: the local page."""

from __future__ import annotations

import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analyzer.commands.options import book_in, options
from analyzer.commands.settings import FILE_NAME, files_for, job_of, settings_for
from analyzer.errors import BadJob

if TYPE_CHECKING:
    from analyzer.job import Job

EXAMPLES = """\b
Examples:
  prehoop serve
  prehoop serve --book designs
  prehoop serve --port 9000

The page is served to this machine only (127.0.0.1). Files dropped on it stay here and go when it ends.
"""


@click.command(epilog=EXAMPLES)
@click.option(
    "--port", type=click.IntRange(1024, 65535), default=8674, show_default=True, help="Port on 127.0.0.1."
)
@click.option(
    "--book", "book_file", type=click.Path(exists=True, path_type=Path), metavar="FILE",
    help="Design book to look through, or the folder that was scanned.",
)  # fmt: skip
@click.option(
    "--jobs", type=click.IntRange(1, 64), metavar="N", help="Worker processes (one for each processor)."
)
@options(
    "goods", "colour", "care", "back", "holding", "hoop", "machine", "thread", "needle", "speed", "tolerance",
    "topping", "applique", "backing", "stock", "seed",
)  # fmt: skip
@click.pass_context
def serve(ctx: click.Context, /, port: int, book_file: Path | None, jobs: int | None, **_: Any) -> None:
    """Show the local page: drop a design, see it on the cloth.

    Options that describe a job are what the page begins with.
    """
    try:
        import uvicorn

        from analyzer.page import make_app
    except ImportError as error:
        raise BadJob(
            f"the page needs the extra: pip install 'prehoop[web]' ({error.name} is missing)"
        ) from None
    import platformdirs

    from analyzer.library.workers import cores

    settings_file = platformdirs.user_config_path("prehoop", appauthor=False) / FILE_NAME

    def base() -> Job:
        return job_of(settings_for(ctx, files_for(Path.cwd() / "any")))

    base()  # what is wrong with the settings is said now
    app = make_app(
        base,
        port,
        book=book_file and book_in(book_file),
        settings_file=settings_file,
        workers=jobs or max(1, min(4, cores())),
    )
    config = uvicorn.Config(
        app, host="127.0.0.1", port=port, log_level="warning", server_header=False, access_log=False
    )
    with _listening(port) as listening:
        click.echo(f"The page is at http://127.0.0.1:{port}/ (Ctrl-C ends it).", err=True)
        uvicorn.Server(config).run(sockets=[listening])


def _listening(port: int) -> socket.socket:
    """Return a socket of this machine alone, bound before anybody is told of the page."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # there it would let two programs have one port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
    except OSError as error:
        listening.close()
        raise BadJob(
            f"port {port} cannot be used ({error.strerror}): end what uses it, or choose another with --port"
        ) from None
    return listening
