"""The result of a check as one JSON object, ``"schema": 1``: its types are the schema.

Keys stand in the order of the fields here. Lengths are in mm, areas in mm2, angles in degrees, weights in
g/m2, membrane stiffness in N/m, bending stiffness in uN.m; nothing is rounded. A key is null where there is
nothing to say: without goods there is no stack, no pull-in, no pucker and no plan, and ``comparison`` is
filled instead.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

import msgspec

Chance: TypeAlias = Annotated[float, msgspec.Meta(ge=0.0, le=1.0)]
Count: TypeAlias = Annotated[int, msgspec.Meta(ge=0)]
Point: TypeAlias = tuple[float, float]
Box: TypeAlias = tuple[float, float, float, float]
Row: TypeAlias = tuple[float, float, float]
Rgb: TypeAlias = Annotated[str, msgspec.Meta(pattern="^#[0-9a-fA-F]{6}$")]


class _Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One object of the document; a key that is not named here is an error."""


class Tool(_Part, frozen=True):
    """Which prehoop wrote the document."""

    version: str


class HoopPart(_Part, frozen=True):
    """The sewing field."""

    width_mm: float
    height_mm: float
    shape: Literal["rectangle", "oval"]
    name: str


class JobPart(_Part, frozen=True):
    """The circumstances, every default filled in; null where neither the job nor the goods decide."""

    goods: str | None
    care: str | None
    back: str | None
    hoop: HoopPart | None
    thread: str | None
    needle: str | None
    speed_spm: float | None
    tolerance_mm: float | None
    holding: str
    colour: str | None
    seed: int


class ColourPart(_Part, frozen=True):
    """One colour block; ``rgb`` and ``name`` are null where the file holds none."""

    rgb: Rgb | None
    name: str | None
    stitches: Count


class DesignPart(_Part, frozen=True):
    """What is in the file."""

    name: str
    format: str
    sha256: str
    width_mm: float
    height_mm: float
    penetrations: Count
    stitches: Count
    jumps: Count
    trims: Count
    colour_changes: Count
    stops: Count
    colours: tuple[ColourPart, ...]
    notes: tuple[str, ...]


class ColourUse(_Part, frozen=True):
    """Upper thread of one colour block, m."""

    thread_m: float


class UsePart(_Part, frozen=True):
    """Thread and time for one piece."""

    thread_m: float
    bobbin_m: float
    minutes: float
    colours: tuple[ColourUse, ...]


class RegionPart(_Part, frozen=True):
    """One region; ``first`` and ``last`` are penetration numbers, inclusive."""

    id: int
    kind: Literal["run", "satin", "fill", "underlay", "travel", "tie"]
    colour: Count
    first: Count
    last: Count
    stitches: Count
    area_mm2: float
    row_spacing_mm: float | None
    stitch_length_mm: float
    width_mm: float | None
    direction_deg: float | None
    thread_mm_per_mm2: float
    penetrations_per_mm2: float
    coverage: float
    layers_max: Count
    covers: tuple[int, ...]
    outline_of: tuple[int, ...]
    bbox: Box


class VoidPart(_Part, frozen=True):
    """An uncovered place enclosed by stitching."""

    area_mm2: float
    at: Point
    meant: bool


class CoverPart(_Part, frozen=True):
    """Density, coverage and voids of the whole design."""

    stitched_mm2: float
    covered_mm2: float
    coverage: float
    thread_width_mm: float
    resolution_mm: float
    voids: tuple[VoidPart, ...]


class LayerPart(_Part, frozen=True):
    """One layer of the stack."""

    role: Literal["goods", "backing", "topping"]
    name: str
    kind: str
    g_m2: float
    turn_deg: float


class StackPart(_Part, frozen=True):
    """The goods with everything behind and over them."""

    layers: tuple[LayerPart, ...]
    membrane_n_per_m: tuple[Row, Row, Row]
    bending_unm: float


class PullInPart(_Part, frozen=True):
    """How the cloth moves under the whole design."""

    max_mm: float
    visible_mm: float
    at: Point
    along_mm: float
    across_mm: float
    reach_mm: float
    strain_p95: float
    beyond_range: bool
    unhooped_mm: float | None  # largest shift of sewn places when unhooped and finished; lace: when rinsed


