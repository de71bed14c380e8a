"""Each finding: a case where it speaks, and the sound patch where it keeps silent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from evidence_by_hand import (
    SIDE_MM,
    cover,
    design,
    evidence,
    field,
    gap,
    job,
    one_layer,
    region,
    response,
    rows,
    sound_regions,
)

from analyzer.cloth.types import Cover, Lace, Needling, Perforation, Void, WeakLink
from analyzer.findings import RULES, Evidence, Finding, Level, judge, measure
from analyzer.findings.field import clearance_mm
from analyzer.findings.rules.ground_shows import contrast
from analyzer.goods.types import Hoop, StackChoice
from analyzer.job import Limits, Machine
from analyzer.mechanics.types import ColumnDraws, Response
from analyzer.regions.types import Applique, Base, Lettering, OutlinePair, RegionKind, Regions, UnderlayKind

COUNT = len(rows())


def with_regions(*extra, without: tuple[RegionKind, ...] = ()) -> Regions:
    sound = sound_regions(COUNT)
    kept = tuple(item for item in sound.items if item.kind not in without)
    return replace(sound, items=kept + extra)


def dense_spot(value: float, side: int = 6) -> np.ndarray:
    values = np.zeros((30, 30))
    values[10 : 10 + side, 10 : 10 + side] = value
    return values


def satin(width_mm: float, **changes):
    return region(4, RegionKind.SATIN, width_mm=width_mm, **changes)


def word(height_mm: float) -> Regions:
    regions = with_regions(*(satin(1.0, id=4 + k) for k in range(3)))
    return replace(regions, lettering=(Lettering((4, 5, 6), height_mm, 3),))


def applique(laid: bool, cut: bool) -> Regions:
    regions = with_regions(
        region(4, RegionKind.UNDERLAY), region(5, RegionKind.UNDERLAY), satin(3.0, id=6, covers=(4, 5))
    )
    return replace(regions, appliques=(Applique(4, (5,), 6, laid, cut),))


def short_design():
    """Put 60 stitches of 0.3 mm, one after another, behind the patch."""
    points = rows()
    tail = points[-1] + np.column_stack([0.3 * np.arange(1, 61), np.zeros(60)])
    return design(np.vstack([points, tail]))


def lone_short() -> np.ndarray:
    """Return rows of one stitch each: every second stitch is a turn of 0.4 mm, none beside another."""
    return rows()[np.isin(rows()[:, 0], (0.0, SIDE_MM))]


def long_design(length_mm: float):
    points = rows()
    points[-1] = points[-2] + (length_mm, 0.0)
    return design(points)


def holed():
    return cover(voids=(Void(2.0, (8.0, 8.0), 0.6, False),))


def hanging(threads: int, share: float = 0.2) -> Lace:
    return Lace(1, 1.0, 50, (), (WeakLink((8.0, 8.0), threads, share),))


def perforated(length_mm: float) -> Needling:
    return Needling(500, 0.5, (Perforation((8.0, 8.0), length_mm, 5.0),), 2, 0)


def spreading(grown_mm: float) -> Response:
    still = response()
    return replace(still, pull_in=replace(still.pull_in, across_mm=-grown_mm))


def column(loss_mm: float):
    return ColumnDraws(4, 2.0, loss_mm, np.full(40, loss_mm))


def late_outline(between_mm: float) -> Evidence:
    """Return a fill, another fill of 800 mm of thread, and then the run round the first."""
    points = rows()
    first, last = 100, COUNT - 6
    region_of = np.full(COUNT, 4, dtype=np.int32)
    region_of[:first], region_of[last:] = 2, 3
    ring = np.array([[0.0, 0.0], [20.0, 0.0]])
    ends = np.array([last, last + 1], dtype=np.int32)
    pair = OutlinePair(3, 2, ring, ends, ring, np.zeros(2, dtype=np.int32), np.eye(2), np.zeros(2))
    regions = Regions(
        items=(
            region(0, RegionKind.TIE),
            region(1, RegionKind.UNDERLAY),
            region(2, RegionKind.FILL, covers=(1,), first=0, last=first - 1),
            region(3, RegionKind.RUN, colour=1, outline_of=(2,), first=last, last=COUNT - 1),
            region(4, RegionKind.FILL, covers=(1,), first=first, last=last - 1),
        ),
        region_of=region_of,
        pairs=(pair,),
    )
    limits = Limits((("between_mm", between_mm),))
    return evidence(job(limits=limits), design=design(points), regions=regions, cover=cover(count=5))


def eyes(count: int) -> Cover:
    return cover(voids=tuple(Void(2.0, (8.0, 8.0), 0.8, True) for _ in range(count)))


def machine(needles: int) -> Machine:
    return Machine("loft", needles, 800.0)


def coloured() -> Regions:
    return with_regions(*(region(4 + k, RegionKind.RUN, colour=k) for k in range(5)))


def dense_on(goods: str, thread_mm_per_mm2: float = 8.0) -> Evidence:
    """Return a place of 400 mm2 sewn so densely, which is large enough to be asked."""
    limits = Limits((("stitching_over_goods_mm2", 100.0),))
    return evidence(job(goods, limits=limits), cover=cover(density=field(thread_mm_per_mm2, "mm/mm2")))


def satin_on(goods: str, spacing_mm: float) -> Evidence:
    return evidence(job(goods), regions=with_regions(satin(4.0, row_spacing_mm=spacing_mm, covers=(1,))))


BAD: dict[str, object] = {
    "stitching-outweighs-goods": lambda: dense_on("jersey"),
    "shrinks-in-wash": lambda: evidence(
        job("terry", care="washed-often"),
        one_layer(topping="wash-away-film"),
        regions=with_regions(region(4, RegionKind.FILL, covers=(1,), bbox_mm=(0.0, 0.0, 60.0, 20.0))),
        cover=cover(count=5),
    ),
    "more-colours-than-needles": lambda: evidence(
        job(machine=machine(3)), regions=coloured(), cover=cover(count=9)
    ),
    "backing-shows": lambda: evidence(job("organza"), one_layer("cutaway", 30.0)),
    "hoop-mark": lambda: evidence(job("leather"), one_layer("tearaway", 50.0)),
    "topping-trapped": lambda: evidence(
        job("terry", care="never-washed"), one_layer(topping="opaque-film"), cover=eyes(8)
    ),
    "order-fights-cloth": lambda: late_outline(500.0),
    "column-spreads": lambda: evidence(response=spreading(0.9)),
    "outline-gap": lambda: evidence(response=response(gaps=(gap(0.0, np.linspace(0.0, 1.0, 40)),))),
    "outline-overlap": lambda: evidence(response=response(gaps=(gap(0.0, np.full(40, -1.2)),))),
    "column-narrows": lambda: evidence(
        regions=with_regions(satin(2.0, covers=(1,))), response=response(columns=(column(0.7),))
    ),
    "column-too-thin": lambda: evidence(regions=with_regions(satin(0.6))),
    "short-stitches": lambda: evidence(design=short_design()),
    "long-stitches": lambda: evidence(job(care="washed-often"), design=long_design(8.0)),
    "thin-cover": lambda: evidence(cover=cover(0.4)),
    "hole-in-cover": lambda: evidence(cover=holed()),
    "open-void": lambda: evidence(cover=cover(voids=(Void(900.0, (8.0, 8.0), 15.0, True),))),
    "thread-pile-up": lambda: evidence(cover=cover(density=field(dense_spot(17.0), "mm/mm2"))),
    "needle-crowding": lambda: evidence(cover=cover(penetrations=field(dense_spot(6.0), "1/mm2"))),
    "no-underlay": lambda: evidence(regions=with_regions(satin(3.0)), cover=cover(count=5)),
    "edge-pucker": lambda: evidence(response=response(pucker_mm=np.full(40, 3.0))),
    "inner-pucker": lambda: evidence(
        cover=cover(voids=(Void(60.0, (10.0, 10.0), 4.0, True),)),
        response=response(pucker_mm=np.full(40, 3.0), pucker_at=(11.0, 10.0)),
    ),
    "beyond-range": lambda: evidence(response=response(beyond=True)),
    "hoop-too-small": lambda: evidence(job(hoop="15x15")),
    "near-hoop-edge": lambda: evidence(job(hoop="22x22")),
    "damaged-file": lambda: evidence(design=design(damaged="it breaks off after 400 stitches")),
    "small-lettering": lambda: evidence(regions=word(3.8)),
    "missing-stop": lambda: evidence(regions=applique(False, True)),
    "no-ties": lambda: evidence(regions=with_regions(without=(RegionKind.TIE,))),
    "backing-outweighs-goods": lambda: evidence(job("jersey"), one_layer(g_m2=102.0, layers=2)),
    "nap-shows": lambda: evidence(job("terry")),
    "ground-shows": lambda: evidence(job(colour="#f7f7f0"), cover=cover(0.65)),
    "lace-comes-apart": lambda: evidence(
        job("none"),
        one_layer("wash-away-film", 100.0),
        cover=cover(lace=Lace(pieces=3, largest_share=0.6, crossings=5, loose_at=((1.0, 1.0),))),
    ),
    "lace-weak-link": lambda: evidence(
        job("none"), one_layer("wash-away-film", 100.0), cover=cover(lace=hanging(2))
    ),
    "perforated-edge": lambda: evidence(cover=cover(needling=perforated(30.0))),
}


def named(findings, name: str) -> Finding | None:
    return next((item for item in findings.items if item.name == name), None)


def test_every_finding_has_a_failing_case_here():
    assert set(BAD) == set(RULES)


def test_the_sound_patch_has_no_finding():
    assert judge(evidence()).items == ()


@pytest.mark.parametrize("name", sorted(BAD))
def test_a_finding_speaks_where_it_should(name):
    looked: Evidence = BAD[name]()  # type: ignore[operator]
    found = judge(looked)
    item = named(found, name)
    assert item is not None
    assert item.because.endswith(".")
    assert item.advice.endswith(".")
    known = {r.id for r in looked.regions.items}
    assert set(item.regions) <= known
    assert (item.chance is None) == (name not in PREDICTED)
    assert len(found.items) <= 3, [i.name for i in found.items]


PREDICTED = {"outline-gap", "outline-overlap", "column-narrows", "edge-pucker", "inner-pucker"}


@pytest.mark.parametrize(
    ("name", "sound"),
    [
        ("long-stitches", lambda: evidence(job(care="never-washed"), design=long_design(8.0))),
        (
            "nap-shows",
            lambda: evidence(job("terry", care="never-washed"), one_layer(topping="wash-away-film")),
        ),
        ("backing-outweighs-goods", lambda: evidence(job("jersey"), one_layer("tearaway", 102.0, layers=2))),
        ("backing-outweighs-goods", lambda: evidence(job("jersey"), StackChoice((), None))),
        ("ground-shows", lambda: evidence(job(colour="#103a6b"), cover=cover(0.65))),
        ("ground-shows", lambda: evidence(cover=cover(0.65))),
        (
            "lace-weak-link",
            lambda: evidence(job("none"), one_layer("wash-away-film", 100.0), cover=cover(lace=hanging(6))),
        ),
        (
            "lace-weak-link",
            lambda: evidence(
                job("none"), one_layer("wash-away-film", 100.0), cover=cover(lace=hanging(1, 0.004))
            ),
        ),
        ("lace-weak-link", lambda: evidence(cover=cover(lace=hanging(1)))),
        ("perforated-edge", lambda: evidence(cover=cover(needling=perforated(8.0)))),
        (
            "perforated-edge",
            lambda: evidence(
                job("none"), one_layer("wash-away-film", 100.0), cover=cover(needling=perforated(30.0))
            ),
        ),
        ("lace-comes-apart", lambda: evidence(cover=cover(lace=Lace(3, 0.6, 5, ((1.0, 1.0),))))),
        ("hole-in-cover", lambda: evidence(job("none"), one_layer("wash-away-film", 100.0), cover=holed())),
        (
            "hole-in-cover",
            lambda: evidence(
                regions=with_regions(without=(RegionKind.FILL,)), cover=holed(), response=response()
            ),
        ),
        ("hole-in-cover", lambda: evidence(cover=cover(voids=(Void(2.0, (8.0, 8.0), 0.6, True),)))),
        ("needle-crowding", lambda: evidence(cover=cover(penetrations=field(dense_spot(9.0, 1), "1/mm2")))),
        ("column-too-thin", lambda: evidence(regions=with_regions(satin(0.6, bbox_mm=(0.0, 0.0, 2.0, 2.0))))),
        ("outline-gap", lambda: evidence(response=response(gaps=(gap(1.0, np.zeros(40)),)))),
        ("edge-pucker", lambda: BAD["inner-pucker"]()),  # type: ignore[operator]
        ("near-hoop-edge", lambda: evidence(job(hoop="15x15"))),
        ("no-underlay", lambda: evidence(regions=with_regions(satin(1.2)), cover=cover(count=5))),
        (
            "needle-crowding",
            lambda: evidence(
                job("none"),
                one_layer("wash-away-film", 100.0),
                cover=cover(penetrations=field(dense_spot(6.0), "1/mm2")),
            ),
        ),
        ("short-stitches", lambda: evidence(design=design(lone_short()))),
        ("small-lettering", lambda: evidence(regions=word(9.0))),
        ("missing-stop", lambda: evidence(regions=applique(True, True))),
        (
            "shrinks-in-wash",
            lambda: evidence(job("terry", care="never-washed"), one_layer(topping="wash-away-film")),
        ),
        ("shrinks-in-wash", lambda: evidence(job("polar-fleece"), one_layer(topping="wash-away-film"))),
        ("more-colours-than-needles", lambda: evidence(job(machine=machine(6)), regions=coloured())),
        ("more-colours-than-needles", lambda: evidence(job(machine=machine(1)), regions=coloured())),
        ("backing-shows", lambda: evidence(job("organza"), one_layer("wash-away-fibrous", 50.0))),
        ("hoop-mark", lambda: evidence(job("leather", holding="floated"), one_layer("tearaway", 50.0))),
        (
            "topping-trapped",
            lambda: evidence(job("terry"), one_layer(topping="wash-away-film"), cover=eyes(8)),
        ),
        ("topping-trapped", lambda: evidence(job("terry"), one_layer(topping="opaque-film"), cover=eyes(2))),
        ("order-fights-cloth", lambda: late_outline(3000.0)),
        ("column-spreads", lambda: evidence(response=spreading(0.2))),
        ("stitching-outweighs-goods", lambda: dense_on("jersey", 2.5)),
        ("stitching-outweighs-goods", lambda: dense_on("canvas")),
        ("perforated-edge", lambda: satin_on("leather", 0.25)),
        ("perforated-edge", lambda: satin_on("canvas", 0.16)),
        ("small-lettering", lambda: evidence(job(thread="polyester-60"), regions=word(4.5))),
    ],
)
def test_a_finding_keeps_silent_where_it_should(name, sound):
    assert named(judge(sound()), name) is None


def test_level_follows_size_and_not_chance():
    """A gap expected under the limit stays a caution however uncertain; one expected over it is a fault."""
    wide = np.linspace(-0.4, 0.9, 40)
    small = named(judge(evidence(response=response(gaps=(gap(0.0, wide, nominal=0.25),)))), "outline-gap")
    large = named(judge(evidence(response=response(gaps=(gap(0.0, wide, nominal=0.35),)))), "outline-gap")
    assert small is not None
    assert large is not None
    assert (small.level, large.level) == (Level.CAUTION, Level.FAULT)
    assert small.chance == large.chance


def test_a_gap_of_the_files_own_is_named_as_such():
    moved = named(judge(evidence(response=response(gaps=(gap(1.0, np.full(40, 0.5)),)))), "outline-gap")
    assert moved is not None
    assert "The file itself leaves 1.0 mm" in moved.because


def test_pile_under_a_topping_is_a_note_on_goods_that_are_washed():
    held = named(judge(evidence(job("terry"), one_layer(topping="wash-away-film"))), "nap-shows")
    bare = named(judge(evidence(job("terry"))), "nap-shows")
    assert held is not None
    assert bare is not None
    assert (held.level, bare.level) == (Level.NOTE, Level.CAUTION)


def test_faults_come_first():
    spoilt = evidence(design=design(damaged="it breaks off"), regions=with_regions(without=(RegionKind.TIE,)))
    assert [item.name for item in judge(spoilt).items][:1] == ["damaged-file"]


def test_measuring_needs_no_goods():
    made = evidence(regions=with_regions(without=(RegionKind.TIE,)))
    found = measure(made.design, made.regions, made.cover, made.use)
    assert [item.name for item in found.items] == ["no-ties"]
    assert found.tolerance_mm == 0.5


@pytest.mark.parametrize("name", sorted(RULES))
def test_every_page_names_meaning_unit_limit_weakness_and_what_to_try(name):
    page = RULES[name].page
    assert page.startswith(f"{name}: ")
    for part in ("Meaning:", "Unit:", "Limit:", "Known weakness:", "Try:"):
        assert part in page


def test_contrast_against_published_ratios():
    """W3C, WCAG 2.1: black on white 21:1; on white #767676 is the lightest grey that passes 4.5:1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#ffffff", "#767676") >= 4.5 > contrast("#ffffff", "#777777")


