"""How well a cutting agrees with the labels: kinds, regions, measures and borders."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from labelled_parts import Sheet

from analyzer.regions import Regions

KINDS = ("run", "satin", "fill", "hidden", "tie")


def merged(labels: np.ndarray) -> np.ndarray:
    """Count underlay and travel as one hidden class."""
    return np.where(np.isin(labels, ("underlay", "travel")), "hidden", labels)


def found_kinds(regions: Regions) -> np.ndarray:
    """Return the kind found for the stitch that ends at each penetration, (m,)."""
    return merged(np.array([item.kind.value for item in regions.items])[regions.region_of])


def confusion(pairs: Iterable[tuple[Sheet, Regions]]) -> np.ndarray:
    """Return how many stitches of each kind (rows) were found as each kind (columns)."""
    table = np.zeros((len(KINDS), len(KINDS)), dtype=int)
    for sheet, regions in pairs:
        joined = sheet.design().joined
        truth, found = merged(sheet.truth)[joined], found_kinds(regions)[joined]
        for i, true in enumerate(KINDS):
            for j, kind in enumerate(KINDS):
                table[i, j] += np.count_nonzero((truth == true) & (found == kind))
    return table


def right_share(sheet: Sheet, regions: Regions) -> float:
    """Share of stitches with the kind that they were made as."""
    joined = sheet.design().joined
    return float((merged(sheet.truth)[joined] == found_kinds(regions)[joined]).mean())


def objects_found(sheet: Sheet, regions: Regions) -> list[tuple[int, bool, int]]:
    """For each object: its number, whether one region holds over 90 % of it, and that region.

    A region counts for an object only where the object is also most of the region.
    """
    objects = sheet.object_of
    top = np.isin(sheet.truth, ("run", "satin", "fill"))
    result = []
    for number in sheet.made:
        own = (objects == number) & top
        if not own.any():
            continue
        share = np.bincount(regions.region_of[own])
        best = int(share.argmax())
        held = (regions.region_of == best) & (sheet.truth != "tie")
        good = share[best] > 0.9 * own.sum() and own[held].mean() > 0.5
        result.append((number, bool(good), best))
    return result


def measures(sheet: Sheet, regions: Regions) -> list[tuple[str, str, float]]:
    """Errors of each object that was found: its kind, what was measured, the error.

    Spacing, stitch length and width as a part of the true one; direction in degrees. The true stitch length
    is the median over the stitches that carry the object's label.
    """
    design = sheet.design()
    found: list[tuple[str, str, float]] = []
    for number, good, best in objects_found(sheet, regions):
        made, item = sheet.made[number], regions.items[best]
        if not good:
            continue
        own = (sheet.object_of == number) & (sheet.truth == made.kind) & design.joined
        true = float(np.median(design.lengths_mm[own]))
        found.append((made.kind, "stitch", item.stitch_length_mm / true - 1.0))
        if made.spacing_mm and item.row_spacing_mm:
            found.append((made.kind, "spacing", item.row_spacing_mm / made.spacing_mm - 1.0))
        if made.width_mm and item.width_mm:
            found.append((made.kind, "width", item.width_mm / made.width_mm - 1.0))
        if made.direction_deg is not None and item.direction_deg is not None:
            turn = (item.direction_deg - made.direction_deg + 90.0) % 180.0 - 90.0
            found.append((made.kind, "direction", turn))
    return found


def gap_errors(sheet: Sheet, regions: Regions) -> tuple[list[np.ndarray], int, int]:
    """Errors of the gap along each border that was found, mm; how many were missed; how many false.

    An outline that was found in several regions is found, not false, as long as each of them is of it.
    """
    objects = sheet.object_of
    own = [
        int(
            np.bincount(
                objects[(regions.region_of == item.id) & (sheet.truth != "tie")] + 1, minlength=1
            ).argmax()
        )
        - 1
        for item in regions.items
    ]
    wanted = {(b.outline, b.borders): b for b in sheet.borders}
    errors: dict[tuple[int, int], list[np.ndarray]] = {}
    false = 0
    for pair in regions.pairs:
        key = (own[pair.outline], own[pair.borders])
        if key not in wanted:
            false += 1
            continue
        places = shapely.points(pair.at)
        shape = wanted[key].shape
        away = shapely.distance(shapely.boundary(shape), places)
        error = pair.meant_mm - np.where(shapely.contains(shape, places), -away, away)
        errors.setdefault(key, []).append(error)
    return [np.concatenate(e) for e in errors.values()], len(wanted) - len(errors), false
