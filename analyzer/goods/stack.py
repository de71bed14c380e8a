"""The stack: goods, backings and topping as layers, with the stiffness that reaches the stitching."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from analyzer.errors import BadJob
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.stiffness import membrane, turn
from analyzer.goods.types import (
    Backing,
    BackingChoice,
    Cloth,
    Known,
    Layer,
    Stack,
    StackChoice,
    Topping,
    Value,
)
from analyzer.job import Calibration, Learned

#: From the best known to the worst.
KNOWN_ORDER: tuple[Known, ...] = ("measured", "related", "guess")
_N_PER_KN = 1000.0


def worst_known(values: Iterable[Value]) -> Known:
    """Return how well the worst known of some values is known."""
    return max((value.known for value in values), key=KNOWN_ORDER.index, default="measured")


def _sources(values: Iterable[Value]) -> str:
    """Return the sources of some values, each once."""
    return "; ".join(dict.fromkeys(value.source for value in values))


def product(values: Sequence[Value]) -> Value:
    """Return the product of independent positive values.

    The medians multiply; the log-distances from median to 5 and 95 % add in quadrature, side by side (exact
    for log-normals of equal sides; derived).
    """
    middle = math.prod(value.value for value in values)
    below = math.hypot(*(math.log(value.value / value.low) for value in values))
    above = math.hypot(*(math.log(value.high / value.value) for value in values))
    low, high = middle * math.exp(-below), middle * math.exp(above)
    return Value(middle, low, high, worst_known(values), _sources(values))


def factor(value: Value) -> Value:
    """Return a value's range as a factor on its median."""
    return Value(1.0, value.low / value.value, value.high / value.value, value.known, value.source)


def geometric_mean(first: Value, second: Value) -> Value:
    """Return the geometric mean of two values that vary together (two directions of one cloth)."""
    return Value(
        value=math.sqrt(first.value * second.value),
        low=math.sqrt(first.low * second.low),
        high=math.sqrt(first.high * second.high),
        known=worst_known((first, second)),
        source=_sources((first, second)),
    )


def weighted(factors: Sequence[tuple[float, Value]]) -> Value:
    """Return one factor for several layers that vary together: log-ranges averaged by the layers' weights."""
    total = sum(weight for weight, _ in factors)
    if total <= 0:
        return Value(1.0, 1.0, 1.0, "measured", "no such layer")
    low = math.exp(sum(weight * math.log(value.low) for weight, value in factors) / total)
    high = math.exp(sum(weight * math.log(value.high) for weight, value in factors) / total)
    spread = [value for _, value in factors]
    return Value(1.0, low, high, worst_known(spread), _sources(spread))


def goods_layer(cloth: Cloth) -> Layer:
    """Return the goods as a layer, its low-load stiffness multiplied up to the load of stitching."""
    up = cloth.working_factor.value
    return Layer(
        role="goods",
        name=cloth.name,
        kind=cloth.family,
        g_m2=cloth.weight_g_m2.value,
        turn_deg=0.0,
        thickness_mm=cloth.sewn_thickness_mm,
        membrane=membrane(
            _N_PER_KN * cloth.e1_kn_per_m.value * up,
            _N_PER_KN * cloth.e2_kn_per_m.value * up,
            cloth.poisson12.value,
            cloth.shear_n_per_m.value * up,
        ),
        bending_unm=cloth.bending_unm.value,
        perforation_mm2=0.0,
        removal="kept",
    )


def share(kind: Backing, holding: str) -> Value:
    """Return the share of a backing's stiffness that reaches the goods, by its bond or by the holding."""
    table = constants("mechanics")
    if kind.attach != "laid" or holding == "adhesive":
        return table["share_bonded"]
    return share_by_holding(holding)


def hooping(holding: str) -> Value:
    """Return the tension that a holding leaves in the goods, N/m."""
    name = {"hooped": "hooping_hooped", "floated": "hooping_laid", "adhesive": "hooping_laid"}
    return constants("mechanics")[name.get(holding, "hooping_framed")]


def grip(holding: str) -> Value:
    """Return the pull along the rim from which a holding lets what is hooped slip, N/m."""
    name = {"magnetic": "grip_magnetic", "clamped": "grip_clamped", "cap-frame": "grip_clamped"}
    return constants("mechanics")[name.get(holding, "grip_hooped")]


