"""What can be laid over the cloth on the page: density, cover, layers, drift, gaps, pucker."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import matplotlib
import numpy as np
from matplotlib.colors import Colormap, to_hex

from analyzer.arrays import Floats
from analyzer.course import seen
from analyzer.findings import chance_words
from analyzer.findings.gaps import stretches
from analyzer.goods.constants import constants
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.drift import exaggeration, mean_drift
from analyzer.report.fill_in import worst_gap
from analyzer.report.gap_map import ribbon_edge, ribbon_mm
from analyzer.report.html.picture import by_scale, coloured
from analyzer.report.html.shape import PER_MM, Sheet, path
from analyzer.report.measured_maps import about_rings, cover_share, ringed
from analyzer.report.predicted import beyond_words
from analyzer.report.scales import amounts, sampled, signed
from analyzer.report.tables import ordinary_cover
from analyzer.report.words import Units, middle_of

_SWATCHES = 6
_LEVELS = 11  # tones of the ribbons of gaps
_MOST_LAYERS = 12
_HEAD = 0.32  # of an arrow, as a share of its length


@dataclass(frozen=True, slots=True)
class Swatch:
    """One step of a scale: its colour and what it stands for."""

    colour: str
    says: str


@dataclass(frozen=True, slots=True)
class Layer:
    """One thing to lay over: ``paths`` are (d, fill or None for a line in ink), ``rings`` x, y, radius."""

    key: str
    title: str
    says: str  #: what it shows, in full sentences
    scale: tuple[Swatch, ...] = ()
    unit: str = ""
    image: dict[str, str | int] | None = None
    paths: tuple[tuple[str, str | None], ...] = ()
    rings: tuple[tuple[int, int, int, bool], ...] = field(default=())  #: and whether it is probably meant
    pale: bool = False  #: whether the design is drawn pale beneath, since the layer does not cover it
    soft: bool = False  #: whether its image fades from cell to cell
    thin: bool = False  #: whether its lines are drawn thin, since what lies between them is what matters
    over_thread: bool = False  #: whether the thread in its own colours stays


def layers(checked: Checked, sheet: Sheet, units: Units) -> tuple[Layer, ...]:
    """Return what there is to lay over, measured first."""
    found = [_density(checked, sheet), _cover(checked, sheet), _threads_over(checked, sheet)]
    on = checked.judged
    if on is not None and on.setup.holding != "cap-frame":
        found += [
            _drift(checked, on, sheet, units),
            _gaps(checked, on, sheet, units),
            _pucker(on, sheet, units),
        ]
    return tuple(replace(layer, says=units.sentence(layer.says)) for layer in found)


def _steps(scale: Colormap, top: float, digits: int, count: int = _SWATCHES) -> tuple[Swatch, ...]:
    shares = np.linspace(0.0, 1.0, count)
    tones = [to_hex(tone) for tone in np.asarray(scale(shares))]
    return tuple(Swatch(tone, f"{top * share:.{digits}f}") for tone, share in zip(tones, shares, strict=True))


def _density(checked: Checked, sheet: Sheet) -> Layer:
    density = checked.cover.density
    values: Floats = np.where(density.values > 0.0, density.values, np.nan)
    top = max(float(density.values.max(initial=0.0)), 1.0)
    rows_mm = constants("report")["ordinary_rows_mm"].value
    return Layer(
        "density",
        "Thread density",
        f"Millimetres of thread on each mm2 of cloth. A fill of rows {rows_mm:.1f} mm apart lies at"
        f" {1.0 / rows_mm:.1f}.",
        _steps(matplotlib.colormaps["viridis"], top, 1),
        "mm per mm2",
        coloured(sheet, density.grid, by_scale(values, "viridis", top)),
    )


def _cover(checked: Checked, sheet: Sheet) -> Layer:
    raster = checked.cover.raster
    share = 100.0 * cover_share(raster)
    rings = tuple(
        (*sheet.unit(void.at), max(6, round(void.radius_mm * PER_MM)), void.meant) for void in ringed(checked)
    )
    return Layer(
        "coverage",
        "Cover and voids",
        f"How much of the ground around each point lies under thread ({ordinary_cover(checked.cover)})."
        f"{about_rings(checked)}",
        _steps(matplotlib.colormaps["cividis_r"], 100.0, 0),
        "% under thread",
        coloured(sheet, raster.grid, by_scale(share, "cividis_r", 100.0)),
        rings=rings,
    )


def _threads_over(checked: Checked, sheet: Sheet) -> Layer:
    raster = checked.cover.raster
    most = int(min(max(checked.cover.layers_most, 4), _MOST_LAYERS))
    tones = sampled("viridis", most, 0.97, 0.0)
    table = np.zeros((256, 4), dtype=np.uint8)
    for count in range(1, 256):
        tone = tones[min(count, most) - 1]
        table[count] = [int(tone[i : i + 2], 16) for i in (1, 3, 5)] + [255]
    more = int(raster.threads.max(initial=0)) > most
    scale = tuple(
        Swatch(tone, f"{number + 1}{' or more' if more and number + 1 == most else ''}")
        for number, tone in enumerate(tones)
    )
    return Layer(
        "layers",
        "Layers of thread",
        f"How many threads lie over each point, taken {checked.cover.thread_width_mm:.1f} mm wide.",
        scale,
        "threads",
        coloured(sheet, raster.grid, table[raster.threads]),
    )


def _drift(checked: Checked, on: OnGoods, sheet: Sheet, units: Units) -> Layer:
    """Return arrows of drift; where the cloth distorts beyond the model, of directions alone."""
    drift = on.response.drift
    beyond = on.response.pull_in.beyond_range
    most = float(np.hypot(*drift[seen(checked)].T).max(initial=0.0))
    factor = 1 if beyond else exaggeration(most, max(checked.design.size_mm))
    (mx, my), (hx, hy) = sheet.middle, sheet.half
    view = mx - hx, mx + hx, my - hy, my + hy
    tails, tips = ends_of(mean_drift(view, checked.design.penetrations, factor * drift, all_alike=beyond))
    drawn = f"drawn {factor} times as long as they are" if factor > 1 else "true to scale"
    says = (
        f"{beyond_words(on)} Arrows show only which way."
        if beyond
        else f"How far stitches move after they are sewn: arrows {drawn} (estimate)."
        f" At most {units.length(most)}."
    )
    return Layer("drift", "Drift", says, paths=((arrows(sheet, tails, tips), None),), over_thread=True)


def ends_of(mean: tuple[Floats, Floats, Floats, Floats]) -> tuple[Floats, Floats]:
    """Return where arrows (n, 2) mm begin and end, from x, y and what they show along x and y."""
    x, y, dx, dy = mean
    return np.stack((x, y), axis=1), np.stack((x + dx, y + dy), axis=1)


def arrows(sheet: Sheet, tails: Floats, tips: Floats) -> str:
    """Return arrows (n, 2) to (n, 2) mm as one path: a shaft and two barbs."""
    shafts = sheet.units(np.concatenate((tails, tips))).reshape(2, -1, 2)
    parts = []
    for (x0, y0), (x1, y1) in zip(shafts[0].tolist(), shafts[1].tolist(), strict=True):
        if (x0, y0) == (x1, y1):
            continue
        bx, by = (x0 - x1) * _HEAD, (y0 - y1) * _HEAD
        left, right = (bx * 0.8 - by * 0.6, by * 0.8 + bx * 0.6), (bx * 0.8 + by * 0.6, by * 0.8 - bx * 0.6)
        parts.append(
            f"M{x0} {y0}L{x1} {y1}l{left[0]:.0f} {left[1]:.0f}M{x1} {y1}l{right[0]:.0f} {right[1]:.0f}"
        )
    return "".join(parts)


def _gaps(checked: Checked, on: OnGoods, sheet: Sheet, units: Units) -> Layer:
    gaps = [gap for gap in on.response.gaps if len(gap.at)]
    title = "Gaps at outlines"
    if on.response.pull_in.beyond_range:
        return Layer("gaps", title, f"{beyond_words(on)} No gap can be given.", over_thread=True)
    if not gaps:
        none = "No outline follows another region's edge, so there is no gap to predict."
        return Layer("gaps", title, none, over_thread=True)
    widths = [ribbon_mm(gap, on) for gap in gaps]
    largest = max(float(np.abs(width).max()) for width in widths)
    factor = exaggeration(largest, max(checked.design.size_mm))
    worst = worst_gap(on)
    top = max(largest, abs(worst.limit_mm) if worst else 0.0, 0.2)
    tones = [to_hex(tone) for tone in signed()(np.linspace(0.0, 1.0, _LEVELS))]
    quads: list[list[Floats]] = [[] for _ in tones]
    lines: list[Floats] = []
    for gap, width in zip(gaps, widths, strict=True):
        near, far = gap.at, ribbon_edge(gap, width, factor)
        bounds = stretches(gap.at, gap.station_mm).tolist()
        for first, end in pairwise(bounds):
            lines += [near[first:end], far[first:end]] if end - first > 1 else []
            for i in range(first, end - 1):
                level = round((width[i] + width[i + 1]) / 2.0 / top * (_LEVELS // 2)) + _LEVELS // 2
                quads[level].append(np.stack((near[i], near[i + 1], far[i + 1], far[i])))
    paths = [
        (path(sheet, level).replace("M", "zM").lstrip("z") + "z", tone)
        for level, tone in zip(quads, tones, strict=True)
        if level
    ]
    drawn = f"drawn {factor} times as wide as they are" if factor > 1 else "true to scale"
    scale = tuple(
        Swatch(tone, units.bare(top * (number / (_LEVELS // 2) - 1.0), signed=True))
        for number, tone in enumerate(tones)
        if number % 2 == 1 or number == _LEVELS // 2
    )
    says = (
        f"A ribbon along each outline is as wide as the gap to what it borders, {drawn} (estimate). On the"
        " border's side and amber: bare cloth. On the other side and violet: overlap."
    )
    return Layer(
        "gaps",
        title,
        says,
        scale,
        f"{units.plural}: + bare cloth, 0 they meet, - overlap",
        paths=(*paths, (path(sheet, lines), None)),
        pale=True,
        thin=True,
    )


def _pucker(on: OnGoods, sheet: Sheet, units: Units) -> Layer:
    if on.response.pull_in.beyond_range:
        return Layer("pucker", "Pucker", beyond_words(on), over_thread=True)
    percent = 100.0 * on.response.strain
    top = max(float(np.quantile(percent, 0.999)), 1.0)
    pucker = on.findings.pucker
    allowed = (on.setup.limits or constants("limits"))["pucker_mm"].value
    says = (
        "How much the cloth is drawn together; beside the stitching it must go somewhere when the hoop"
        f" comes off (estimate). Ring: waves are likeliest here,"
        f" {units.length(pucker.amplitude_mm)} high. Higher than {units.length(allowed)}:"
        f" {chance_words(pucker.chance)}."
    )
    return Layer(
        "pucker",
        "Pucker",
        says,
        _steps(amounts(), top, 1),
        "% drawn together",
        coloured(sheet, on.response.grid, by_scale(percent, amounts(), top)),
        rings=((*sheet.unit(pucker.at), 25, False),),
        pale=True,
        soft=True,
    )


def units_of(checked: Checked, name: str) -> Units:
    """Return the units of display with places counted from the middle of the design."""
    return Units(name, middle_of(checked.design))
