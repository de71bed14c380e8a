"""Reports to hand on: which file a name asks for, and its bytes."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path

from analyzer.errors import BadJob
from analyzer.files import write_whole
from analyzer.pipeline import Checked

#: what a report's name ends in -> module and function that make it, loaded late
_MAKERS = {
    ".html": ("analyzer.report.html", "html_report"),
    ".pdf": ("analyzer.report.paper", "check_report"),
}


def known_report(path: Path) -> Path:
    """Return ``path`` when its name says which kind of report it is.

    Raises:
        BadJob: it does not.

    """
    if path.suffix.lower() not in _MAKERS:
        raise BadJob(f"{path.name}: a report ends in {' or '.join(_MAKERS)}; name it so")
    return path


def report_paths(paths: tuple[Path, ...], stem: str | None) -> tuple[Path, ...]:
    """Return where the reports of one design go; of several, each has its ``stem`` in the name."""
    named = tuple(known_report(path) for path in paths)
    return named if stem is None else tuple(path.with_stem(f"{path.stem}-{stem}") for path in named)


def report_bytes(checked: Checked, suffix: str, units: str = "mm") -> bytes:
    """Return the report of one check in the form that ``suffix`` names, such as ``.pdf``."""
    module, function = _MAKERS[suffix.lower()]
    make: Callable[[Checked, str], bytes] = getattr(import_module(module), function)
    return make(checked, units)


def write_report(checked: Checked, path: Path, *, units: str = "mm", force: bool = False) -> None:
    """Write the report of one check, whole or not at all.

    Raises:
        BadJob: the name ends in no known form, or the file is there already and ``force`` is false.
        OSError: the place cannot be written to.

    """
    write_whole(path, report_bytes(checked, known_report(path).suffix, units), force=force)
