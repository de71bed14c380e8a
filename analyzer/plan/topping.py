"""Which topping, if any. Common practice, no source.

One is used where loops or nap stand up past the stitches. Wash-away film, unless the goods must not
be wetted; then heat-away film, where the goods stand a hot iron (never polyester pile or coated
cloth); then an opaque film that stays under the stitching, where that is solid enough to hide it and has a
clean edge: not where it is full of small closed places, out of which no one picks the scraps.
"""

from __future__ import annotations

from analyzer.cloth.types import Cover
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.plan.advice import say
from analyzer.plan.rules import may_be_wetted
from analyzer.plan.types import ToppingChoice
from analyzer.regions.types import RegionKind, Regions


def wants_topping(setup: Setup) -> bool:
    """Whether the goods have pile that would stand up through stitching."""
    pile = setup.cloth.pile_mm
    return pile is not None and pile.value > setup.limits["nap_mm"].value


def is_solid(regions: Regions, cover: Cover) -> bool:
    """Whether nearly all of the stitched area hides what lies under it."""
    table = constants("plan")
    kinds = {region.id: region.kind for region in regions.items}
    visible = [
        c for c in cover.regions if kinds[c.region] in (RegionKind.FILL, RegionKind.SATIN, RegionKind.RUN)
    ]
    total = sum(item.area_mm2 for item in visible)
    solid = sum(
        item.area_mm2
        for item in visible
        if kinds[item.region] != RegionKind.RUN and item.coverage >= table["solid_cover"].value
    )
    return total > 0 and solid >= table["solid_share"].value * total


def traps_scraps(setup: Setup, cover: Cover) -> bool:
    """Whether stitching encloses so many small places that scraps of a torn film stay in them."""
    radius = setup.limits["trapped_radius_mm"].value
    places = [void for void in cover.voids if not void.open and void.radius_mm < radius]
    return len(places) >= setup.limits["trapped_places"].value


def choose_topping(setup: Setup, regions: Regions, cover: Cover) -> ToppingChoice | None:
    """Return the topping that the goods want, or None where none is needed or none suits."""
    if not wants_topping(setup):
        return None
    if may_be_wetted(setup):
        return ToppingChoice("wash-away-film", say("topping", "wash_away_film"))
    if setup.cloth.heat == "hot-iron":
        return ToppingChoice("heat-away-film", say("topping", "heat_away_film"))
    if is_solid(regions, cover) and not traps_scraps(setup, cover):
        return ToppingChoice("opaque-film", say("topping", "opaque_film"))
    return None