def backing_layers(
    kind: Backing, choice: BackingChoice, holding: str, *, nearest: bool = True
) -> tuple[Layer, ...]:
    """Return the layers of one backing; the ``nearest`` one is stuck to goods that an adhesive holds.

    Tensile stiffness follows weight; machine direction (along y at turn 0) and cross direction lie about
    their geometric mean by the table's ratio. Bending goes with the cube of weight (a sheet of the same
    material and density: stiffness times thickness squared; derived).
    """
    mean = _N_PER_KN * kind.stiffness_knm_per_g.value * choice.g_m2 * share(kind, holding).value
    lean = math.sqrt(kind.direction_ratio.value)
    flat = membrane(mean * lean, mean / lean, kind.poisson.value * lean, kind.shear_ratio.value * mean)
    return tuple(
        Layer(
            role="backing",
            name=f"{kind.kind} {choice.g_m2:g} g/m2",
            kind=kind.kind,
            g_m2=choice.g_m2,
            turn_deg=degrees,
            thickness_mm=choice.g_m2 / (1000.0 * kind.density_g_cm3.value),
            membrane=turn(flat, degrees),
            bending_unm=kind.bending_unm.value * (choice.g_m2 / kind.bending_at_g_m2) ** 3,
            perforation_mm2=kind.perforation_mm2.value,
            removal=kind.removal,
            bonded=kind.attach != "laid" or (holding == "adhesive" and nearest and number == 0),
            sheet_mm=choice.sheet_mm,
        )
        for number, degrees in enumerate(choice.turns_deg)
    )


def topping_layer(kind: Topping) -> Layer:
    """Return a topping as a layer; it lies loose, so only a share of its stiffness reaches the goods."""
    stiff = _N_PER_KN * kind.stiffness_kn_per_m.value * constants("mechanics")["share_topping"].value
    nu = kind.poisson.value
    return Layer(
        role="topping",
        name=kind.name,
        kind=kind.name,
        g_m2=kind.g_m2,
        turn_deg=0.0,
        thickness_mm=kind.thickness_mm.value,
        membrane=membrane(stiff, stiff, nu, stiff / (2.0 * (1.0 + nu))),
        bending_unm=kind.bending_unm.value,
        perforation_mm2=kind.perforation_mm2.value,
        removal=kind.removal,
    )


def piece_layer(cloth: Cloth, holding: str, box_mm: tuple[float, float, float, float] | None = None) -> Layer:
    """Return an applique's piece as a layer over the goods; tacked down only, it shares like floated backing.

    ``box_mm`` is where it lies, x0, y0, x1, y1 from the middle of the hoop; None: under the whole design.
    """
    shared = share_by_holding("floated" if holding == "hooped" else holding).value
    goods = goods_layer(cloth)
    piece = replace(goods, role="topping", membrane=shared * goods.membrane)
    if box_mm is None:
        return piece
    x0, y0, x1, y1 = box_mm
    return replace(piece, sheet_mm=(x1 - x0, y1 - y0), sheet_at_mm=((x0 + x1) / 2, (y0 + y1) / 2))


def share_by_holding(holding: str) -> Value:
    """Return the share of a loose layer's stiffness that reaches the goods."""
    return constants("mechanics")["share_floated" if holding == "floated" else "share_hooped"]


def build_stack(setup: Setup, choice: StackChoice, calibration: Calibration | None = None) -> Stack:
    """Put the goods and a choice of stabilizers together.

    Args:
        setup: the job made definite; its cloth ``none`` (free-standing lace) gives no goods layer.
        choice: backings, nearest to the goods first, and a topping.
        calibration: what measured sew-outs have taught; replaces the table's spreads, and makes the layers
            as stiff as it found them.

    Raises:
        BadJob: no layer is left, or the calibration's limits are not in order.
        UnknownBacking, UnknownTopping: a name is in no table.
    """
    goods_factor = _median(calibration, "goods_stiffness", setup.cloth.name)
    layers: list[Layer] = (
        [] if setup.cloth.family == "none" else [_stiffer(goods_layer(setup.cloth), goods_factor)]
    )
    for number, backing_choice in enumerate(choice.backings):
        kind = setup.tables.backing(backing_choice.kind)
        backing_factor = _median(calibration, "backing_stiffness", backing_of(choice))
        own = backing_layers(kind, backing_choice, setup.holding, nearest=number == 0)
        layers.extend(_stiffer(layer, backing_factor) for layer in own)
    if not layers:
        raise BadJob(
            "free-standing lace needs a wash-away backing to be stitched on: give one with --backing"
        )
    if setup.cloth.family == "none" and all(layer.sheet_mm is not None for layer in layers):
        raise BadJob("free-standing lace needs a backing that the hoop holds: leave out the sheet's size")
    if choice.piece is not None:
        layers.append(piece_layer(setup.tables.cloth(choice.piece), setup.holding, choice.piece_box_mm))
    if choice.topping is not None:
        layers.append(topping_layer(setup.tables.topping(choice.topping)))
    return Stack(
        layers=tuple(layers),
        holding=setup.holding,
        thread=setup.thread,
        needle=setup.needle,
        hooping_n_per_m=hooping(setup.holding),
        grip_n_per_m=grip(setup.holding),
        spreads=spreads(setup, choice, calibration),
    )


