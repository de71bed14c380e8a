"""The result of a check as the library hands it out."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from analyzer import pipeline
from analyzer.countered import Countered, countered
from analyzer.design import Design
from analyzer.findings.types import Finding, GapVerdict, PuckerVerdict
from analyzer.job import Job
from analyzer.pipeline import Checked, Progress
from analyzer.report.fill_in import document
from analyzer.report.schema import encode

_TEXTS = ("goods", "care", "back", "holding", "hoop", "thread", "needle", "colour", "topping", "applique")
_NUMBERS = ("speed_spm", "tolerance_mm")


@dataclass(frozen=True, slots=True)
class Check(Checked):
    """Everything that a check found, with ways to say it.

    ``findings``, ``gaps`` and ``pucker`` are those of the goods and stack judged; without goods there are
    only the findings that need none, and ``outcome`` and ``plan`` are None.
    """

    @classmethod
    def of(cls, checked: Checked) -> Check:
        """Return ``checked`` as a Check."""
        return cls(**{field.name: getattr(checked, field.name) for field in dataclasses.fields(Checked)})

    @property
    def outcome(self) -> str | None:
        """``hoop-it``, ``sample-first``, ``rework``, or None without goods."""
        return self.plan.outcome if self.plan else None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The problems found."""
        return self.judged.findings.items if self.judged else self.measured.items

    @property
    def gaps(self) -> tuple[GapVerdict, ...]:
        """The gap at each outline; + bare cloth, - overlap, mm."""
        return self.judged.findings.gaps if self.judged else ()

    @property
    def pucker(self) -> PuckerVerdict | None:
        """The pucker to expect; None without goods."""
        return self.judged.findings.pucker if self.judged else None

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document as plain dictionaries and lists, keys in the document's order."""
        plain: dict[str, Any] = msgspec.json.decode(self.to_json())
        return plain

    def to_json(self) -> str:
        """Return the JSON document, indented; the same check gives the same text."""
        return encode(document(self)).decode("utf-8")

    def text(self, *, units: str = "mm", width: int = 80) -> str:
        """Return the check as a screen of plain text; ``units`` is "mm" or "in" and touches lengths only."""
        from analyzer.report.terminal import text

        return text(self, units=units, width=width)

    def countered(self, progress: Progress | None = None) -> Countered:
        """Return the countered copy: the design moved so that, sewn here, it comes out where it is meant.

        Raises:
            BadJob: the check names no goods, or holds them on a cap frame.
            NotConverged: a solve missed its tolerance.

        """
        return countered(self, progress)

    def map_names(self) -> tuple[str, ...]:
        """Return the names that :meth:`map` takes."""
        from analyzer.report.cloth_maps import map_names

        return map_names(self)

    def map(self, name: str, file: str | Path | None = None, *, force: bool = False) -> bytes:
        """Return the cloth map ``name``, and write it to ``file`` when one is named.

        It is a PNG, or an SVG where the name of ``file`` ends so.

        Raises:
            BadJob: there is no such map, or ``file`` is there already and ``force`` is false.

        """
        from analyzer.files import write_whole
        from analyzer.report.cloth_maps import cloth_map

        svg = file is not None and Path(file).suffix.lower() == ".svg"
        picture = cloth_map(self, name, "svg" if svg else "png")
        if file is not None:
            write_whole(Path(file), picture, force=force)
        return picture

    def report(self, file: str | Path, *, units: str = "mm", force: bool = False) -> None:
        """Write a report: ``.pdf`` is the risk report, the sewing sheet and the note to the digitizer.

        Raises:
            BadJob: the name ends in no known form, or the file is there already and ``force`` is false.

        """
        from analyzer.report.reports import write_report

        write_report(self, Path(file), units=units, force=force)


def check(
    design: Design, job: Job | None = None, progress: Progress | None = None, *, changes: bool = True
) -> Check:
    """Look ``design`` over for ``job`` and say whether it will stitch true, where not, and what to change.

    ``progress`` is called with a few words on what is being done and the share done, 0 to 1. ``changes``:
    whether changes to the design are tried where it cannot simply be hooped.

    Raises:
        TypeError: ``design`` is no Design (read it first), ``job`` no Job, or a setting of another type.
        UnknownName: the job names goods, backing, thread, needle or hoop that no table holds.
        BadJob: the job contradicts itself or the design does not fit its hoop.

    """
    if not isinstance(design, Design):
        raise TypeError(f"check takes a Design, not {_kind(design)}: read the file first, check(read(path))")
    asked = Job() if job is None else job
    _refuse_other_types(asked)
    return Check.of(pipeline.check(design, asked, progress, changes=changes))


def _kind(value: object) -> str:
    return f"{type(value).__name__} {value!r}"[:60]


def _refuse_other_types(job: Job) -> None:
    """Raise TypeError for a setting that is not of the type that Job states."""
    if not isinstance(job, Job):
        raise TypeError(f"check takes a Job as its second argument, not {_kind(job)}")
    for name in _TEXTS:
        value = getattr(job, name)
        if not (value is None or isinstance(value, str)):
            example = ' such as "130x180"' if name == "hoop" else ""
            raise TypeError(f"Job({name}=...) takes a text{example}, not {_kind(value)}")
    for name in _NUMBERS:
        value = getattr(job, name)
        if isinstance(value, bool) or not (value is None or isinstance(value, int | float)):
            raise TypeError(f"Job({name}=...) takes a number, not {_kind(value)}")
    for name in ("backing", "stock"):
        value = getattr(job, name)
        texts = isinstance(value, tuple) and all(isinstance(one, str) for one in value)
        if not (value is None or texts or (name == "backing" and isinstance(value, str))):
            raise TypeError(f'Job({name}=...) takes texts such as ("cutaway:85",), not {_kind(value)}')
