"""What the tables hold: cloths, stabilizers, threads, needles, hoops, and the stack made of them.

Every value with a meaning is a :class:`Value`: a number with its range and where it comes from.
Membrane stiffness is in N/m (as a 3x3 matrix in Voigt order x, y, xy), bending stiffness in uN.m.
Direction 1 of a cloth (warp or wale) lies along y of the design, direction 2 (weft or course) along x.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from analyzer.arrays import Floats

Known: TypeAlias = Literal["measured", "related", "guess"]


@dataclass(frozen=True, slots=True)
class Value:
    """A number with its 5-95 % range, how well it is known, and its source."""

    value: float
    low: float
    high: float
    known: Known
    source: str


@dataclass(frozen=True, slots=True)
class Cloth:
    """One class of cloth, with values at low load as tables give them."""

    name: str  #: kebab-case: "jersey"
    title: str  #: for people: "single jersey (T-shirt)"
    family: Literal[
        "woven", "knit", "pile-knit", "pile-woven", "net", "nonwoven", "leather", "coated", "none"
    ]
    weight_g_m2: Value
    thickness_mm: Value
    e1_kn_per_m: Value  #: warp or wale, along y
    e2_kn_per_m: Value  #: weft or course, along x
    shear_n_per_m: Value  #: per radian
    poisson12: Value
    bending_unm: Value
    working_factor: Value  #: stiffness under stitching over the low-load value
    pile_mm: Value | None  #: what stands up above the base, None for smooth cloth
    stretchy: bool
    sheer: bool
    heat: Literal["hot-iron", "cool-iron", "none"]
    water: Literal["wash", "gentle-wash", "dry-clean", "wipe"]
    back: str  #: usual side seen, one of choices.BACKS
    care: str  #: usual care, one of choices.CARES
    hoopable: bool  #: false where a ring would mark or crush it
    needle: str  #: usual needle of the needles table
    backings: tuple[str, ...]  #: kinds that the trade would put behind it, usual first
    backings_source: str
    shrink_percent: Value  #: of length, in the wash that its care means
    patches: bool = False  #: whether patches are made of it
    tips: tuple[str, ...] = ()  #: what to know when sewing it, common practice

    @property
    def sewn_thickness_mm(self) -> float:
        """Thickness under a stitch: pile does not count, the thread presses it flat."""
        return self.thickness_mm.value - (0.0 if self.pile_mm is None else self.pile_mm.value)


@dataclass(frozen=True, slots=True)
class Backing:
    """One kind of backing; its stiffness follows its weight."""

    kind: str
    title: str
    weights_g_m2: tuple[float, ...]  #: usual weights, ascending
    weights_source: str
    stiffness_knm_per_g: Value  #: specific membrane stiffness, geometric mean of both directions
    direction_ratio: Value  #: machine over cross direction
    poisson: Value
    shear_ratio: Value  #: shear stiffness over tensile stiffness
    bending_unm: Value  #: at ``bending_at_g_m2``
    bending_at_g_m2: float
    density_g_cm3: Value  #: of the sheet, for its thickness
    perforation_mm2: Value  #: stiffness lost for each penetration per mm2 (kappa)
    removal: Literal["trimmed", "torn", "rinsed"]
    permanent: bool
    soft: bool  #: may lie next to skin uncovered
    relative_cost: Value  #: of so many g/m2, over that of cutaway
    attach: Literal["laid", "adhesive", "fused"] = "laid"  #: how it is held to what lies on it


@dataclass(frozen=True, slots=True)
class Topping:
    """One kind of topping."""

    name: str
    title: str
    g_m2: float
    stiffness_kn_per_m: Value
    poisson: Value
    bending_unm: Value
    thickness_mm: Value
    removal: Literal["rinsed", "heated", "torn"]
    perforation_mm2: Value  #: stiffness lost for each penetration per mm2


@dataclass(frozen=True, slots=True)
class ThreadType:
    """One kind of upper thread."""

    name: str  #: "viscose-40"
    title: str
    material: str
    tex: Value
    laid_width_mm: Value  #: flattened on the cloth
    axial_stiffness_n: Value  #: EA0
    needle: str  #: usual needle
    shrink_percent: Value  #: of length, in the wash
    usual: bool = False  #: taken when a job names none; true of exactly one


@dataclass(frozen=True, slots=True)
class Needle:
    """One needle."""

    name: str  #: "75/11"
    title: str
    blade_mm: Value
    points: tuple[str, ...]  #: points sold in this size


@dataclass(frozen=True, slots=True)
class Hoop:
    """A sewing field (not the ring's own size)."""

    name: str
    width_mm: float
    height_mm: float
    shape: Literal["rectangle", "oval"]
    source: str
    cap: bool = False  #: a cap frame, taken only for caps


@dataclass(frozen=True, slots=True)
class BackingChoice:
    """So many layers of one backing; ``turns_deg`` has one entry for each layer."""

    kind: str
    g_m2: float
    layers: int
    turns_deg: tuple[float, ...]
    #: width and height of a piece that is floated in the middle of the hoop; None: it reaches past the hoop
    sheet_mm: tuple[float, float] | None = None

    @property
    def total_g_m2(self) -> float:
        """Weight of all layers."""
        return self.g_m2 * self.layers


@dataclass(frozen=True, slots=True)
class StackChoice:
    """What is put with the goods: nothing, or backings with or without a topping."""

    backings: tuple[BackingChoice, ...]
    topping: str | None
    piece: str | None = None  #: cloth of an applique's piece, laid over the goods
    #: x0, y0, x1, y1 of that piece from the middle of the hoop; None: under the whole design
    piece_box_mm: tuple[float, float, float, float] | None = None

    @property
    def total_g_m2(self) -> float:
        """Weight of all backing."""
        return sum(choice.total_g_m2 for choice in self.backings)

    @property
    def layers(self) -> int:
        """Number of backing layers."""
        return sum(choice.layers for choice in self.backings)


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a stack.

    ``membrane`` (3, 3) N/m is what reaches the stitching: working load, share and turn included.
    """

    role: Literal["goods", "backing", "topping"]
    name: str
    kind: str
    g_m2: float
    turn_deg: float
    thickness_mm: float
    membrane: Floats
    bending_unm: float
    perforation_mm2: float
    removal: Literal["kept", "trimmed", "torn", "rinsed", "heated"]
    bonded: bool = False  #: stuck or fused to the layer before it, so that both bend as one
    sheet_mm: tuple[float, float] | None = None  #: width, height of a piece that covers only part of the hoop
    sheet_at_mm: tuple[float, float] = (0.0, 0.0)  #: its middle, from the hoop's


@dataclass(frozen=True, slots=True)
class Stack:
    """The goods with all backing and topping layers, as one mechanical thing, goods first.

    ``spreads`` gives the range of every uncertain parameter of this stack by name: ``goods_stiffness``,
    ``backing_stiffness`` and ``perforation`` as factors on the nominal layers, ``pull_n``, ``lock_share``,
    ``thread_stiffness_n``, ``play_mm``, ``hooping_n_per_m``, so that ``values`` can turn Draws into values.
    """

    layers: tuple[Layer, ...]
    holding: str
    thread: ThreadType
    needle: Needle
    hooping_n_per_m: Value  #: tension that hooping leaves in the cloth
    spreads: dict[str, Value]
    grip_n_per_m: Value | None = None  #: pull along the rim from which the holding lets slip; None: never

    @property
    def goods(self) -> Layer | None:
        """The goods layer, None for free-standing lace."""
        return next((layer for layer in self.layers if layer.role == "goods"), None)

    @property
    def backings(self) -> tuple[Layer, ...]:
        """The backing layers, nearest to the goods first."""
        return tuple(layer for layer in self.layers if layer.role == "backing")

    @property
    def membrane(self) -> Floats:
        """Sum of the layers' membrane stiffness, (3, 3) N/m."""
        total: Floats = sum((layer.membrane for layer in self.layers), start=0.0 * self.layers[0].membrane)
        return total

    @property
    def bending_unm(self) -> float:
        """Bending stiffness of all layers together, uN.m."""
        return bending_unm(self.layers)

    @property
    def thickness_mm(self) -> float:
        """Sum of the layers' thickness, mm."""
        return sum(layer.thickness_mm for layer in self.layers)


def bending_unm(layers: Sequence[Layer]) -> float:
    """Bending stiffness of ``layers``, in their order, uN.m.

    Layers that slip on each other add theirs. Bonded ones bend about one middle: ``sum B + K (z - z0)^2``, K
    the membrane stiffness (mean of both directions, as far as it reaches), z the middle of each layer, z0
    their mean weighted by K (the parallel-axis theorem of a laminate; derived).
    """
    total = 0.0
    stuck: list[tuple[float, float]] = []  # K in N/m and z in mm of the layers bonded so far
    height = 0.0
    for layer in layers:
        if not layer.bonded:
            total += _steiner(stuck)
            stuck = []
        stiff = 0.5 * float(layer.membrane[0, 0] + layer.membrane[1, 1])
        stuck.append((stiff, height + 0.5 * layer.thickness_mm))
        height += layer.thickness_mm
        total += layer.bending_unm
    return total + _steiner(stuck)


def _steiner(stuck: Sequence[tuple[float, float]]) -> float:
    """What layers of stiffness K at height z add by not slipping; N/m times mm2 is uN.m."""
    whole = sum(stiff for stiff, _ in stuck)
    if whole <= 0.0:
        return 0.0
    middle = sum(stiff * z for stiff, z in stuck) / whole
    return sum(stiff * (z - middle) ** 2 for stiff, z in stuck)


@dataclass(frozen=True, slots=True)
class Draws:
    """Common draws of everything uncertain: standard normal scores by parameter name, each (n,).

    One set serves every stack, so that comparing two stacks compares the stacks and not the luck.
    """

    seed: int
    count: int
    scores: dict[str, Floats]