def spreads(setup: Setup, choice: StackChoice, calibration: Calibration | None) -> dict[str, Value]:
    """Return the range of every uncertain parameter of a stack, by the names of ``draws.PARAMETERS``."""
    table = constants("mechanics")
    cloth = setup.cloth
    goods = Value(1.0, 1.0, 1.0, cloth.e1_kn_per_m.known, cloth.e1_kn_per_m.source)
    if cloth.family != "none":
        goods = product(
            [factor(geometric_mean(cloth.e1_kn_per_m, cloth.e2_kn_per_m)), factor(cloth.working_factor)]
        )
    kinds = [(setup.tables.backing(item.kind), item) for item in choice.backings]
    stiff = [
        (
            item.total_g_m2 * kind.stiffness_knm_per_g.value * share(kind, setup.holding).value,
            product([factor(kind.stiffness_knm_per_g), factor(share(kind, setup.holding))]),
        )
        for kind, item in kinds
    ]
    holes = [
        (weight, factor(kind.perforation_mm2))
        for (weight, _), (kind, _) in zip(stiff, kinds, strict=True)
        if kind.perforation_mm2.low > 0
    ]
    found = {
        "goods_stiffness": goods,
        "backing_stiffness": weighted(stiff),
        "pull_n": _learned(
            "pull_n", calibration.pull_n if calibration else None, calibration, table["pull_n"]
        ),
        "lock_share": table["lock_share"],
        "thread_stiffness_n": setup.thread.axial_stiffness_n,
        "play_mm": _learned(
            "play_mm", calibration.play_mm if calibration else None, calibration, table["play_mm"]
        ),
        "perforation": weighted(holes),
        "hooping_n_per_m": hooping(setup.holding),
    }
    for one in learned_for(calibration, cloth.name, choice):
        low, high = one.low, one.high
        if one.parameter.endswith("_stiffness"):  # a factor on layers that have the median already
            low, high, one = one.low / one.median, one.high / one.median, replace(one, median=1.0)
        taught = (one.median, low, high)
        found[one.parameter] = _learned(one.parameter, taught, calibration, found[one.parameter])
    return found


def backing_of(choice: StackChoice) -> str:
    """Return the kinds of backing of a choice, by which its stiffness factor is learned."""
    return "+".join(sorted({item.kind for item in choice.backings})) or "none"


def learned_for(calibration: Calibration | None, cloth: str, choice: StackChoice) -> tuple[Learned, ...]:
    """Return what has been learned that holds for this cloth and these backings."""
    own = {"goods_stiffness": cloth, "play_mm": cloth, "backing_stiffness": backing_of(choice)}
    taught = calibration.learned if calibration is not None else ()
    return tuple(one for one in taught if one.of is None or one.of == own.get(one.parameter))


def _median(calibration: Calibration | None, parameter: str, of: str) -> float:
    taught = calibration.learned if calibration is not None else ()
    return next((one.median for one in taught if one.parameter == parameter and one.of == of), 1.0)


def _stiffer(layer: Layer, times: float) -> Layer:
    return layer if times == 1.0 else replace(layer, membrane=times * layer.membrane)


def _learned(
    name: str, taught: tuple[float, float, float] | None, calibration: Calibration | None, otherwise: Value
) -> Value:
    """Return what sew-outs taught (median, low, high), or the table's value."""
    if taught is None or calibration is None:
        return otherwise
    median, low, high = taught
    if not 0 < low <= median <= high < math.inf:
        raise BadJob(
            f"the calibration of {name} must hold 0 < low <= median <= high, not {low}, {median}, {high}"
        )
    return Value(median, low, high, "measured", f"{calibration.sewouts} measured sew-outs")
