"""Cloth maps: the design on the cloth with one measured or predicted quantity laid over it, as PNG or SVG."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import get_args

import matplotlib
import numpy as np
from matplotlib.colors import BoundaryNorm, ListedColormap, to_hex
from matplotlib.patches import Circle

from analyzer.cloth.types import Void
from analyzer.errors import BadJob
from analyzer.files import refuse_existing, write_whole
from analyzer.goods.constants import constants
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.canvas import Form, Sheet, Tone, file_title, own_style
from analyzer.report.design_map import design_map, hoop_of, ink_map
from analyzer.report.drift import drift_map
from analyzer.report.files import MEASURED_MAPS, map_paths
from analyzer.report.tables import ordinary_cover

_VOIDS_NAMED = 12
_NAMED_FROM_MM = 0.5  #: radius from which a label is no larger than what it names
_OUTLINE = "#7a0f5c"


def map_names(checked: Checked) -> tuple[str, ...]:
    """Return the names of the maps of ``checked``: one ``drift``, or one for each goods compared."""
    drifts = ("drift",) if checked.judged else tuple(f"drift-{goods}" for goods in _compared(checked))
    return (*MEASURED_MAPS, *drifts)


def cloth_map(checked: Checked, name: str, form: Form = "png", *, tone: Tone = "colour") -> bytes:
    """Return one map as PNG or SVG.

    ``tone="ink"`` gives the design as a sheet read in black and white needs it: colour blocks told apart by
    their hatch, outline and number, with centre mark and axes.

    Raises:
        BadJob: there is no such map of this check, form or tone.

    """
    drawers: dict[str, Callable[[Checked, Form], bytes]] = {
        "design": design_map if tone == "colour" else ink_map,
        "density": density_map,
        "coverage": coverage_map,
    }
    if name not in map_names(checked):
        raise BadJob(f"there is no map '{name}' of this check: it has {', '.join(map_names(checked))}")
    if form not in get_args(Form):
        raise BadJob(f"a map is drawn as png or svg, not '{form}'")
    if tone not in get_args(Tone) or (tone == "ink" and name != "design"):
        raise BadJob(f"there is no map '{name}' in '{tone}': the design alone is drawn in ink")
    with own_style():
        if name in drawers:
            return drawers[name](checked, form)
        return drift_map(checked, checked.judged or _compared(checked)[name.removeprefix("drift-")], form)


def maps(
    checked: Checked, folder: str | Path, *, stem: str | None = None, force: bool = False
) -> tuple[Path, ...]:
    """Write every map of ``checked`` into ``folder`` (made when missing) and return the files.

    Raises:
        BadJob: one of the files is there already and ``force`` is false; none is written then.
        OSError: the folder cannot be written to.

    """
    names, place = map_names(checked), Path(folder)
    paths = map_paths(place, stem or Path(checked.design.name).stem, names)
    if not force:
        refuse_existing(paths)
    place.mkdir(parents=True, exist_ok=True)
    for name, path in zip(names, paths, strict=True):
        write_whole(path, cloth_map(checked, name), force=force)
    return paths


def _compared(checked: Checked) -> dict[str, OnGoods]:
    """Return, of each goods compared, the one with its usual backing (the last of its kind)."""
    return {one.setup.cloth.name: one for one in checked.comparison}


def density_map(checked: Checked, form: Form) -> bytes:
    """Draw millimetres of thread per mm2 of cloth on the cells that it was measured on."""
    field = checked.cover.density
    shown = np.ma.masked_less_equal(field.values, 0.0)
    top = max(float(field.values.max(initial=0.0)), 1.0)
    rows_mm, limit = constants("report")["ordinary_rows_mm"].value, _pile_up(checked)
    sheet = Sheet(
        checked,
        f"Thread density: {file_title(checked)}",
        f"Length of thread over each {field.grid.cell_mm:g} mm cell. A fill of rows {rows_mm:.1f} mm apart"
        f" lies at {1.0 / rows_mm:.1f}. Thread piles up from {limit:.0f} on, as the mean of 3 by 3 mm"
        + (", marked on the scale." if limit <= top else "; nothing here comes near."),
    )
    sheet.frame(hoop_of(checked))
    image = sheet.axes.imshow(
        shown,
        origin="lower",
        extent=field.grid.extent_mm,
        cmap="viridis",
        vmin=0.0,
        vmax=top,
        interpolation="nearest",
    )
    sheet.look()
    sheet.scale(image, "thread, mm per mm2", mark=(limit, "piles up") if limit <= top else None)
    return sheet.render(form)


def _pile_up(checked: Checked) -> float:
    """Return the density from which thread piles up: the job's own limit, or the table's."""
    limits = (checked.judged.setup.limits if checked.judged else None) or constants("limits")
    return limits["pile_up_mm_per_mm2"].value


def coverage_map(checked: Checked, form: Form) -> bytes:
    """Draw how many threads lie on each point, with the voids ringed."""
    raster = checked.cover.raster
    most = 4
    counts = np.minimum(raster.threads, most)
    sheet = Sheet(
        checked,
        f"Coverage: {file_title(checked)}",
        f"{checked.cover.coverage:.0%} of the stitched ground lies under thread"
        f" ({ordinary_cover(checked.cover)}).{_about_rings(checked)}",
    )
    sheet.frame(hoop_of(checked))
    tones = ["#ffffff", *_sampled("cividis", most)]
    colours = ListedColormap(tones)
    norm = BoundaryNorm(np.arange(-0.5, most + 1.0), colours.N)
    image = sheet.axes.imshow(
        counts,
        origin="lower",
        extent=raster.grid.extent_mm,
        cmap=colours,
        norm=norm,
        interpolation="antialiased",
        interpolation_stage="rgba",
    )
    sheet.look()
    _rings(sheet, checked)
    sheet.scale(image, "threads over a point (4: four or more)")
    return sheet.render(form)


def _sampled(name: str, count: int) -> list[str]:
    """Return ``count`` tones of a colour map, light to dark."""
    return [to_hex(colour) for colour in matplotlib.colormaps[name](np.linspace(0.85, 0.1, count))]


def _ringed(checked: Checked) -> tuple[Void, ...]:
    """Return the voids that are ringed, largest first: all, or a few of lace and of very many."""
    voids = sorted(checked.cover.voids, key=lambda void: -void.radius_mm)
    lace = checked.judged is not None and checked.judged.setup.cloth.family == "none"
    many = len(voids) > constants("report")["voids_ringed"].value
    return tuple(voids[: int(constants("report")["voids_ringed_few"].value)] if lace or many else voids)


def _about_rings(checked: Checked) -> str:
    ringed, voids = len(_ringed(checked)), len(checked.cover.voids)
    if not voids:
        return " No voids."
    which = "voids"
    if ringed < voids:
        which = f"the {ringed} largest of {voids} voids, of up to {_ringed(checked)[0].area_mm2:.1f} mm2"
    return f" Rings: {which}, dashed where probably meant."


def _rings(sheet: Sheet, checked: Checked) -> None:
    voids = _ringed(checked)
    all_ringed = len(voids) == len(checked.cover.voids)
    for number, void in enumerate(voids):
        dash = (0, (4, 2)) if void.meant else "solid"
        radius = max(void.radius_mm, 0.3)
        sheet.axes.add_patch(
            Circle(void.at, radius, fill=False, edgecolor=_OUTLINE, linewidth=1.4, linestyle=dash)
        )
        if all_ringed and number < _VOIDS_NAMED and void.radius_mm >= _NAMED_FROM_MM:
            sheet.axes.annotate(
                f"{void.area_mm2:.1f} mm2",
                void.at,
                xytext=(6, 6),
                textcoords="offset points",
                fontsize=7,
                color=_OUTLINE,
                bbox={"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 1},
            )
