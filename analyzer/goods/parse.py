"""Reading what a user types: backings ("cutaway:85x2", "tearaway:1.5oz"), hoops ("130x180", "o120x120")."""

from __future__ import annotations

import math
import re

from analyzer.errors import BadJob, UnknownHoop
from analyzer.goods.constants import constants
from analyzer.goods.tables import Tables, standard
from analyzer.goods.types import BackingChoice, Hoop
from analyzer.goods.units import MM_PER_INCH, g_m2_from_oz_yd2

_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_WEIGHT = re.compile(
    rf"(?P<weight>{_NUMBER})\s*(?P<unit>gsm|g/m2|g/m\u00b2|g|oz/yd2|oz/yd\u00b2|oz)?"
    r"(?:\s*[x\u00d7*]\s*(?P<layers>\d{1,6}))?",
    re.IGNORECASE,
)
_SIZE = re.compile(
    rf"(?P<oval>o)?\s*(?P<width>{_NUMBER})\s*(?P<u1>mm|cm|in|\")?"
    rf"\s*[x\u00d7*]\s*(?P<height>{_NUMBER})\s*(?P<u2>mm|cm|in|\")?",
    re.IGNORECASE,
)
_MM_PER = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH, '"': MM_PER_INCH}


def parse_backing(text: str | tuple[str, ...], tables: Tables | None = None) -> tuple[BackingChoice, ...]:
    """Return the backings that a text names, nearest to the goods first.

    Each is ``KIND:WEIGHT[xLAYERS]`` with the weight in g/m2 (``85``, ``85gsm``) or oz/yd2 (``2.5oz``);
    without a weight the middle one of the usual weights is taken. Several are given as a tuple or parted by
    ``+`` or ``,``. ``none`` alone gives no backing. Layers of one backing alternate between turns of 0 and
    90 degrees, since a second layer laid across evens out a backing's two directions. ``tables``: the
    standard ones where none are given.

    Raises:
        UnknownBacking: a kind is in no table; the message names the nearest.
        BadJob: a weight or number of layers makes no sense, or ``none`` stands beside a backing.
    """
    parts = [
        part.strip()
        for item in ([text] if isinstance(text, str) else text)
        for part in re.split(r"[+,]", item)
    ]
    named = [part for part in parts if part.lower() != "none"]
    if len(named) == len(parts) or not named:
        return tuple(_one_backing(part, tables or standard()) for part in named)
    raise BadJob(f"'none' cannot stand beside a backing: {' + '.join(parts)}")


def _one_backing(text: str, tables: Tables) -> BackingChoice:
    name, colon, rest = text.partition(":")
    kind = tables.backing(name)
    usual = kind.weights_g_m2
    if not colon:
        return BackingChoice(kind.kind, usual[len(usual) // 2], 1, (0.0,))
    match = _WEIGHT.fullmatch(rest.strip())
    if match is None:
        raise BadJob(
            f"backing '{text}': give the weight as in {kind.kind}:{usual[0]:g}, :{usual[0]:g}x2 or :2.5oz"
        )
    weight = float(match["weight"])
    if (match["unit"] or "").lower().startswith("oz"):
        weight = g_m2_from_oz_yd2(weight)
    bounds = constants("setup")
    reach = bounds["backing_weight_factor"].value
    if not usual[0] / reach <= weight <= usual[-1] * reach:
        raise BadJob(
            f"backing '{text}': {weight:.4g} g/m2 is far outside what {kind.kind} is made in "
            f"(usual {usual[0]:g} to {usual[-1]:g} g/m2; write 2.5oz for oz/yd2)"
        )
    layers = int(match["layers"] or 1)
    most = int(bounds["backing_layers_max"].value)
    if not 1 <= layers <= most:
        raise BadJob(f"backing '{text}': {layers} layers; give 1 to {most}")
    return BackingChoice(kind.kind, weight, layers, tuple(90.0 * (i % 2) for i in range(layers)))


def format_backing(choice: BackingChoice) -> str:
    """Return the text that :func:`parse_backing` reads back."""
    weight = f"{choice.g_m2:.10g}"
    return f"{choice.kind}:{weight}" if choice.layers == 1 else f"{choice.kind}:{weight}x{choice.layers}"


def hoop(text: str) -> Hoop:
    """Return the sewing field that a text names: ``130x180``, ``o120x120`` (oval), ``4inx4in`` or a name.

    One unit at the end holds for both sides (``5x7in``); without any they are mm.

    Raises:
        UnknownHoop: neither a name nor a size.
        BadJob: a size that no hoop can have.
    """
    name = text.strip().lower()
    hoops = standard().hoops
    if name in hoops:
        return hoops[name]
    match = _SIZE.fullmatch(name.replace("inches", "in").replace("inch", "in"))
    if match is None:
        if re.fullmatch(r"o?\s*[-+]?[\d.]+\s*[x\u00d7*]\s*[-+]?[\d.]+", name):
            raise BadJob(f"hoop '{text.strip()}' is no possible size; give it as in 130x180 (mm)")
        raise UnknownHoop(text.strip(), hoops)
    second = match["u2"] or "mm"
    width = float(match["width"]) * _MM_PER[match["u1"] or second]
    height = float(match["height"]) * _MM_PER[second]
    return checked_hoop(
        Hoop(name, width, height, "oval" if match["oval"] else "rectangle", "given with the job")
    )


def checked_hoop(item: Hoop) -> Hoop:
    """Return a sewing field, or raise BadJob where no hoop can have its size."""
    low, high = constants("setup")["hoop_min_mm"].value, constants("setup")["hoop_max_mm"].value
    for side in (item.width_mm, item.height_mm):
        if not (math.isfinite(side) and low <= side <= high):
            raise BadJob(
                f"hoop '{item.name}' is impossible: {item.width_mm:g} x {item.height_mm:g} mm; "
                f"each side of a sewing field is {low:g} to {high:g} mm (inches are given as in 5x7in)"
            )
    return item
