"""The cloth maps of what is measured in the file: thread density, coverage with its voids, layers."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.patches import Circle
from scipy.ndimage import binary_closing, uniform_filter

from analyzer.arrays import Floats
from analyzer.cloth.types import CoverRaster, Void
from analyzer.goods.constants import constants
from analyzer.pipeline import Checked
from analyzer.report.canvas import Form, Sheet, file_title
from analyzer.report.design_map import hoop_of
from analyzer.report.scales import sampled
from analyzer.report.tables import ordinary_cover

_VOIDS_NAMED = 12
_NAMED_FROM_MM = 0.5  #: radius from which a label is no larger than what it names
_OUTLINE = "#7a0f5c"
_CLOSE_MM = 0.35  #: half the distance of rows over which ground counts as stitched
_AROUND_MM = 2.0  #: side of the square whose covered share is drawn at its middle
_FEWEST_LAYERS, _MOST_LAYERS = 4, 12  #: ends of the scale of layers


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
    """Draw which share of the ground lies under thread, place by place, with the voids ringed."""
    raster = checked.cover.raster
    sheet = Sheet(
        checked,
        f"Coverage: {file_title(checked)}",
        f"{checked.cover.coverage:.0%} of the stitched ground lies under thread"
        f" ({ordinary_cover(checked.cover)}). Drawn: the share around each point.{about_rings(checked)}",
    )
    sheet.frame(hoop_of(checked))
    image = sheet.axes.imshow(
        np.ma.masked_invalid(100.0 * cover_share(raster)),
        origin="lower",
        extent=raster.grid.extent_mm,
        cmap="cividis_r",
        vmin=0.0,
        vmax=100.0,
        interpolation="nearest",
    )
    sheet.look()
    _rings(sheet, checked)
    sheet.scale(image, "of the ground under thread, %")
    return sheet.render(form)


def cover_share(raster: CoverRaster) -> Floats:
    """Return the covered share (ny, nx) of the stitched ground around each point, nan where none is stitched.

    Ground is what thread covers, closed over the distance of ordinary rows, so that edges do not look thin.
    """
    covered = raster.threads > 0
    rounds = max(1, round(_CLOSE_MM / raster.grid.cell_mm))
    cross = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], dtype=np.bool_)
    ground = binary_closing(np.pad(covered, rounds), cross, iterations=rounds)[rounds:-rounds, rounds:-rounds]
    window = max(1, round(_AROUND_MM / raster.grid.cell_mm))
    under = uniform_filter(covered.astype(np.float64), window, mode="constant")
    of = uniform_filter(ground.astype(np.float64), window, mode="constant")
    share: Floats = np.where(ground, under / np.where(ground, of, 1.0), np.nan)
    return share


def layers_map(checked: Checked, form: Form) -> bytes:
    """Draw how many threads lie over each point."""
    raster = checked.cover.raster
    most = int(min(max(checked.cover.layers_most, _FEWEST_LAYERS), _MOST_LAYERS))
    more = int(raster.threads.max(initial=0)) > most
    sheet = Sheet(
        checked,
        f"Layers: {file_title(checked)}",
        f"Threads over each point, taken {checked.cover.thread_width_mm:.1f} mm wide."
        f" At most {checked.cover.layers_most}, but for single points.",
    )
    sheet.frame(hoop_of(checked))
    colours = ListedColormap(["#ffffff", *sampled("viridis", most, 0.97, 0.0)])
    norm = BoundaryNorm(np.arange(-0.5, most + 1.0), colours.N)
    image = sheet.axes.imshow(
        np.minimum(raster.threads, most),
        origin="lower",
        extent=raster.grid.extent_mm,
        cmap=colours,
        norm=norm,
        interpolation="antialiased",
        interpolation_stage="rgba",
    )
    sheet.look()
    sheet.scale(image, f"threads over a point ({most}: {most} or more)" if more else "threads over a point")
    return sheet.render(form)


def ringed(checked: Checked) -> tuple[Void, ...]:
    """Return the voids that are ringed, largest first: all, or a few of lace and of very many."""
    voids = sorted(checked.cover.voids, key=lambda void: -void.radius_mm)
    lace = checked.judged is not None and checked.judged.setup.cloth.family == "none"
    many = len(voids) > constants("report")["voids_ringed"].value
    return tuple(voids[: int(constants("report")["voids_ringed_few"].value)] if lace or many else voids)


def about_rings(checked: Checked) -> str:
    """Return what is said of the voids and their rings."""
    drawn, voids = len(ringed(checked)), len(checked.cover.voids)
    if not voids:
        return " No voids."
    which = "voids"
    if drawn < voids:
        which = f"the {drawn} largest of {voids} voids, of up to {ringed(checked)[0].area_mm2:.1f} mm2"
    return f" Rings: {which}, dashed where probably meant."


def _rings(sheet: Sheet, checked: Checked) -> None:
    voids = ringed(checked)
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
