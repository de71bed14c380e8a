"""A check as one screen of text: the answer first, then what it rests on, and the answer again in short.

The text says everything in words and shapes; colour is never needed, bold is the only emphasis.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Literal

from analyzer.findings import RULES, chance_words
from analyzer.findings.types import Finding
from analyzer.goods.types import StackChoice
from analyzer.pipeline import Checked, OnGoods
from analyzer.plan.types import Plan, Rework
from analyzer.report import predicted, tables, words
from analyzer.report.numbers import sound_text
from analyzer.report.words import Units

if TYPE_CHECKING:
    from rich.console import Console


_TIE = "\ue000"  #: a blank at which no line is broken; a no-break space is broken at like any other


class Screen:
    """Lines of text of one width, wrapped and set in columns."""

    def __init__(self, width: int, *, bold: bool) -> None:
        from rich.console import Console

        self._out = io.StringIO()
        self._console: Console = Console(
            file=self._out,
            width=width,
            color_system="standard" if bold else None,
            force_terminal=bold,
            force_jupyter=False,
            legacy_windows=False,
            highlight=False,
            markup=False,
            emoji=False,
            no_color=True,
            _environ={},
        )

    def heading(self, text: str) -> None:
        """Begin a part."""
        self._console.print()
        self._console.print(text, style="bold")

    def lines(self, texts: Iterable[str], *, indent: int = 2, mark: str = "") -> None:
        """Write each text as a paragraph, its further lines under its first."""
        from rich.padding import Padding
        from rich.table import Table

        for text in texts:
            if not mark:
                self._console.print(Padding(text, (0, 0, 0, indent)))
                continue
            grid = Table.grid(padding=(0, 1, 0, 0))
            grid.add_row(mark, text)
            self._console.print(Padding(grid, (0, 0, 0, indent)))

    def labelled(self, rows: Iterable[tuple[str, str]], *, bold: bool = False) -> None:
        """Write pairs of a label and what it labels, in two columns."""
        from rich.padding import Padding
        from rich.table import Table

        grid = Table.grid(padding=(0, 2, 0, 0))
        grid.add_column(no_wrap=True, min_width=14)
        grid.add_column(style="bold" if bold else None)
        for label, text in rows:
            grid.add_row(label, text)
        self._console.print(Padding(grid, (0, 0, 0, 2)))

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], *, left: int = 1) -> None:
        """Write a table; the first ``left`` columns are text, the others numbers."""
        from rich.cells import cell_len
        from rich.padding import Padding
        from rich.table import Table

        columns = zip(head, *rows, strict=True)
        needed = sum(
            max(cell_len(line) for cell in column for line in cell.split("\n")) for column in columns
        )
        gap = 2 if needed + 2 * len(head) + 2 <= self._console.width else 1
        grid = Table(box=None, padding=(0, gap, 0, 0), pad_edge=False, header_style="")
        for index, title in enumerate(head):
            prose = index < left
            side: Literal["left", "right"] = "left" if prose else "right"
            grid.add_column(title, justify=side, vertical="top", no_wrap=not prose, overflow="fold")
        for row in rows:
            grid.add_row(*row)
        self._console.print(Padding(grid, (0, 0, 0, 2)))

    def text(self) -> str:
        """Return everything written, without blanks at the ends of lines."""
        lines = (line.replace(_TIE, " ").rstrip() for line in self._out.getvalue().splitlines())
        return "\n".join(lines).strip("\n") + "\n"


def text(
    checked: Checked, *, units: str = "mm", width: int = 80, bold: bool = False, repeat: bool = True
) -> str:
    """Return ``checked`` as text for a screen ``width`` columns wide.

    ``units`` is "mm" or "in" and touches lengths only; ``bold`` allows terminal sequences for bold type;
    ``repeat`` ends with the answer in short, since the first lines may have left the screen by then.
    """
    screen, shown = Screen(max(60, width), bold=bold), Units(units, words.middle_of(checked.design))
    _answer(screen, checked, shown)
    _file(screen, checked, shown)
    _regions(screen, checked, shown)
    if checked.judged:
        _movement(screen, checked.judged, shown)
        _gaps(screen, checked.judged, checked, shown)
    if checked.comparison:
        _comparison(screen, checked, shown)
    _findings(screen, checked, shown)
    if checked.plan:
        _plan(screen, checked.plan, shown)
    _sureness(screen, checked)
    if repeat:
        title, behind = ending(checked)
        screen.heading(f"{title}: {behind}" if checked.plan is None else title)
        screen.lines([behind] if checked.plan else [], indent=0)
    return screen.text()


def ending(checked: Checked) -> tuple[str, str]:
    """Return the answer in short: the design with its outcome, and what to put behind and over it."""
    name, plan = sound_text(checked.design.name), checked.plan
    if plan is None or checked.judged is None:
        return name, "measured and compared; name its goods (--goods) for an outcome"
    worst = _worst(ranked(checked))
    outcome = _verdict(plan) + (f" ({worst.name})" if worst else "")
    cloth = checked.judged.setup.cloth
    behind = ", ".join(
        (f"{one.layers} x " if one.layers > 1 else "") + f"{one.kind} {words.ounces(one.g_m2)}"
        for one in plan.choice.backings
    )
    put = "Stitch it on" if cloth.family == "none" else "Behind"
    over = f"over: {plan.topping.kind}" if plan.topping else "no topping"
    said = f"{put}: {behind}, {held_in_words(plan)}" if behind else f"{put}: nothing"
    return f"{name} {words.goods_phrase(cloth)}: {outcome}", f"{said}; {over}." + (
        f" Buy {plan.buy}." if plan.buy else ""
    )


def summary(endings: Iterable[tuple[str, str]], *, width: int = 80, bold: bool = False) -> str:
    """Return a list of designs with what each came to, for the end of a screen of several."""
    screen = Screen(max(60, width), bold=bold)
    screen.heading("In short")
    screen.lines([f"{title}{'. ' if ': ' in title else ': '}{said}" for title, said in endings], mark="-")
    return screen.text()


def ranked(checked: Checked) -> tuple[Finding, ...]:
    """Return the findings as screens say them, worst level first.

    Within a level the one that decides the outcome comes first, where anything can be computed.
    """
    found = checked.judged.findings if checked.judged else checked.measured
    order = {level: place for place, level in enumerate(words.SHAPES)}
    beyond = checked.judged is not None and checked.judged.response.pull_in.beyond_range
    # what does not fit the hoop is computed in a hoop that it is not sewn in: that comes before all else
    firsts = ("hoop-too-small", "beyond-range" if beyond else found.decided_by)
    items = sorted(
        found.items, key=lambda item: (order[item.level], *(item.name != first for first in firsts))
    )
    return tuple(predicted.said_of(item, checked.judged) for item in items)


def _worst(findings: Sequence[Finding]) -> Finding | None:
    """Return the first finding that is more than a note."""
    return next((item for item in findings if item.level in ("fault", "caution")), None)


def _verdict(plan: Plan) -> str:
    """Return the outcome in capitals, never broken over two lines."""
    return words.OUTCOMES[plan.outcome].upper().replace(" ", _TIE)


def _behind(plan: Plan) -> str:
    """Return what goes behind the goods and how it is held."""
    behind = backing_in_words(plan.choice)
    return behind if behind == "nothing" else f"{behind}, {held_in_words(plan)}"


def held_in_words(plan: Plan) -> str:
    """Return how the backing is held to the goods; what is held with them goes as they are held."""
    if plan.attach != "hooped":
        return plan.attach
    return {"cap-frame": "strapped on with the cap", "clamped": "clamped", "magnetic": "under the frame"}.get(
        plan.holding, plan.attach
    )


def backing_in_words(choice: StackChoice) -> str:
    """Return what goes behind the goods, weight metric first."""
    if not choice.backings:
        return "nothing"
    parts = []
    for backing in choice.backings:
        turns = " and ".join(f"{turn:.0f}" for turn in backing.turns_deg)
        layers = words.counted(backing.layers, "layer")
        if backing.layers > 1 and turns:
            layers += f" turned {turns} degrees"
        parts.append(f"{backing.kind} {words.ounces(backing.g_m2)}, {layers}")
    return "; ".join(parts)


def _answer(screen: Screen, checked: Checked, units: Units) -> None:
    name, plan = sound_text(checked.design.name), checked.plan
    if plan and checked.judged:
        goods = words.goods_phrase(checked.judged.setup.cloth)
        title = f"{name} {goods}: {_verdict(plan)}"
    else:
        title = f"{name}: measured and compared; name its goods (--goods) and a plan can be made"
    screen.heading(title)
    screen.labelled([(label, units.sentence(text)) for label, text in answer_rows(checked)])


def answer_rows(checked: Checked) -> list[tuple[str, str]]:
    """Return the answer itself: what is wrong, what to try, what goes behind and over the goods."""
    plan, worst = checked.plan, _worst(ranked(checked))
    lace = checked.judged is not None and checked.judged.setup.cloth.family == "none"
    if not plan:
        sound = "nothing in the file itself; how it sews depends on the goods, see below"
        rows = [("What is wrong", _one_line(worst) if worst else sound)]
        rows += [("What to try", worst.advice)] if worst and worst.advice else []
    else:
        rows = _concluded_rows(plan, worst)
        rows.append(("Stitch it on" if lace else "Put behind it", _behind(plan)))
        rows.append(("Over it", f"{plan.topping.kind}: {plan.topping.why}" if plan.topping else "no topping"))
    return rows


def _concluded_rows(plan: Plan, worst: Finding | None) -> list[tuple[str, str]]:
    """Return what is wrong and what to try, as the plan ended.

    What a stack decides is helped by what the search came to, not by what the finding names in general.
    """
    ended = plan.conclusion
    if worst is None:
        wrong = ended.why or ended.misses or "nothing that needs changing was found"
        do = ended.do if ended.why or ended.misses else ""
        return [("What is wrong", wrong), *([("What to try", do)] if do else [])]
    rows = [("What is wrong", _one_line(worst))]
    rows += [("Besides", ended.why)] if ended.why else []
    decided = RULES[worst.name].cure == "stack" if worst.name in RULES else False
    advice = [ended.do] if decided and ended.do else [worst.advice]
    advice += [ended.do] if plan.buy and not decided else []
    text = " ".join(one for one in advice if one)
    return [*rows, *([("What to try", text)] if text else [])]


def _one_line(item: Finding) -> str:
    likely = f" ({chance_words(item.chance)})" if item.chance is not None else ""
    return f"{item.name}{likely}: {item.because}"


def _file(screen: Screen, checked: Checked, units: Units) -> None:
    screen.heading("In the file")
    screen.labelled(tables.file_rows(checked, units))
    if units.name != "mm":
        screen.lines(["Areas, densities and weights stay metric."])


def _regions(screen: Screen, checked: Checked, units: Units) -> None:
    head, rows, remark = tables.region_table(checked, units, ranked(checked))
    screen.heading(f"Regions, in sewing order (lengths in {units.plural})")
    screen.table(head, rows)
    screen.lines(remark)


def _movement(screen: Screen, judged: OnGoods, units: Units) -> None:
    if judged.setup.holding == "cap-frame":
        screen.heading("Where the cloth will move: not computed")
        screen.lines(["A cap is curved, strapped and seamed; what is computed holds for flat cloth."])
        return
    screen.heading("Where the cloth will move (estimates)")
    screen.labelled(predicted.movement_rows(judged, units))


def _gaps(screen: Screen, judged: OnGoods, checked: Checked, units: Units) -> None:
    if judged.setup.holding == "cap-frame":
        return
    head, rows, remark = predicted.gap_table(judged, checked.regions, units)
    screen.heading("Gaps where regions border (estimates): + bare cloth, - overlap")
    if rows:
        screen.table(head, rows, left=2)
    screen.lines(remark)


def _comparison(screen: Screen, checked: Checked, units: Units) -> None:
    head, rows, remark = predicted.comparison_table(checked.comparison, units)
    screen.heading("What three goods would do to it (estimates)")
    screen.table(head, rows, left=2)
    screen.lines(remark)


def _findings(screen: Screen, checked: Checked, units: Units) -> None:
    items = ranked(checked)
    screen.heading("Findings" if items else "Findings: none")
    told = _worst(items)
    unknown = [item for item in items if item.because == predicted.UNKNOWN]
    for item in items:
        if item in unknown:
            continue
        facts = tables.finding_facts(item, units)
        screen.lines([f"{words.level(item.level)}  {item.name}" + (f"  {facts}" if facts else "")])
        if item is told:
            screen.lines(["Said at the top."], indent=4)
            continue
        screen.lines([units.sentence(item.because)], indent=4)
        if item.advice:
            screen.lines([units.sentence(f"Try: {item.advice}")], indent=4)
    if unknown:
        screen.lines(["How large these are is more than can be computed:"])
        screen.lines([f"{words.level(item.level)}  {item.name}" for item in unknown], indent=4)


def _plan(screen: Screen, plan: Plan, units: Units) -> None:
    screen.heading(f"Plan: {words.OUTCOMES[plan.outcome]}")
    screen.labelled(tables.plan_rows(plan, units))
    for title, entries in (
        ("Before", plan.steps.before),
        ("While sewing", plan.steps.sewing),
        ("After stitching", plan.steps.finishing),
        ("Mind", plan.cautions),
        ("Why this", plan.reasons),
    ):
        if entries:
            screen.lines([title], indent=2)
            screen.lines(map(units.sentence, entries), indent=4, mark="-")
    if plan.rework:
        screen.lines(["To change in the design"], indent=2)
        screen.lines([units.sentence(_change(one)) for one in plan.rework], indent=4, mark="-")
    if plan.alternatives:
        screen.lines(["Instead"], indent=2)
        others = [units.sentence(f"{one.backing}: {one.why_not}") for one in plan.alternatives]
        screen.lines(others, indent=4, mark="-")


def _change(one: Rework) -> str:
    where = "" if one.region is None else f"Region {one.region}: "
    return f"{where}{one.what} {one.effect}"


def _sureness(screen: Screen, checked: Checked) -> None:
    screen.heading("How sure")
    screen.lines(tables.sureness_lines(checked.sureness))
