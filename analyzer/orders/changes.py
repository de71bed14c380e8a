"""What is different from the last report of an order, one sentence each."""

from __future__ import annotations

import msgspec

from analyzer.orders.document import ItemPart, OrderDocument
from analyzer.report.words import OUTCOMES


def with_changes(now: OrderDocument, before: OrderDocument | None) -> OrderDocument:
    """Return ``now`` with what changed since ``before``; the same order again keeps what was said then."""
    if before is None:
        return now
    if msgspec.structs.replace(before, changed=()) == now:
        return before
    return msgspec.structs.replace(now, changed=changes(before, now))


def changes(before: OrderDocument, now: OrderDocument) -> tuple[str, ...]:
    """Return what changed from one document to the next."""
    said = []
    if before.version != now.version:
        said.append(f"Reckoned by prehoop {now.version}, before by {before.version}.")
    old = {one.position: one for one in before.items}
    new = {one.position: one for one in now.items}
    said += [f"Item {number}, {new[number].title}: new." for number in new if number not in old]
    said += [f"Item {number}, {old[number].title}: no longer ordered." for number in old if number not in new]
    for number in new:
        if number in old:
            told = _of_item(old[number], new[number])
            said += [f"Item {number}, {new[number].title}: {', '.join(told)}."] if told else []
    for what, one, other in (("cost", before.cost, now.cost), ("price", before.price, now.price)):
        if one != other:
            said.append(f"The {what} in all is {other or 'not given'}, was {one or 'not given'}.")
    return tuple(said)


def _of_item(old: ItemPart, new: ItemPart) -> list[str]:
    told = []
    if old.sha256 != new.sha256:
        told.append("the file is another one")
    pairs = (
        ("design", old.title, new.title),
        ("goods", old.goods, new.goods),
        ("pieces", f"{old.quantity} + {old.spares} spare", f"{new.quantity} + {new.spares} spare"),
        (
            "outcome",
            OUTCOMES.get(old.outcome or "", old.outcome),
            OUTCOMES.get(new.outcome or "", new.outcome),
        ),
        ("behind it", old.stack, new.stack),
        ("worst gap", _length(old.worst_gap_mm), _length(new.worst_gap_mm)),
        ("thread", _metres(old.thread_m), _metres(new.thread_m)),
        ("time", _minutes(old.minutes), _minutes(new.minutes)),
        ("cost", old.cost, new.cost),
        ("price", old.price, new.price),
    )
    for what, one, other in pairs:
        if one != other:
            told.append(f"{what} {other or 'not known'}, was {one or 'not known'}")
    return told


def _length(mm: float | None) -> str | None:
    return None if mm is None else f"{mm + 0.0:+.1f} mm"


def _metres(metres: float | None) -> str | None:
    return None if metres is None else f"{metres:.1f} m a piece"


def _minutes(minutes: float | None) -> str | None:
    return None if minutes is None else f"{minutes:.1f} min a piece"
