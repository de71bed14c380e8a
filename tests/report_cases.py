"""Checks built by hand, so that what is said of them can be compared with what went in."""

from __future__ import annotations

import itertools
from types import MappingProxyType

import numpy as np

from analyzer.arrays import frozen
from analyzer.cloth.types import Cover, CoverRaster, Field, Lace, RegionCover, Use, Void
from analyzer.design import Command, Design, Thread
from analyzer.findings.types import Finding, Findings, GapVerdict, Level, Margin, PuckerVerdict
from analyzer.goods.setup import Setup
from analyzer.goods.tables import standard
from analyzer.goods.types import (
    BackingChoice,
    Cloth,
    Hoop,
    Layer,
    Needle,
    Stack,
    StackChoice,
    ThreadType,
    Value,
)
from analyzer.job import Job
from analyzer.laid import Grid
from analyzer.mechanics.types import GapDraws, PuckerDraws, PullIn, Response
from analyzer.pipeline import Checked, OnGoods, Sureness
from analyzer.plan.types import Alternative, Plan, Rework, Steps, ToppingChoice
from analyzer.regions.types import OutlinePair, Region, RegionKind, Regions

SIDE_MM = 20.0


def value(number: float) -> Value:
    return Value(number, number * 0.5, number * 2.0, "guess", "made for the tests")


def design(*, coloured: bool = True, name: str = "burgee") -> Design:
    """Sew a square of rows 0.5 mm apart (colour 1), then its outline (colour 2)."""
    points, kinds = [], []
    for row in range(41):
        xs = np.arange(0.0, SIDE_MM + 0.1, 4.0)
        for x in xs if row % 2 == 0 else xs[::-1]:
            points.append((x, row * 0.5))
            kinds.append(Command.STITCH)
    points.append((0.0, 20.0))
    kinds.append(Command.COLOUR_CHANGE)
    corners = np.array([(0, 20), (20, 20), (20, 0), (0, 0), (0, 20)], dtype=float)
    for start, end in itertools.pairwise(corners):
        for t in np.linspace(0.0, 1.0, 10, endpoint=False):
            points.append(tuple(start + t * (end - start)))
            kinds.append(Command.STITCH)
    points.append((0.0, 20.0))
    kinds.append(Command.STITCH)
    threads = (Thread("#123c69", "harbour blue"), Thread("#d9a441", "brass")) if coloured else ()
    return Design.from_commands(
        np.array(points),
        np.array(kinds),
        name=name,
        format="PES" if coloured else "DST",
        sha256="0" * 64,
        threads=threads,
    )


def regions() -> Regions:
    fill = Region(0, RegionKind.FILL, 0, 0, 245, 245, 0.5, 4.0, None, 0.0, 1, (), (), (0.0, 0.0, 20.0, 20.0))
    line = Region(
        1, RegionKind.RUN, 1, 246, 286, 40, None, 2.0, None, None, 1, (), (0,), (0.0, 0.0, 20.0, 20.0)
    )
    stations = np.linspace((20.0, 18.0), (20.0, 2.0), 9)
    pair = OutlinePair(
        outline=1,
        borders=0,
        at=frozen(stations),
        outline_stitch=frozen(np.arange(258, 267, dtype=np.int32)),
        edge=frozen(stations),
        edge_stitch=frozen(np.arange(220, 22, -24, dtype=np.int32)[:9]),
        normal=frozen(np.tile((1.0, 0.0), (9, 1))),
        meant_mm=frozen(np.zeros(9)),
    )
    return Regions((fill, line), frozen(np.r_[np.zeros(246), np.ones(41)].astype(np.int32)), (pair,))


def cover() -> Cover:
    coarse = Grid(-1.0, -1.0, 1.0, 22, 22)
    density = np.zeros(coarse.shape)
    density[1:21, 1:21] = 2.0
    fine = Grid(-0.5, -0.5, 0.25, 84, 84)
    threads = np.zeros(fine.shape, dtype=np.uint8)
    threads[2:82, 2:82] = 1
    threads[2:82:4, 2:82] = 2
    return Cover(
        stitched_mm2=400.0,
        covered_mm2=320.0,
        coverage=0.8,
        thread_width_mm=0.4,
        resolution_mm=0.25,
        voids=(Void(2.5, (5.0, 5.0), 0.8, False), Void(9.0, (12.0, 12.0), 1.6, True)),
        regions=(RegionCover(0, 400.0, 2.0, 0.6, 0.8, 2), RegionCover(1, 32.0, 2.5, 1.2, 0.9, 1)),
        density=Field(coarse, frozen(density), "mm/mm2"),
        penetrations=Field(coarse, frozen(density * 0.3), "1/mm2"),
        raster=CoverRaster(fine, frozen(threads)),
        lace=Lace(1, 1.0, 40, ()),
    )


def setup(goods: str = "jersey") -> Setup:
    cloth = Cloth(
        goods, f"{goods} of the tests", "knit", value(160), value(0.6), value(0.3), value(0.2), value(60),
        value(0.3),
        value(4), value(5), None, True, False, "hot-iron", "wash", "skin", "washed-often", True, "75/11",
        ("cutaway",), "made for the tests", value(0.5),
    )  # fmt: skip
    thread = ThreadType(
        "viscose-40", "viscose 40", "viscose", value(27), value(0.4), value(80), "75/11", value(0.5)
    )
    return Setup(
        cloth, "washed-often", "skin", "hooped", Hoop("100x100", 100.0, 100.0, "rectangle", "made"), thread,
        Needle("75/11", "75/11", value(0.75), ("ball",)), 800.0, 0.5, False, None, MappingProxyType({}), (),
        None, standard(),
    )  # fmt: skip