def test_clearance_in_a_rectangle_and_an_oval():
    """A square of half side 10: clear by 2 in a 24 x 30 rectangle, by r - 10 sqrt 2 in a circle (derived)."""
    square = design()
    rectangle = Hoop("test", 24.0, 30.0, "rectangle", "test")
    assert clearance_mm(square, rectangle)[0] == pytest.approx(2.0)
    for radius in (12.0, 20.0):
        circle = Hoop("test", 2 * radius, 2 * radius, "oval", "test")
        assert clearance_mm(square, circle)[0] == pytest.approx(radius - 10 * np.sqrt(2))


def test_a_crowded_place_names_the_regions_that_sew_there():
    """Only the stitches in the spot belong to region 5; the rest is region 2 and is not named."""
    made = design()
    spot = np.all((made.penetrations >= 5.0) & (made.penetrations < 11.0), axis=1)
    regions = with_regions(region(5, RegionKind.FILL, covers=(1,)))
    owned = replace(regions, region_of=np.where(spot, 5, 2).astype(np.int32))
    crowded = cover(penetrations=field(dense_spot(8.0), "1/mm2"))
    found = named(judge(evidence(regions=owned, cover=crowded)), "needle-crowding")
    assert found is not None
    assert found.regions == (5,)
    x, y = found.at or (0.0, 0.0)
    assert 5.0 < x < 11.0
    assert 5.0 < y < 11.0


