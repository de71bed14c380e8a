"""The one composition of all rooms: ``check(design, job)``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

from analyzer import cloth, findings, goods, mechanics, plan
from analyzer.cloth import Cover, Use
from analyzer.design import Design
from analyzer.findings import Evidence, Findings
from analyzer.goods import Draws, Known, Setup, Stack, StackChoice, worst_known
from analyzer.job import Job
from analyzer.mechanics import Response, Sewing
from analyzer.plan import Facts, Plan, Rework, Trial
from analyzer.regions import Edges, Regions, cut
from analyzer.tryout import Tried, try_changes

#: Draws of everything uncertain; a chance of one in ten is then known within about two in a hundred.
DRAWS = 1000
#: Goods that a design is compared on when none are named.
COMPARED_ON = ("jersey", "terry", "cotton-twill")

Progress: TypeAlias = Callable[[str, float], None]
Detail: TypeAlias = Literal["full", "screen"]


@dataclass(frozen=True, slots=True)
class Sureness:
    """How far the predictions may be trusted."""

    calibrated: bool
    from_sewouts: int
    known: Known  #: of the least known parameter that matters
    mostly_from: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class OnGoods:
    """What one design does on one goods with one stack."""

    setup: Setup
    stack: Stack
    response: Response
    findings: Findings


@dataclass(frozen=True, slots=True)
class Checked:
    """Everything that a check found.

    With goods, ``judged`` and ``plan`` are there and ``comparison`` is empty. Without goods it is the
    other way round: ``comparison`` holds three goods, each with nothing behind it and with one medium
    layer of its usual backing.
    """

    design: Design
    job: Job
    regions: Regions
    cover: Cover
    use: Use
    measured: Findings  #: findings that need no goods
    judged: OnGoods | None
    plan: Plan | None
    comparison: tuple[OnGoods, ...]
    sureness: Sureness


@dataclass(slots=True)
class _Bench:
    """One design laid out on one goods, ready to be judged with one stack after the other.

    It lives inside one call of :func:`check`; ``tried`` keeps what was judged, so that nothing is computed
    twice.
    """

    design: Design
    job: Job
    regions: Regions
    cover: Cover
    setup: Setup
    draws: Draws
    sewing: Sewing
    edges: Edges
    tell: Callable[[str], None]
    earlier: mechanics.Earlier = field(default_factory=mechanics.Earlier)
    tried: dict[tuple[StackChoice, Detail], OnGoods] = field(default_factory=dict)

    def use(self, thickness_mm: float) -> Use:
        """Thread and time on a stack of this thickness."""
        return cloth.use(self.design, thickness_mm=thickness_mm, speed_spm=self.setup.speed_spm)

    def drawn(self, choice: StackChoice) -> Draws:
        """Return the common draws, hanging together as sew-outs taught of this stack."""
        return goods.correlated(self.draws, self.job.calibration, self.setup.cloth.name, choice)

    def on(self, choice: StackChoice, detail: Detail = "full") -> OnGoods:
        """Judge the design on one stack."""
        if (choice, detail) not in self.tried:
            self.tell(f"{self.setup.cloth.name} on {plan.named(choice)}")
            stack = goods.build_stack(self.setup, choice, self.job.calibration)
            drawn = self.drawn(choice)
            response = mechanics.respond(self.sewing, stack, drawn, detail=detail, earlier=self.earlier)
            if not self._holds_when_rinsed():
                response = replace(response, unhooped=None)
            use = self.use(stack.thickness_mm)
            flat = self.setup.holding != "cap-frame"  # what is computed holds for a flat membrane only
            evidence = Evidence(
                self.design,
                self.regions,
                self.cover,
                use,
                self.setup,
                stack,
                response if flat else None,
                choice,
            )
            self.tried[choice, detail] = OnGoods(self.setup, stack, response, findings.judge(evidence))
        return self.tried[choice, detail]

    def _holds_when_rinsed(self) -> bool:
        """Say whether the work holds by itself; of lace that falls apart nothing can be computed then."""
        lace = self.cover.lace
        whole = lace.pieces <= 1 or lace.largest_share >= self.setup.limits["lace_largest_share"].value
        return self.setup.cloth.family != "none" or (lace.pieces > 0 and whole)

    def screened(self, choice: StackChoice) -> Trial:
        """Judge one stack for the plan's search, on a coarser grid."""
        return self._trial(choice, "screen")

    def confirmed(self, choice: StackChoice) -> Trial:
        """Judge one stack in full, for the plan to go by."""
        return self._trial(choice, "full")

    def changes(self, choice: StackChoice) -> tuple[Rework, ...]:
        """Try changes to the design on one stack; return those that help."""
        full = self.on(choice)
        tried = Tried(
            design=self.design,
            regions=self.regions,
            cover=self.cover,
            setup=self.setup,
            choice=choice,
            stack=full.stack,
            response=full.response,
            findings=full.findings,
            earlier=self.earlier,
            edges=self.edges,
        )
        return try_changes(tried, self.drawn(choice), lambda what, _: self.tell(what))

    def _trial(self, choice: StackChoice, detail: Detail) -> Trial:
        judged = self.on(choice, detail)
        return plan.trial_of(choice, judged.findings, beyond_range=judged.response.pull_in.beyond_range)

    def topping(self) -> str | None:
        """Return the topping that the job names, or else the one that the goods want."""
        if self.job.topping is not None:
            named = self.job.topping.strip().lower()
            return None if named == "none" else self.setup.tables.topping(named).name
        chosen = plan.choose_topping(self.setup, self.regions, self.cover)
        return chosen.kind if chosen else None


