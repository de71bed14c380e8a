"""Cloth maps: what is drawn is measured in the picture itself."""

from __future__ import annotations

import dataclasses
import io
import struct
from pathlib import Path
from xml.etree import ElementTree

import matplotlib
import matplotlib.image
import numpy as np
import pytest
import report_cases as cases
from matplotlib.colors import to_rgb

from analyzer.arrays import Floats, frozen
from analyzer.cloth.types import CoverRaster, Void
from analyzer.design import Design
from analyzer.errors import BadJob
from analyzer.files import write_whole
from analyzer.job import Job
from analyzer.laid import Grid
from analyzer.pipeline import Checked
from analyzer.regions.types import Regions
from analyzer.report import Check, cloth_map, map_names, maps
from analyzer.report.canvas import tick_step
from analyzer.report.drift import exaggeration
from analyzer.report.files import job_map_names
from analyzer.report.gap_map import ribbon_edge
from analyzer.report.measured_maps import cover_share
from analyzer.report.scales import lab_to_rgb, signed_lab
from analyzer.report.thread_look import stretches, tones

#: before-and-after sews the design anew, which a check made by hand cannot: see test_report_before_after.py
BY_HAND = tuple(name for name in map_names(cases.checked()) if name != "before-after")


def pixels(png: bytes) -> Floats:
    """Return the picture as (rows, columns, 3) floats of 0-1."""
    picture: Floats = np.asarray(matplotlib.image.imread(io.BytesIO(png), format="png"), dtype=np.float64)[
        ..., :3
    ]
    return picture


def chunks(png: bytes) -> list[bytes]:
    """Return the names of a PNG file's chunks (W3C PNG specification: length, name, data, CRC)."""
    names, at = [], 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        names.append(png[at + 4 : at + 8])
        at += 12 + length
    return names


def texts(png: bytes) -> dict[str, str]:
    """Return the tEXt chunks (PNG specification 11.3.4.3: keyword, null, Latin-1 text)."""
    found, at = {}, 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        if png[at + 4 : at + 8] == b"tEXt":
            key, _, text = png[at + 8 : at + 8 + length].partition(b"\0")
            found[key.decode("latin-1")] = text.decode("latin-1")
        at += 12 + length
    return found