def test_a_hole_names_the_regions_round_it():
    """A hole inside region 5, itself inside region 2: what lies further than 3 mm off is not named."""
    made = design()
    near = np.hypot(*(made.penetrations - (8.0, 8.0)).T) < 4.5
    regions = with_regions(region(5, RegionKind.FILL, covers=(1,)))
    owned = replace(regions, region_of=np.where(near, 5, 2).astype(np.int32))
    found = named(judge(evidence(regions=owned, cover=holed())), "hole-in-cover")
    assert found is not None
    assert found.regions == (5,)


def test_only_underlay_that_does_its_work_counts():
    """A way that happens to pass under a column is none; what follows its middle, or a fill beneath, is."""
    bare, based, on_fill = (
        replace(with_regions(satin(3.0, covers=covers)), bases=(Base(4, kinds, (1,)),))
        for covers, kinds in (((1,), ()), ((1,), (UnderlayKind.CENTRE_RUN,)), ((1, 2), ()))
    )
    found = [
        named(judge(evidence(regions=each, cover=cover(count=5))), "no-underlay")
        for each in (bare, based, on_fill)
    ]
    assert found[0] is not None
    assert found[1:] == [None, None]


def test_letters_sink_sooner_into_pile_and_an_unlaid_piece_is_a_fault():
    assert named(judge(evidence(regions=word(6.0))), "small-lettering") is None
    assert named(judge(evidence(job("terry"), regions=word(6.0))), "small-lettering").level is Level.CAUTION
    assert named(judge(evidence(regions=applique(False, True))), "missing-stop").level is Level.FAULT
    assert named(judge(evidence(regions=applique(True, False))), "missing-stop").level is Level.CAUTION