def check(design: Design, job: Job, progress: Progress | None = None, *, changes: bool = True) -> Checked:
    """Look a design over for a job.

    Args:
        design: the stitches.
        job: cloth, care, hoop and so on. Without goods the design is measured and compared on three goods.
        progress: called with a few words on what is being done and the share done, 0 to 1.
        changes: whether changes to the design are tried where it cannot simply be hooped; each costs about
            as much as judging one stack.

    Raises:
        UnknownName: the job names something that is in no table.
        BadJob: the job contradicts itself or cannot be met.
        NotConverged: a solve missed its tolerance.

    """
    names = COMPARED_ON if job.goods is None else (job.goods,)
    setups = [goods.resolve(job, name, design.size_mm) for name in names]
    _tell(progress, "measuring the stitches", 0.0)
    edges = Edges()
    regions = cut(design, edges)
    may_be_lace = any(setup.cloth.family == "none" for setup in setups) or job.goods is None
    width_mm = setups[0].thread.laid_width_mm.value
    cover = cloth.measure(design, regions, thread_width_mm=width_mm, lace=may_be_lace)
    draws = goods.draw(DRAWS, job.seed)
    sewing = mechanics.prepare(design, regions, setups[0].hoop)
    benches = [
        _Bench(
            design, job, regions, cover, setup, draws, sewing, edges, lambda what: _tell(progress, what, 0.5)
        )
        for setup in setups
    ]
    if job.goods is None:
        return _compared(benches)
    return _planned(benches[0], changes=changes)


def _tell(progress: Progress | None, what: str, share: float) -> None:
    if progress is not None:
        progress(what, share)


def _planned(bench: _Bench, *, changes: bool) -> Checked:
    """Judge the stack that the job names, or search for the lightest that holds."""
    job, setup = bench.job, bench.setup
    use = bench.use(setup.cloth.sewn_thickness_mm)
    measured = findings.measure(bench.design, bench.regions, bench.cover, use, setup)
    topping = bench.topping()
    given = job.backing is not None
    if job.backing is not None:
        stacks: tuple[StackChoice, ...] = (
            StackChoice(
                goods.parse_backing(job.backing, setup.tables),
                topping,
                plan.piece_of(setup, bench.regions),
                plan.piece_box_mm(bench.regions),
            ),
        )
    else:
        stacks = plan.candidates(setup, job.stock, bench.regions, bench.cover, topping)

    def ordinary() -> tuple[StackChoice, ...]:
        return plan.candidates(setup, None, bench.regions, bench.cover, topping)

    drowned = findings.drowned_share(bench.design, bench.regions, setup.limits)
    chosen = plan.choose(
        setup,
        Facts(bench.regions, bench.cover, measured, drowned),
        stacks,
        bench.confirmed if given else bench.screened,
        confirm=None if given else bench.confirmed,
        changes=bench.changes if changes else None,
        given=given,
        ordinary=None if job.stock is None or given else ordinary,
    )
    judged = bench.on(chosen.choice)
    return Checked(
        design=bench.design,
        job=job,
        regions=bench.regions,
        cover=bench.cover,
        use=bench.use(judged.stack.thickness_mm),
        measured=measured,
        judged=judged,
        plan=chosen,
        comparison=(),
        sureness=sureness(job, (judged,)),
    )


def _compared(benches: list[_Bench]) -> Checked:
    """Judge the design on several goods."""
    first = benches[0]
    job = first.job
    use = first.use(first.setup.cloth.sewn_thickness_mm)
    lines = tuple(bench.on(choice, "screen") for bench in benches for choice in _comparable(bench))
    return Checked(
        design=first.design,
        job=job,
        regions=first.regions,
        cover=first.cover,
        use=use,
        measured=findings.measure(first.design, first.regions, first.cover, use),
        judged=None,
        plan=None,
        comparison=lines,
        sureness=sureness(job, lines),
    )


def _comparable(bench: _Bench) -> tuple[StackChoice, ...]:
    """Return the stacks that a goods is compared with."""
    topping = bench.topping()
    if bench.job.backing is not None:
        return (StackChoice(goods.parse_backing(bench.job.backing, bench.setup.tables), topping),)
    return StackChoice((), topping), plan.usual_stack(bench.setup, bench.regions, bench.cover, topping)


def sureness(job: Job, judged: tuple[OnGoods, ...]) -> Sureness:
    """Say how far the predictions may be trusted, by what their spread mostly comes from."""
    if judged and all(one.setup.holding == "cap-frame" for one in judged):
        says = "Nothing is computed for a cap: this plan goes by rules of the trade only. Sew a sample."
        return Sureness(False, 0, "guess", (), says)
    causes = tuple(dict.fromkeys(name for one in judged for name in one.response.mostly_from[:2]))
    spreads = [one.stack.spreads for one in judged]
    known = worst_known(spread[name] for spread in spreads for name in causes if name in spread)
    sewouts = job.calibration.sewouts if job.calibration is not None else 0
    if sewouts:
        counted = "one measured sew-out" if sewouts == 1 else f"{sewouts} measured sew-outs"
        those = "it" if sewouts == 1 else "those"
        says = f"Millimetres rest on {counted} of yours, for what {those} could tell."
        taught = {one.of for one in job.calibration.learned} if job.calibration is not None else set()
        if taught and job.goods is not None and job.goods not in taught:
            says += " None was on these goods: only the pull of the thread is from there."
    else:
        says = (
            "No measured sew-out stands behind the millimetres, and thread pull differs from machine to "
            "machine. Sew a sample where it matters."
        )
    return Sureness(bool(sewouts), sewouts, known, causes, says)