def where(picture: Floats, rgb: str) -> tuple[Floats, Floats]:
    """Return rows and columns of the pixels of just that colour."""
    wanted = np.array([int(rgb[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    rows, columns = np.nonzero(np.abs(picture - wanted).max(axis=2) < 0.004)
    return rows.astype(np.float64), columns.astype(np.float64)


def longest_run(columns: Floats) -> int:
    """Return the length of the longest unbroken run of ascending whole numbers."""
    breaks = np.flatnonzero(np.diff(columns) != 1)
    return int(np.diff(np.concatenate(([-1], breaks, [len(columns) - 1]))).max())


@pytest.mark.parametrize("name", BY_HAND)
def test_maps_are_the_same_bytes_each_time(name: str) -> None:
    first = cloth_map(cases.checked(), name)
    with matplotlib.rc_context(
        {"figure.dpi": 30, "axes.facecolor": "red", "font.size": 30, "image.origin": "upper"}
    ):
        second = cloth_map(cases.checked(), name)
    assert first == second
    assert first != cloth_map(cases.checked(name="pennant"), name)
    assert first[:8] == b"\x89PNG\r\n\x1a\n"
    assert b"tIME" not in chunks(first)


def test_scale_bar_measures_the_design() -> None:
    """The brass outline is 20 mm from middle to middle and drawn 1.45 * 0.4 mm wide: 20.58 mm across."""
    picture = pixels(cloth_map(cases.checked(), "design"))
    brass = picture[:, : int(picture.shape[1] * 0.82)]  # beyond that is the list of threads
    rows, columns = np.nonzero(brass[:, :, 0] > brass[:, :, 2] + 0.15)
    across, high = np.ptp(columns) + 1, np.ptp(rows) + 1
    foot = picture[int(picture.shape[0] * 0.95) :, : int(picture.shape[1] * 0.25)]
    bar_rows, bar_columns = where(foot, "#202020")
    bar = max(longest_run(bar_columns[bar_rows == row]) for row in np.unique(bar_rows))
    assert bar / across == pytest.approx(5.0 / 20.58, rel=0.03)
    assert high == pytest.approx(across, rel=0.01)


def test_up_is_up() -> None:
    """A fill whose upper half is twice as dense is brighter above: rows of the grid count upwards."""
    one = cases.checked()
    values = one.cover.density.values.copy()
    values[12:] *= 2.0
    field = dataclasses.replace(one.cover.density, values=values)
    picture = pixels(
        cloth_map(dataclasses.replace(one, cover=dataclasses.replace(one.cover, density=field)), "density")
    )
    rows, columns = picture.shape[:2]
    middle = columns // 2 - columns // 10
    above, below = picture[int(rows * 0.3), middle].sum(), picture[int(rows * 0.7), middle].sum()
    assert above > below


@pytest.mark.parametrize("name", BY_HAND)
def test_title_and_description_are_inside_the_file(name: str) -> None:
    """PNG keywords as PNG 11.3.4.2 names them; SVG title and desc as SVG 2, 5.4."""
    told = texts(cloth_map(cases.checked(), name))
    svg = ElementTree.fromstring(cloth_map(cases.checked(), name, "svg"))
    space = "{http://www.w3.org/2000/svg}"
    assert "burgee" in told["Title"]
    assert len(told["Description"]) > 20
    assert [child.tag for child in svg[:2]] == [f"{space}title", f"{space}desc"]
    assert (svg[0].text, svg[1].text) == (told["Title"], told["Description"])
    assert svg.get("aria-labelledby") == f"{svg[0].get('id')} {svg[1].get('id')}"


@pytest.mark.parametrize("name", BY_HAND)
def test_vector_maps_are_the_same_bytes_and_refer_to_nothing_outside(name: str) -> None:
    svg = cloth_map(cases.checked(), name, "svg")
    assert svg == cloth_map(cases.checked(), name, "svg")
    for tag in ElementTree.fromstring(svg).iter():
        links = [value for key, value in tag.attrib.items() if key.endswith("href")]
        assert all(link.startswith(("#", "data:")) for link in links)


def test_hostile_names_stay_text_in_vector_maps() -> None:
    name = 'a</title><script>alert(1)</script>&"\x00\x07\udcff$x^2$'
    svg = cloth_map(cases.checked(name=name), "design", "svg")
    root = ElementTree.fromstring(svg)
    assert not [tag for tag in root.iter() if tag.tag.endswith("script")]
    assert "<script>alert(1)</script>" in (root[0].text or "")


def test_ink_is_black_and_white_and_numbered() -> None:
    """On paper read in monochrome every block has a number; without colour."""
    ink = pixels(cloth_map(cases.checked(), "design", tone="ink"))
    assert np.ptp(ink, axis=2).max() < 0.01
    svg = cloth_map(cases.checked(), "design", "svg", tone="ink").decode()
    for number in (1, 2):
        assert f"<!-- {number} -->" in svg  # matplotlib's comment on a text drawn as paths
    with pytest.raises(BadJob, match="design alone"):
        cloth_map(cases.checked(), "density", tone="ink")
    with pytest.raises(BadJob, match="png or svg"):
        cloth_map(cases.checked(), "density", "gif")  # type: ignore[arg-type]


def test_stitching_direction_shows_in_the_tone() -> None:
    """The same thread is lighter across the light than along it: rows at 62 and at 152 degrees differ."""
    steps = np.array([(np.cos(t), np.sin(t)) for t in np.radians((62.0, 152.0))])
    design = Design.from_commands(np.cumsum(np.r_[[(0.0, 0.0)], steps], axis=0), np.ones(3, dtype=np.uint8))
    regions = Regions((), frozen(np.zeros(3, dtype=np.int32)), ())
    along, across = np.concatenate([part.tone for part in stretches(design, regions)])
    look = [sum(to_rgb(tone)) for tone in tones("#808080")]
    assert along < across
    assert look == sorted(look)


def test_no_colours_no_tint() -> None:
    """A file without colours is drawn in greys alone; one with colours is not."""
    grey = pixels(cloth_map(cases.checked(coloured=False), "design"))
    tinted = pixels(cloth_map(cases.checked(), "design"))
    assert np.ptp(grey, axis=2).max() < 0.01
    assert np.ptp(tinted, axis=2).max() > 0.3


def test_drift_map_follows_the_drift() -> None:
    one = cases.checked()
    assert one.judged is not None
    still = dataclasses.replace(one.judged.response, drift=one.judged.response.drift * 0.5)
    calmer = dataclasses.replace(one, judged=dataclasses.replace(one.judged, response=still))
    assert cloth_map(calmer, "drift") != cloth_map(one, "drift")


def test_hoop_is_drawn_where_it_fits() -> None:
    one = cases.checked()
    assert one.judged is not None
    small = dataclasses.replace(one.judged.setup.hoop, width_mm=30.0, height_mm=30.0)
    near = dataclasses.replace(
        one, judged=dataclasses.replace(one.judged, setup=dataclasses.replace(one.judged.setup, hoop=small))
    )
    rows, _ = where(pixels(cloth_map(near, "design")), "#606060")
    far, _ = where(pixels(cloth_map(one, "design")), "#606060")
    assert len(rows) > 4 * len(far)


def beyond(checked: Checked) -> Checked:
    """Return the same check with a response beyond what can be computed."""
    assert checked.judged is not None
    pull = dataclasses.replace(checked.judged.response.pull_in, beyond_range=True)
    response = dataclasses.replace(checked.judged.response, pull_in=pull)
    return dataclasses.replace(checked, judged=dataclasses.replace(checked.judged, response=response))


def test_beyond_the_model_the_drift_map_shows_no_amount() -> None:
    """Neither scale nor outline: no colour but greys, and twice the drift gives the same picture."""
    wild = beyond(cases.checked())
    assert wild.judged is not None
    response = dataclasses.replace(wild.judged.response, drift=wild.judged.response.drift * 2.0)
    wilder = dataclasses.replace(wild, judged=dataclasses.replace(wild.judged, response=response))
    assert cloth_map(wild, "drift") == cloth_map(wilder, "drift")
    assert np.ptp(pixels(cloth_map(wild, "drift")), axis=2).max() < 0.01
    assert np.ptp(pixels(cloth_map(cases.checked(), "drift")), axis=2).max() > 0.3


def test_worst_gap_is_ringed_only_where_a_finding_is_about_it() -> None:
    one = cases.checked()
    assert one.judged is not None
    calm = dataclasses.replace(
        one, judged=dataclasses.replace(one.judged, findings=cases.findings((cases.NOTE,)))
    )
    ringed, plain = (pixels(cloth_map(check, "drift"))[160:] for check in (one, calm))
    differs = np.flatnonzero(np.abs(ringed - plain).max(axis=2).any(axis=0))
    assert 20 < np.ptp(differs) < 60  # the ring, and nothing else below the remark


@pytest.mark.parametrize(
    ("top", "step"), [(0.1, 0.1), (0.55, 0.1), (0.81, 0.2), (1.7, 0.5), (5.0, 1.0), (17.0, 5.0)]
)
def test_scales_have_ticks_at_tenths_at_the_finest(top: float, step: float) -> None:
    assert tick_step(top) == pytest.approx(step)


def test_many_voids_are_not_all_ringed() -> None:
    """Rings have a colour of their own; of a hundred voids no more of it is drawn than of five."""
    one = cases.checked()
    few = tuple(Void(2.0, (x, y), 0.8, False) for x in (3.0, 8.0) for y in (4.0, 12.0))
    many = tuple(Void(2.0, (x, y), 0.8, False) for x in range(1, 20, 2) for y in range(1, 20, 2))
    drawn = [
        len(where(pixels(cloth_map(dataclasses.replace(
            one, cover=dataclasses.replace(one.cover, voids=voids)), "coverage")), "#7a0f5c")[0])
        for voids in (few, many)
    ]  # fmt: skip
    assert 0 < drawn[1] < 2 * drawn[0]


def test_each_goods_compared_has_its_drift() -> None:
    names = map_names(cases.compared())
    drifts = ("drift-jersey", "drift-terry", "drift-cotton-twill")
    assert names == ("design", "density", "coverage", "layers", *drifts)
    assert names == job_map_names(Job())
    assert map_names(cases.checked()) == job_map_names(Job(goods="jersey"))
    assert cloth_map(cases.compared(), "drift-terry") != cloth_map(cases.compared(), "drift-jersey")


def test_unknown_map_names_the_known() -> None:
    with pytest.raises(BadJob, match="design, density, coverage, layers, drift"):
        cloth_map(cases.checked(), "weather")


@pytest.mark.parametrize(("largest", "factor"), [(0.0, 1), (0.01, 50), (0.5, 10), (7.9, 1), (30.0, 1)])
def test_exaggeration_keeps_drift_within_eight_per_cent(largest: float, factor: int) -> None:
    assert exaggeration(largest, 100.0) == factor


def test_maps_are_written_whole_and_not_over_others(tmp_path: Path) -> None:
    folder = tmp_path / "Bilder ü"
    files = maps(cases.compared(), folder, stem="wimpel")
    assert [file.name for file in files] == [f"wimpel-{name}.png" for name in map_names(cases.compared())]
    assert sorted(folder.iterdir()) == sorted(files)
    files[0].write_bytes(b"mine")
    files[3].unlink()
    with pytest.raises(BadJob, match="already"):
        maps(cases.compared(), folder, stem="wimpel")
    assert files[0].read_bytes() == b"mine"
    assert not files[3].exists()  # refused before anything was written
    maps(cases.compared(), folder, stem="wimpel", force=True)
    assert files[0].read_bytes()[:4] == b"\x89PNG"


def test_maps_are_written_as_vectors_when_asked(tmp_path: Path) -> None:
    files = maps(cases.compared(), tmp_path, stem="a", form="svg")
    assert {file.suffix for file in files} == {".svg"}
    assert ElementTree.parse(files[0]).getroot().tag.endswith("svg")
    Check.of(cases.checked()).map("gaps", tmp_path / "gaps.svg")
    assert ElementTree.parse(tmp_path / "gaps.svg").getroot().tag.endswith("svg")


def test_nothing_predicted_is_drawn_for_caps() -> None:
    """A cap is no flat cloth, which is all that is computed."""
    assert job_map_names(Job(goods="cotton-twill", holding="cap-frame")) == (
        "design", "density", "coverage", "layers",
    )  # fmt: skip


def test_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.png"
    target.write_bytes(b"old")

    def fail(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr("os.replace", fail)
    with pytest.raises(OSError, match="disk full"):
        write_whole(target, b"new", force=True)
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_map_of_a_check_is_returned_and_written(tmp_path: Path) -> None:
    file = tmp_path / "drift.png"
    assert Check.of(cases.checked()).map("drift", file) == file.read_bytes()


def test_ribbons_lie_on_the_side_that_the_sign_says() -> None:
    """GEOMETRY: n points out of the border; + is bare cloth, between the border's edge and the outline."""
    on = cases.checked().judged
    assert on is not None
    gap = on.response.gaps[0]
    width = np.array([0.3, -0.2])
    inward = np.einsum("ki,ki->k", ribbon_edge(gap, width, 20.0) - gap.at, gap.normal)
    assert inward == pytest.approx([-20.0 * 0.3, 20.0 * 0.2])


def test_signed_scale_is_even_to_the_eye_and_its_middle_is_zero() -> None:
    """Equal steps in CIELAB (CIE 15) either side; both arms as dark as each other; neutral in the middle."""
    lab = signed_lab(101)
    steps = np.hypot(np.hypot(*np.diff(lab[:, 1:], axis=0).T), np.diff(lab[:, 0]))
    assert np.ptp(steps) < 0.02 * steps.mean()
    assert lab[:, 0] == pytest.approx(lab[::-1, 0])
    assert lab[50, 1:] == pytest.approx([0.0, 0.0])
    rgb = lab_to_rgb(lab)
    assert ((rgb > 0.0) & (rgb < 1.0)).all()  # nothing is cut off at what a screen can show


@pytest.mark.parametrize(
    ("lab", "rgb"),
    [
        ((100.0, 0.0, 0.0), (1.0, 1.0, 1.0)),
        ((53.585, 0.0, 0.0), (0.50196, 0.50196, 0.50196)),  # #808080
        ((53.241, 80.092, 67.203), (1.0, 0.0, 0.0)),
        ((32.297, 79.188, -107.860), (0.0, 0.0, 1.0)),
    ],
)
def test_lab_to_screen(lab: tuple[float, ...], rgb: tuple[float, ...]) -> None:
    """The primaries of sRGB (IEC 61966-2-1) in CIELAB under D65, as commonly tabulated (from memory)."""
    assert lab_to_rgb(np.array([lab]))[0] == pytest.approx(rgb, abs=0.004)


def test_cover_share_of_rows_is_thread_over_pitch() -> None:
    """Rows one cell of thread and three of cloth: a quarter, nearly so at the edge; none far from thread."""
    threads = np.zeros((120, 60), dtype=np.uint8)
    threads[20:101:4] = 1
    share = cover_share(CoverRaster(Grid(0.0, 0.0, 0.1, 60, 120), threads))
    assert share[44:76, 20:40] == pytest.approx(0.25, abs=1e-9)
    assert share[20, 20:40] == pytest.approx(0.25, abs=0.06)
    assert np.isnan(share[:10]).all()
