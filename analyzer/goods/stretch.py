"""What a strip of cloth and a weight tell: a stretch test at the kitchen table.

A strip ``strip_mm`` wide is hung up; two marks ``gauge_mm`` apart move ``extension_mm`` further apart under
``load_g`` grams. The secant stiffness is load per width over strain (the definition behind strip tests such
as ISO 13934-1, which goes on to breaking; here at a small load).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from analyzer.errors import BadTable
from analyzer.goods.constants import constants
from analyzer.goods.entries import Entry
from analyzer.goods.types import Value

STANDARD_GRAVITY = 9.80665  # m/s2, ISO 80000-3


@dataclass(frozen=True, slots=True)
class StretchTest:
    """One strip."""

    strip_mm: float
    gauge_mm: float
    load_g: float
    extension_mm: float

    @property
    def load_n_per_m(self) -> float:
        """Load per width, N/m."""
        return STANDARD_GRAVITY * self.load_g / self.strip_mm

    @property
    def strain(self) -> float:
        """Extension over gauge length."""
        return self.extension_mm / self.gauge_mm


def stretch_test(entry: Entry) -> StretchTest:
    """Read one test, in mm and grams.

    Raises:
        BadTable: a value is missing or no positive number, or the strip stretched so little that it cannot be
            read, or so much that it says nothing of stitching.
    """
    test = StretchTest(*(entry.number(key) for key in ("strip_mm", "gauge_mm", "load_g", "extension_mm")))
    entry.done()
    table = constants("own")
    most, least = table["stretch_most"].value, table["stretch_reading_mm"].value
    if test.strain > most:
        raise BadTable(
            f"{entry.at('extension_mm')}: {100 * test.strain:.0f} % is further than stitching takes cloth: "
            f"repeat with a lighter load, for an extension under {most * test.gauge_mm:.0f} mm"
        )
    if test.extension_mm < 2.0 * least:
        raise BadTable(
            f"{entry.at('extension_mm')}: {test.extension_mm:g} mm cannot be read surely: repeat with a "
            f"heavier load or longer gauge, for an extension over {2.0 * least:g} mm"
        )
    return test


def stiffness(test: StretchTest) -> dict[str, Any]:
    """Return the secant stiffness of a strip as a quantity in kN/m; its range is that of reading."""
    reading = constants("own")["stretch_reading_mm"].value
    value, high, low = (
        test.load_n_per_m * test.gauge_mm / (1000.0 * (test.extension_mm + shift))
        for shift in (0.0, -reading, reading)
    )
    source = (
        f"the user's stretch test: {test.load_g:g} g on a strip {test.strip_mm:g} mm wide stretched "
        f"{test.extension_mm:g} mm on {test.gauge_mm:g} mm"
    )
    return {"value": value, "low": low, "high": high, "known": "measured", "source": source}


def hardened(whole: Value, load_n_per_m: float) -> dict[str, Any]:
    """Return what is left of a working factor above the load for which a stiffness was measured.

    Cloth stiffens as it is loaded. Between the low load of the tables and the load of stitching the factor is
    taken to grow evenly with the logarithm of load (assumed; two points of a curve are known, not the curve).
    """
    table = constants("own")
    low, high = table["low_load_n_per_m"].value, table["working_load_n_per_m"].value
    left = 1.0 - min(1.0, max(0.0, math.log(load_n_per_m / low) / math.log(high / low)))
    return {
        "value": whole.value**left,
        "low": whole.low**left,
        "high": whole.high**left,
        "known": whole.known,
        "source": f"{whole.source}; the part above {load_n_per_m:.0f} N/m",
    }