def stack(goods: str = "jersey", *, backed: bool = True) -> Stack:
    at = setup(goods)
    layers = [Layer("goods", goods, goods, 160.0, 0.0, 0.6, frozen(np.eye(3) * 1000.0), 4.0, 0.0, "kept")]
    if backed:
        layers.append(
            Layer(
                "backing",
                "cutaway",
                "cutaway",
                85.0,
                90.0,
                0.3,
                frozen(np.eye(3) * 9000.0),
                30.0,
                0.01,
                "trimmed",
            )
        )
    return Stack(tuple(layers), "hooped", at.thread, at.needle, value(20), {})


def response(of: Design) -> Response:
    points = of.penetrations
    drift = (np.array((10.0, 10.0)) - points) * 0.04
    drift[246:] = 0.0
    grid = Grid(-40.0, -40.0, 2.0, 50, 50)
    at = np.array([[20.0, 18.0], [20.0, 10.0]])
    return Response(
        grid=grid,
        displacement=frozen(np.zeros((51, 51, 2))),
        drift=frozen(drift),
        strain=frozen(np.zeros(grid.shape)),
        pull_in=PullIn(0.91, 0.56, (20.0, 18.0), 0.8, -0.2, 22.0, 0.031, False),
        gaps=(
            GapDraws(1, 0, frozen(at), frozen(np.tile((1.0, 0.0), (2, 1))), 0.5, frozen(np.zeros(2)),
                     frozen(np.array([0.9, 0.4])), frozen(np.array([[0.9, 0.4], [0.7, 0.2]]))),
        ),
        columns=(),
        pucker=PuckerDraws(0.3, frozen(np.array([0.2, 0.4])), (10.0, 10.0)),
        mostly_from=("goods_stiffness", "pull_n"),
        solves=4,
    )  # fmt: skip


GAP = GapVerdict(1, 0, 0.8712, 0.3523, 1.6481, 0.4133, (20.0, 18.0), 14.2, 0.81, 0.02, 0.5)
FAULT = Finding(
    "outline-gap", Level.FAULT, (1, 0), (20.0, 18.0), 0.8712, 0.5, "mm", 0.81,
    "the fill draws the cloth in before its outline is sewn", "sew the outline right after its fill",
)  # fmt: skip
NOTE = Finding(
    "no-ties", Level.NOTE, (1,), None, None, None, "", None, "thread ends are not locked", "add tie-offs"
)


def findings(items: tuple[Finding, ...] = (NOTE, FAULT)) -> Findings:
    pucker = PuckerVerdict(0.4, 0.3, 0.1, 0.7, (10.0, 10.0))
    return Findings(items, (GAP,), pucker, 0.5, 0.81, "outline-gap")


DECIDED = Margin("outline-gap", 0.2, 0.5, "mm", 0.08)


def plan() -> Plan:
    return Plan(
        outcome="sample-first",
        choice=StackChoice((BackingChoice("cutaway", 85.0, 2, (0.0, 90.0)),), "wash-away-film"),
        attach="hooped",
        topping=ToppingChoice("wash-away-film", "keeps stitches above the loops"),
        holding="hooped",
        hoop_mm=(100.0, 100.0),
        needle="75/11 ball",
        speed_spm=800.0,
        sheet_mm=(150.0, 150.0),
        steps=Steps(("lay the backing",), ("stop after colour 1",), ("trim the backing to 5 mm",)),
        cautions=("hoop without stretching",),
        reasons=("the lightest stack of the table that holds the outline",),
        decided_by=DECIDED,
        buy=None,
        stacks_tried=5,
        alternatives=(Alternative("tearaway:50", "tears at the outline", 50.0, 1, 0.7, 0.42, DECIDED),),
        rework=(
            Rework(
                "sew the outline right after its fill",
                1,
                None,
                "gap 0.2 mm instead of 0.9 mm",
                0.4,
                0.1,
                0.9,
                0.2,
            ),
        ),
    )


SURENESS = Sureness(False, 0, "guess", ("goods_stiffness", "pull_n"), "Ranks are surer than millimetres.")


def checked(*, coloured: bool = True, name: str = "burgee", job: Job | None = None) -> Checked:
    """Return a check with goods."""
    of = design(coloured=coloured, name=name)
    on = OnGoods(setup(), stack(), response(of), findings())
    use = Use(1.4, 0.6, 0.7, (1.2, 0.2))
    return Checked(
        of, job or Job(goods="jersey"), regions(), cover(), use, findings((NOTE,)), on, plan(), (), SURENESS
    )


def compared() -> Checked:
    """Return a check without goods."""
    of = design()
    pairs = [(goods, backed) for goods in ("jersey", "terry", "cotton-twill") for backed in (False, True)]
    lines = tuple(
        OnGoods(setup(goods), stack(goods, backed=backed), response(of), findings())
        for goods, backed in pairs
    )
    use = Use(1.4, 0.6, 0.7, (1.2, 0.2))
    return Checked(of, Job(), regions(), cover(), use, findings((NOTE,)), None, None, lines, SURENESS)
