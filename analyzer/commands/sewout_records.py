"""Where the records of sew-outs lie, and the calibration that a job takes from them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analyzer.job import Calibration, Job, OwnMaterials
    from analyzer.sewout.records import Records

MACHINE = "machine"  #: name of the machine of users who name none


def records_path(named: Path | None) -> Path:
    """Return the file that the user names, or the one in the folder that the system keeps for data."""
    if named is not None:
        return named
    import platformdirs

    return platformdirs.user_data_path("prehoop", appauthor=False) / "sewouts.json"


def machine_of(job: Job) -> str:
    """Return the name by which a job's machine is known to the records."""
    return job.machine.name if job.machine is not None else MACHINE


def thread_of(job: Job) -> str:
    """Return the name of the upper thread of a job."""
    from analyzer.goods import tables_of

    tables = tables_of(job.own)
    return (tables.thread(job.thread) if job.thread is not None else tables.usual_thread()).name


def calibration_of(job: Job, named: Path | None) -> Calibration | None:
    """Return what the user's own sew-outs taught of a job's machine and thread; None without any.

    Raises:
        BadRecords: the file of records cannot be read.

    """
    path = records_path(named)
    if not path.exists():
        return None
    from analyzer.sewout.records import load

    machine, thread = machine_of(job), thread_of(job)
    for one in load(path).taught:
        if (one.machine, one.thread) == (machine, thread):
            return one.calibration
    return None


def change(path: Path, changed_by: Callable[[Records], Records], own: tuple[OwnMaterials, ...]) -> str:
    """Change the records, learn again, and return the id of the last."""
    from analyzer.sewout.records import alone, load, save
    from analyzer.sewout.teaching import lesson_of, taught

    with alone(path):
        changed = changed_by(load(path))
        save(path, taught(changed, lesson_of(changed, own)))
    return changed.records[-1].id if changed.records else ""
