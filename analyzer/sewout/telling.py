"""What ``sewout show`` says."""

from __future__ import annotations

from analyzer import goods
from analyzer.job import OwnMaterials
from analyzer.sewout.learn import Lesson, calibration
from analyzer.sewout.records import Records
from analyzer.sewout.teaching import Line, advice, drifts, lines, own_of

_WORDS = {
    "pull_n": ("pull of the thread", "N"),
    "play_mm": ("play at each edge", "mm"),
    "goods_stiffness": ("stiffness of the cloth, times the table's", ""),
    "backing_stiffness": ("stiffness of the backing, times the table's", ""),
    "lock_share": ("share of the pull left when a stitch locks", ""),
    "thread_stiffness_n": ("stiffness of the thread", "N"),
}
_FEW = 3
_LITTLE = 0.05


def with_meant(lesson: Lesson) -> list[tuple[Line, float]]:
    """Return the lines with what the file has of each, mm."""
    meant = [float(value) for one in lesson.records for value in one.nodes.meant]
    return list(zip(lines(lesson), meant, strict=True))


def _afterwards(
    records: Records, own: tuple[OwnMaterials, ...], scale: float, digits: int, wide: int
) -> list[str]:
    """Return what was measured out of the hoop and after washing, beside the cloth's own shrinkage.

    Stitching and backing hold the cloth back where they lie, so no shrinkage of the cloth follows from it;
    crosses out of the hoop rest on how taut it was hooped. Both are shown to compare, not learned from.
    """
    out = []
    for record in records.kept:
        hooped = {one.name: one.value_mm for one in record.readings}
        later = {"out of the hoop": record.released, "washed": record.washed}
        rows = [
            f"  {f'{record.id}  {one.name}, {state}':<{wide}}"
            f"{(one.value_mm - hooped[one.name]) / scale:>+8.{digits}f}"
            for state, readings in later.items()
            for one in readings
            if one.name in hooped
        ]
        if not rows:
            continue
        out += rows
        before = hooped | {one.name: one.value_mm for one in record.released}
        long = [one for one in record.washed if one.kind in ("sewn", "marks") and one.name in before]
        if long:
            lost = sum(1.0 - one.value_mm / before[one.name] for one in long) / len(long)
            table = goods.tables_of(own_of(record, own)).cloth(record.goods).shrink_percent
            out.append(
                f"  {record.id}  washing took {lost:.1%} of lengths; the table says that bare "
                f"{record.goods} loses {table.low:g} to {table.high:g} %"
            )
    title = "Out of the hoop and washed, against in the hoop (crosses and what is washed teach nothing)"
    return ["", title, *out] if out else []


def text(records: Records, lesson: Lesson, units: str, own: tuple[OwnMaterials, ...] = ()) -> str:
    """Return predicted against measured before and after, what was learned, oddities and what to do next."""
    scale, digits, unit = (25.4, 3, "in") if units == "in" else (1.0, 1, "mm")
    out = [f"Sewn minus file, {unit}: predicted before and after learning (5-95 %), and measured", ""]
    every = with_meant(lesson)
    wide = max([26, *(len(line.record) + 2 + len(line.name) for line, _ in every)]) + 2
    out.append(f"  {'sew-out, measure':<{wide}}{'before':>24}{'after':>24}{'measured':>10}")

    def span(values: tuple[float, float, float], meant: float) -> str:
        middle, low, high = ((one - meant) / scale for one in values)
        return f"{middle:+.{digits}f} ({low:+.{digits}f} {high:+.{digits}f})"

    odd = []
    for line, meant in every:
        read = "-" if line.read_mm is None else f"{(line.read_mm - meant) / scale:+.{digits}f}"
        out.append(
            f"  {line.record + '  ' + line.name:<{wide}}{span(line.before, meant):>24}"
            f"{span(line.after, meant):>24}{read:>10}{'  odd' if line.odd else ''}"
        )
        if line.odd:
            odd.append(f"{line.record}, {line.name}")
    out += ["", "What was learned (5-95 %)"]
    for machine, thread in dict.fromkeys((one.machine, one.thread) for one in lesson.records):
        found = calibration(lesson, machine, thread)
        out.append(f"  {machine}, {thread}")
        for one in found.learned if found is not None else ():
            words, of_unit = _WORDS[one.parameter]
            key = next(k for k in lesson.keys if k[0] == one.parameter and one.of in (None, k[1]))
            prior = lesson.spreads[key]
            what = f"{words}{f' ({one.of})' if one.of else ''}"
            now = f"{one.median:.3g} ({one.low:.3g} to {one.high:.3g})"
            was = f"{prior.value:.3g} ({prior.low:.3g} to {prior.high:.3g})"
            out.append(f"    {what:<58} {now}{' ' * bool(of_unit)}{of_unit}, was {was}")
    if odd:
        out += [
            "",
            f"Odd: {'; '.join(odd)}. Did the hoop slip? They count less; read them again.",
        ]
    out += _afterwards(records, own, scale, digits, max(wide, 58))
    for one_drift in drifts(lesson):
        out += ["", one_drift]
    best = [one for one in advice(lesson) if one.narrower >= _LITTLE][:_FEW]
    out += ["", "What would narrow the prediction of gaps most"]
    out += [
        f"  {one.name} as in {one.record}, measured{' once more' * one.again}: "
        f"about {one.narrower:.0%} narrower"
        for one in best
    ] or ["  Nothing of this kind would narrow it by 5 % or more."]
    return "\n".join(out) + "\n"
