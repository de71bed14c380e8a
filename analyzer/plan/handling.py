"""How the goods are held, with which needle and how fast. Common practice, no source."""

from __future__ import annotations

from typing import Literal

from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.regions.types import RegionKind, Regions

_POINTS = {
    "knit": ("light ball", "medium ball"),
    "pile-knit": ("light ball", "medium ball"),
    "net": ("light ball", "sharp"),
    "leather": ("wedge", "sharp"),
}
_SLOW_FAMILIES = ("net", "leather", "none")
_SLOW_THREADS = ("metallic",)


def attach(setup: Setup, choice: StackChoice) -> Literal["hooped", "floated", "adhesive", "fused"]:
    """Return how the backing is held to the goods: by its own adhesive, or as the goods are held."""
    own = {setup.tables.backing(item.kind).attach for item in choice.backings}
    if "fused" in own:
        return "fused"
    if "adhesive" in own or setup.holding == "adhesive":
        return "adhesive"
    return "floated" if setup.holding == "floated" else "hooped"


def needle(setup: Setup, regions: Regions) -> str:
    """Return the needle with its point: a ball for knits, which parts threads, else a sharp.

    A wedge for leather, but not under satin, along whose edges its slits would run into each other.
    """
    wanted: tuple[str, ...] = _POINTS.get(setup.cloth.family, ("sharp",))
    if any(region.kind == RegionKind.SATIN for region in regions.items):
        wanted = tuple(point for point in wanted if point != "wedge")
    point = next((name for name in wanted if name in setup.needle.points), setup.needle.points[0])
    return f"{setup.needle.name} {point}"


def speed_spm(setup: Setup) -> float:
    """Return the speed, stitches a minute.

    It is slower on caps, nets, sheer cloth, leather and lace, and with metallic thread.
    """
    slow = (
        setup.holding == "cap-frame"
        or setup.cloth.sheer
        or setup.cloth.family in _SLOW_FAMILIES
        or setup.thread.material in _SLOW_THREADS
    )
    return min(setup.speed_spm, constants("plan")["delicate_speed_spm"].value) if slow else setup.speed_spm


def sheet_mm(setup: Setup) -> tuple[float, float]:
    """Return width and height of a sheet of backing: the hoop and a margin on every side, mm."""
    margin = constants("plan")["sheet_margin_mm"].value
    return setup.hoop.width_mm + 2 * margin, setup.hoop.height_mm + 2 * margin
