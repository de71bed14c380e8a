"""Cloth maps: the design on the cloth with one measured or predicted quantity laid over it, as PNG or SVG."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import get_args

from analyzer.errors import BadJob
from analyzer.files import refuse_existing, write_whole
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.before_after import before_after_map
from analyzer.report.canvas import Form, Tone, own_style
from analyzer.report.design_map import design_map, ink_map
from analyzer.report.drift import drift_map
from analyzer.report.files import job_map_names, map_paths
from analyzer.report.gap_map import gap_map
from analyzer.report.measured_maps import coverage_map, density_map, layers_map
from analyzer.report.pucker_map import pucker_map


def map_names(checked: Checked) -> tuple[str, ...]:
    """Return the names of the maps of ``checked``: without goods one ``drift`` for each goods compared."""
    return job_map_names(checked.job)


def cloth_map(checked: Checked, name: str, form: Form = "png", *, tone: Tone = "colour") -> bytes:
    """Return one map as PNG or SVG.

    ``tone="ink"`` gives the design as a sheet read in black and white needs it: colour blocks told apart by
    their hatch, outline and number, with centre mark and axes.

    Raises:
        BadJob: there is no such map of this check, form or tone.

    """
    if name not in map_names(checked):
        raise BadJob(f"there is no map '{name}' of this check: it has {', '.join(map_names(checked))}")
    if form not in get_args(Form):
        raise BadJob(f"a map is drawn as png or svg, not '{form}'")
    if tone not in get_args(Tone) or (tone == "ink" and name != "design"):
        raise BadJob(f"there is no map '{name}' in '{tone}': the design alone is drawn in ink")
    with own_style():
        if name in _MEASURED:
            return (ink_map if tone == "ink" else _MEASURED[name])(checked, form)
        if checked.judged is None:
            return drift_map(checked, _compared(checked)[name.removeprefix("drift-")], form)
        return _PREDICTED[name](checked, checked.judged, form)


_MEASURED: dict[str, Callable[[Checked, Form], bytes]] = {
    "design": design_map,
    "density": density_map,
    "coverage": coverage_map,
    "layers": layers_map,
}
_PREDICTED: dict[str, Callable[[Checked, OnGoods, Form], bytes]] = {
    "drift": drift_map,
    "gaps": gap_map,
    "pucker": pucker_map,
    "before-after": before_after_map,
}


def maps(
    checked: Checked,
    folder: str | Path,
    *,
    stem: str | None = None,
    form: Form = "png",
    force: bool = False,
) -> tuple[Path, ...]:
    """Write every map of ``checked`` into ``folder`` (made when missing) and return the files.

    Raises:
        BadJob: one of the files is there already and ``force`` is false; none is written then.
        OSError: the folder cannot be written to.

    """
    names, place = map_names(checked), Path(folder)
    paths = map_paths(place, stem or Path(checked.design.name).stem, names, form)
    if not force:
        refuse_existing(paths)
    place.mkdir(parents=True, exist_ok=True)
    for name, path in zip(names, paths, strict=True):
        write_whole(path, cloth_map(checked, name, form), force=force)
    return paths


def _compared(checked: Checked) -> dict[str, OnGoods]:
    """Return, of each goods compared, the one with its usual backing (the last of its kind)."""
    return {one.setup.cloth.name: one for one in checked.comparison}
