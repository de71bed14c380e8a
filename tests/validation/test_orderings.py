"""Signs and ranks seen in published measurements, found again by the whole of ``check``.

Only order is compared: no publication gives the millimetres of a stated cloth on a stated backing.

Sources
-------
R&J
    Radaviciene & Juciene, Fibres & Textiles in Eastern Europe 20, 3(92), 2012, 92-97: embroidered elements
    come out smaller than the file for every width.
K
    A study of organza, linen, chiffon, batiste, raschel mesh and jersey, 2019, koreascience
    JAKO201928862524018 (abstract): knits shrink more than wovens, satin more than step fill, any stabilizer
    less than none, pliable cloth more.
D&M
    Daukantiene & Mikelionyte, Autex Research Journal 2019, doi 10.2478/aut-2019-0046 (abstract): fill
    type, density and thread each change the result.
F&T
    A study of the stiffness of embroidered cloth, Fashion and Textiles 2020, s40691-020-00225-6 (abstract):
    stitch density moves it most, then stitch length.
J
    R. M. Jones, Mechanics of Composite Materials, 2nd ed., section 2.6: the stiffness of an orthotropic sheet
    at an angle follows from both main stiffnesses, Poisson's ratio and shear.
CP
    Common practice, no source.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from analyzer import Check, Design, Job, check
from analyzer.design import Command
from analyzer.goods import threads

SPACING_MM = 0.4


def design_of(*objects: np.ndarray) -> Design:
    """One colour block for each object, (k, 2) penetrations in mm."""
    points, kinds = [], []
    for number, path in enumerate(objects):
        if number:
            points.append(path[:1])
            kinds.append(np.array([Command.COLOUR_CHANGE]))
        points.append(path)
        kinds.append(np.full(len(path), Command.STITCH))
    return Design.from_commands(np.concatenate(points), np.concatenate(kinds).astype(np.uint8))


def satin_column(width_mm: float, length_mm: float = 30.0, spacing_mm: float = 0.2) -> np.ndarray:
    """Threads along x, column along y."""
    y = np.arange(0.0, length_mm, spacing_mm)
    x = np.where(np.arange(y.size) % 2 == 0, -width_mm / 2, width_mm / 2)
    return np.column_stack([x, y - length_mm / 2])


def filled(half_width: np.ndarray, y: np.ndarray, stitch_mm: float = 3.5) -> np.ndarray:
    """Staggered rows along x; ``half_width`` (r,) of each row at ``y`` (r,)."""
    rows = []
    for number, (half, at) in enumerate(zip(half_width, y, strict=True)):
        offset = stitch_mm * (number % 4) / 4
        inner = np.arange(-half + 0.8 + offset, half - 0.8, stitch_mm)
        x = np.concatenate([[-half], inner, [half]])
        rows.append(np.column_stack([x if number % 2 == 0 else x[::-1], np.full(x.size, at)]))
    return np.concatenate(rows)


def square(side_mm: float = 20.0, spacing_mm: float = SPACING_MM) -> np.ndarray:
    y = np.arange(-side_mm / 2, side_mm / 2 + 1e-9, spacing_mm)
    return filled(np.full(y.size, side_mm / 2), y)


def beside() -> np.ndarray:
    """A square that begins 2 mm beside the disc, to be sewn after it."""
    return square(24.0) + np.array([29.0, 0.0])


def disc(radius_mm: float = 15.0) -> np.ndarray:
    y = np.arange(-radius_mm + 0.3, radius_mm - 0.2, SPACING_MM)
    return filled(np.sqrt(radius_mm**2 - y**2), y)


def ring_run(radius_mm: float = 15.0) -> np.ndarray:
    angle = np.linspace(0.0, 2 * np.pi, 48)
    return radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


def turned(points: np.ndarray, degrees: float) -> np.ndarray:
    """Turn counter-clockwise about the origin."""
    a = np.radians(degrees)
    return points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])


def long_stitches(side_mm: float = 20.0) -> np.ndarray:
    """The square with stitches of 4.5 mm."""
    y = np.arange(-side_mm / 2, side_mm / 2 + 1e-9, SPACING_MM)
    return filled(np.full(y.size, side_mm / 2), y, 4.5)


@cache
def judged(shape: str, goods: str, backing: str, thread: str | None = None) -> Check:
    shapes = {
        "square": lambda: design_of(square()),
        "open square": lambda: design_of(square(spacing_mm=0.6)),
        "dense square": lambda: design_of(square(spacing_mm=0.3)),
        "outline last": lambda: design_of(disc(), beside(), ring_run()),
        "outline at once": lambda: design_of(disc(), ring_run(), beside()),
        "long stitches": lambda: design_of(long_stitches()),
        "satin square": lambda: design_of(satin_column(7.0, 7.0)),
        "fill square": lambda: design_of(square(7.0)),
        **{f"square at {a}": (lambda a=a: design_of(turned(square(16.0), a))) for a in (0, 45, 90)},
        **{f"satin {w}": (lambda w=w: design_of(satin_column(float(w)))) for w in (2, 3, 4, 6, 7)},
    }
    return check(shapes[shape](), Job(goods=goods, backing=backing, hoop="100x100", thread=thread))


def pull_in(shape: str, goods: str, backing: str) -> float:
    """Largest movement of the stitched cloth, mm."""
    result = judged(shape, goods, backing).judged
    assert result is not None
    return result.response.pull_in.max_mm


@pytest.mark.parametrize("width_mm", [2, 3, 4, 6, 7])
@pytest.mark.parametrize("goods", ["cotton-twill", "jersey"])
def test_a_column_comes_out_narrower_than_the_file_at_every_width(width_mm: int, goods: str) -> None:
    """R&J: widths 2, 3, 4, 6 and 7 mm all come out smaller."""
    result = judged(f"satin {width_mm}", goods, "cutaway:68").judged
    assert result is not None
    (column,) = result.response.columns
    assert column.width_mm == pytest.approx(width_mm, abs=0.05)
    assert 0.0 < column.nominal_mm < 0.25 * width_mm
    assert np.percentile(column.draws_mm, 5) > 0.0


def shrinks(width_mm: int, goods: str, thread: str) -> None:
    """A column of this width, 30 mm long: narrower, and of smaller area, though it may spread lengthwise."""
    result = judged(f"satin {width_mm}", goods, "cutaway:68", thread).judged
    assert result is not None
    (column,) = result.response.columns
    pull = result.response.pull_in
    assert 0.0 < column.nominal_mm < 0.25 * width_mm
    assert np.percentile(column.draws_mm, 5) > 0.0
    assert pull.along_mm > 0.0
    assert (width_mm - pull.along_mm) * (30.0 - pull.across_mm) < width_mm * 30.0


@pytest.mark.parametrize("thread", list(threads()))
def test_width_and_area_shrink_with_every_thread(thread: str) -> None:
    """R&J; D&M: the thread changes the result."""
    shrinks(4, "cotton-twill", thread)
    if thread != "viscose-40":
        usual, other = (
            judged("satin 4", "cotton-twill", "cutaway:68", name).judged for name in ("viscose-40", thread)
        )
        assert usual is not None
        assert other is not None
        assert usual.response.pull_in.along_mm != pytest.approx(other.response.pull_in.along_mm, rel=0.01)


@pytest.mark.long
@pytest.mark.parametrize("width_mm", [2, 3, 4, 6, 7])
@pytest.mark.parametrize("thread", list(threads()))
@pytest.mark.parametrize("goods", ["cotton-twill", "jersey"])
def test_width_and_area_shrink_for_every_width_and_thread(width_mm: int, thread: str, goods: str) -> None:
    """R&J."""
    shrinks(width_mm, goods, thread)


@pytest.mark.parametrize("knit", ["jersey", "interlock", "performance-knit"])
@pytest.mark.parametrize("woven", ["cotton-twill", "denim", "canvas"])
def test_knits_shrink_more_than_wovens(knit: str, woven: str) -> None:
    """K, on one and the same backing."""
    assert pull_in("square", knit, "cutaway:68") > 1.1 * pull_in("square", woven, "cutaway:68")


@pytest.mark.parametrize("goods", ["jersey", "cotton-twill", "organza"])
@pytest.mark.parametrize("backing", ["tearaway:51", "cutaway:68", "wash-away-fibrous:40"])
def test_any_stabilizer_shrinks_less_than_none(goods: str, backing: str) -> None:
    """K."""
    assert pull_in("square", goods, backing) < pull_in("square", goods, "none")


def test_a_softer_cloth_shrinks_more() -> None:
    """K: more pliable cloth shrinks more; ranked by the stiffness along the rows in the cloth table."""
    from analyzer.goods import cloth

    names = ("jersey", "batiste", "cotton-twill", "canvas")
    softness = [1.0 / (cloth(n).e2_kn_per_m.value * cloth(n).working_factor.value) for n in names]
    assert softness == sorted(softness, reverse=True)
    moved = [pull_in("square", name, "tearaway:51") for name in names]
    assert moved == sorted(moved, reverse=True)


def test_satin_shrinks_more_than_step_fill() -> None:
    """K: for elements of one width, the share of the width that is lost is larger in satin than in fill."""
    satin = judged("satin 7", "cotton-twill", "cutaway:68").judged
    fill = judged("square", "cotton-twill", "cutaway:68").judged
    assert satin is not None
    assert fill is not None
    share_satin = satin.response.columns[0].nominal_mm / 7.0
    share_fill = 2.0 * fill.response.pull_in.visible_mm / 20.0
    assert share_satin > share_fill


def test_a_satin_square_shrinks_more_than_a_filled_one() -> None:
    """K: two squares of 7 mm on one cloth, by the loss of their size along the stitches."""
    lost = {}
    for shape in ("satin square", "fill square"):
        result = judged(shape, "cotton-twill", "cutaway:68").judged
        assert result is not None
        columns = result.response.columns
        lost[shape] = columns[0].nominal_mm if columns else result.response.pull_in.along_mm
    assert lost["satin square"] > lost["fill square"] > 0.0


@pytest.mark.parametrize("goods", ["jersey", "cotton-twill"])
def test_heavier_and_more_layers_shrink_less(goods: str) -> None:
    """CP."""
    ladder = ["none", "cutaway:51", "cutaway:85", "cutaway:85x2"]
    moved = [pull_in("square", goods, backing) for backing in ladder]
    assert moved == sorted(moved, reverse=True)
    assert moved[-1] < 0.8 * moved[1]


def test_more_rows_pull_more() -> None:
    """D&M: density changes the result; the direction is CP."""
    moved = [
        pull_in(name, "cotton-twill", "cutaway:68") for name in ("open square", "square", "dense square")
    ]
    assert moved == sorted(moved)


def test_what_shows_hardly_depends_on_the_rows() -> None:
    """Derived from the stitch-by-stitch law: visible loss goes as the row spacing to the power 0.07."""

    def visible(shape: str) -> float:
        result = judged(shape, "cotton-twill", "cutaway:68").judged
        assert result is not None
        return result.response.pull_in.along_mm

    whole = pull_in("dense square", "cotton-twill", "cutaway:68") / pull_in(
        "open square", "cotton-twill", "cutaway:68"
    )
    assert whole > 1.15
    assert abs(np.log(visible("dense square") / visible("open square"))) < np.log(whole)


def test_density_changes_more_than_stitch_length() -> None:
    """F&T, D&M: rows from 0.4 to 0.3 mm against stitches from 3.5 to 4.5 mm, both by about a quarter."""
    usual = pull_in("square", "cotton-twill", "cutaway:68")
    by_rows = abs(np.log(pull_in("dense square", "cotton-twill", "cutaway:68") / usual))
    by_length = abs(np.log(pull_in("long stitches", "cotton-twill", "cutaway:68") / usual))
    assert by_rows > by_length > 0.0


@pytest.mark.parametrize("goods", ["jersey", "pique", "denim"])
def test_on_the_bias_cloth_pulls_in_by_another_amount(goods: str) -> None:
    """J: bare cloth gives most where it is softest; a knit's bias differs from its wale and its course."""
    from analyzer.goods import cloth

    kind = cloth(goods)
    wale, course = kind.e1_kn_per_m.value, kind.e2_kn_per_m.value
    shear, poisson = kind.shear_n_per_m.value / 1000.0, kind.poisson12.value
    bias = 4.0 / (1.0 / wale + 1.0 / course + 1.0 / shear - 2.0 * poisson / wale)
    along_course, on_bias, along_wale = (pull_in(f"square at {a}", goods, "none") for a in (0, 45, 90))
    assert abs(on_bias / along_wale - 1.0) > 0.05
    assert (on_bias > along_wale) == (bias < wale)
    assert (along_course > along_wale) == (course < wale)


def test_an_outline_sewn_last_misses_by_more_than_one_sewn_at_once() -> None:
    """CP: what is sewn beside a fill draws it away; an outline that is there already moves along."""

    def worst(shape: str) -> float:
        gaps = [gap for gap in judged(shape, "jersey", "cutaway:51").gaps if gap.outline == outline_of(shape)]
        assert len(gaps) == 1
        return gaps[0].worst_mm

    def outline_of(shape: str) -> int:
        (outline,) = [
            region.id
            for region in judged(shape, "jersey", "cutaway:51").regions.items
            if region.kind == "run"
        ]
        return outline

    assert worst("outline at once") > 0.0
    assert worst("outline last") > worst("outline at once") + 0.02


def test_the_orderings_can_fail() -> None:
    """Negative control: the same comparison with its sides exchanged does not hold."""
    assert not pull_in("square", "cotton-twill", "cutaway:68") > pull_in("square", "jersey", "cutaway:68")