def test_thread_that_outweighs_the_goods_is_weighed_in_grams():
    """1 mm of thread on 1 mm2 is 1,000 m on 1 m2; 24 tex are 24 g on 1,000 m. A tee weighs 160 g/m2."""
    found = named(judge(dense_on("jersey")), "stitching-outweighs-goods")
    assert found.measured == pytest.approx(8.0 * 24.0 / 160.0)
    assert found.level == Level.FAULT


def test_leather_is_cut_by_satin_that_cloth_stands():
    """Common practice, no source: leather wants wider rows than cloth."""
    found = named(judge(satin_on("leather", 0.16)), "perforated-edge")
    assert found.level == Level.CAUTION
    assert found.measured == pytest.approx(0.32)
    assert "wedge" in found.advice


def test_thread_60_makes_smaller_letters_than_thread_40():
    """Trade needle tables: small lettering is what thread 60 is for."""
    assert named(judge(evidence(job(thread="polyester-40"), regions=word(4.5))), "small-lettering")
    assert named(judge(evidence(job(thread="polyester-60"), regions=word(3.0))), "small-lettering")


def test_a_topping_does_not_save_runs_on_pile():
    """Common practice, no source: a topping helps until the first wash."""
    runs = with_regions(region(4, RegionKind.RUN, first=1, last=COUNT - 1), without=(RegionKind.FILL,))
    topped = one_layer(topping="wash-away-film")
    lost = named(judge(evidence(job("terry"), topped, regions=runs)), "nap-shows")
    whole = with_regions(region(4, RegionKind.FILL, first=1, last=COUNT - 1))
    covered = evidence(job("terry"), topped, regions=whole, cover=cover(count=5))
    filled = named(judge(covered), "nap-shows")
    assert (lost.level, filled.level) == (Level.CAUTION, Level.NOTE)
    assert "topping or not" in lost.because