class GapPart(_Part, frozen=True):
    """One outline against what it borders: + bare cloth, - overlap; low, high: 5th, 95th percentile."""

    outline: int
    borders: int
    worst_mm: float
    low_mm: float
    high_mm: float
    median_mm: float
    at: Point
    over_limit_mm_of_length: float
    chance_bare: Chance
    chance_overlap: Chance


class PuckerPart(_Part, frozen=True):
    """The wave that takes up excess cloth after unhooping."""

    chance: Chance
    amplitude_mm: float
    low_mm: float
    high_mm: float
    at: Point


class FindingPart(_Part, frozen=True):
    """One problem; ``chance`` is null where it is measured and not predicted."""

    name: str
    level: Literal["note", "caution", "fault"]
    regions: tuple[int, ...]
    at: Point | None
    measured: float | None
    limit: float | None
    unit: str
    chance: Chance | None
    because: str
    advice: str = msgspec.field(name="try")


class BackingPart(_Part, frozen=True):
    """So many layers of one backing."""

    kind: str
    g_m2: float
    layers: Count
    turns_deg: tuple[float, ...]


class ToppingPart(_Part, frozen=True):
    """A topping, and why."""

    kind: str
    why: str


class StepsPart(_Part, frozen=True):
    """What to do, in order."""

    before: tuple[str, ...]
    sewing: tuple[str, ...]
    finishing: tuple[str, ...]


class MarginPart(_Part, frozen=True):
    """A limit that a stack decides: what is predicted of it at nominal values, and what is left of it."""

    name: str
    nominal: float
    limit: float
    room: float
    unit: str
    chance: Chance


class AlternativePart(_Part, frozen=True):
    """A stack near the chosen one; ``chance`` and ``decided_by`` as the search judged it."""

    backing: str
    why_not: str
    g_m2: float
    layers: Count
    relative_cost: float | None
    chance: Chance
    decided_by: MarginPart | None


class ReworkPart(_Part, frozen=True):
    """One change to the design with its computed effect."""

    what: str
    region: int | None
    amount_mm: float | None
    effect: str
    chance_before: float
    chance_after: float
    gap_before_mm: float | None
    gap_after_mm: float | None


Outcome: TypeAlias = Literal["hoop-it", "sample-first", "rework"]


class PlanPart(_Part, frozen=True):
    """Everything that the person at the machine needs."""

    outcome: Outcome
    backing: tuple[BackingPart, ...]
    attach: Literal["hooped", "floated", "adhesive", "fused"]
    topping: ToppingPart | None
    holding: str
    hoop_mm: Point
    needle: str
    speed_spm: float
    sheet_mm: Point
    steps: StepsPart
    cautions: tuple[str, ...]
    reasons: tuple[str, ...]
    decided_by: MarginPart | None
    buy: str | None
    stacks_tried: Count
    alternatives: tuple[AlternativePart, ...]
    rework: tuple[ReworkPart, ...]


class SurenessPart(_Part, frozen=True):
    """How far the predictions may be trusted."""

    calibrated: bool
    from_sewouts: Count
    known: Literal["measured", "related", "guess"]
    mostly_from: tuple[str, ...]
    says: str


class ComparisonPart(_Part, frozen=True):
    """What the design would do on one goods with one stack."""

    goods: str
    tolerance_mm: float
    stack: StackPart
    pull_in: PullInPart
    worst_gap: GapPart | None
    pucker: PuckerPart
    chance: Chance
    decided_by: str


class Document(_Part, frozen=True):
    """The whole result of one check."""

    schema: Literal[1]
    prehoop: Tool
    outcome: Outcome | None
    job: JobPart
    design: DesignPart
    use: UsePart
    regions: tuple[RegionPart, ...]
    cover: CoverPart
    stack: StackPart | None
    pull_in: PullInPart | None
    gaps: tuple[GapPart, ...]
    pucker: PuckerPart | None
    findings: tuple[FindingPart, ...]
    plan: PlanPart | None
    sureness: SurenessPart
    comparison: tuple[ComparisonPart, ...]


def json_schema() -> bytes:
    """Return the JSON schema of :class:`Document` (2020-12), UTF-8, as the committed file holds it."""
    schema = msgspec.json.schema(Document)
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "prehoop check, schema 1",
        **schema,
    }
    return msgspec.json.format(msgspec.json.encode(schema), indent=2) + b"\n"


def encode(document: Document | tuple[Document, ...]) -> bytes:
    """Return one document, or a list of them, as indented UTF-8 JSON with a newline at the end."""
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"
