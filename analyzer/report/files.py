"""Where the files of a check go."""

from __future__ import annotations

from pathlib import Path

from analyzer.goods import cloth
from analyzer.job import Job
from analyzer.pipeline import COMPARED_ON

MEASURED_MAPS = ("design", "density", "coverage", "layers")
PREDICTED_MAPS = ("drift", "gaps", "pucker", "before-after")


def job_map_names(job: Job) -> tuple[str, ...]:
    """Return the names of the maps that a check for ``job`` has; without goods a drift for each one compared.

    On a cap, which is curved, strapped and seamed, nothing is predicted, so there is only what is measured.
    """
    if job.holding == "cap-frame":
        return MEASURED_MAPS
    if job.goods is None:
        return (*MEASURED_MAPS, *(f"drift-{cloth(name).name}" for name in COMPARED_ON))
    return (*MEASURED_MAPS, *PREDICTED_MAPS)


def map_paths(folder: Path, stem: str, names: tuple[str, ...], form: str = "png") -> tuple[Path, ...]:
    """Return where the maps of a design go."""
    return tuple(folder / f"{stem}-{name}.{form}" for name in names)
