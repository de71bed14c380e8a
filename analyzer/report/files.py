"""Where the files of a check go."""

from __future__ import annotations

from pathlib import Path

from analyzer.goods import cloth
from analyzer.job import Job
from analyzer.pipeline import COMPARED_ON

MEASURED_MAPS = ("design", "density", "coverage")


def job_map_names(job: Job) -> tuple[str, ...]:
    """Return the names of the maps that a check for ``job`` will have: one drift for each goods."""
    drifts = ("drift",) if job.goods is not None else tuple(f"drift-{cloth(n).name}" for n in COMPARED_ON)
    return (*MEASURED_MAPS, *drifts)


def map_paths(folder: Path, stem: str, names: tuple[str, ...]) -> tuple[Path, ...]:
    """Return where the maps of a design go."""
    return tuple(folder / f"{stem}-{name}.png" for name in names)
