"""The thread list of a sewing sheet: colour blocks in order of use, with the needle that sews each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.design import Command, Design
from analyzer.pipeline import Checked
from analyzer.report.fill_in import colour_stitches
from analyzer.report.numbers import sound_text


@dataclass(frozen=True, slots=True)
class Block:
    """One colour block as it is threaded and sewn."""

    number: int  #: from 1, in sewing order
    name: str
    rgb: str | None
    metres: float  #: upper thread of one piece
    stitches: int
    needle: int | None  #: slot from 1; None where the machine is not known
    remarks: tuple[str, ...]  #: what to do before, in or after it


def blocks(checked: Checked, thread_names: Sequence[str | None], needles: int | None) -> tuple[Block, ...]:
    """Return the colour blocks in sewing order.

    ``thread_names`` are the user's own, by position; ``needles`` is how many threads the machine holds.
    """
    design = checked.design
    named = [_name(design, number, thread_names) for number in range(len(design.threads))]
    keys = [_key(design, number, thread_names) for number in range(len(design.threads))]
    slots, rethreads = (
        ([None] * len(keys), [False] * len(keys)) if needles is None else slotted(keys, needles)
    )
    halts = _halts(design)
    pieces = _applique_remarks(checked)
    counts = colour_stitches(design)
    out = []
    for number, thread in enumerate(design.threads):
        remarks = []
        if rethreads[number]:
            remarks.append(f"rethread needle {slots[number]} first")
        remarks += pieces.get(number, [])
        remarks += [f"machine stops after {after:,} of its stitches" for after in halts.get(number, [])]
        out.append(
            Block(
                number=number + 1,
                name=named[number],
                rgb=thread.rgb,
                metres=float(checked.use.colours_thread_m[number]),
                stitches=counts[number],
                needle=slots[number],
                remarks=tuple(remarks),
            )
        )
    return tuple(out)


def _name(design: Design, number: int, thread_names: Sequence[str | None]) -> str:
    thread = design.threads[number]
    own = thread_names[number] if number < len(thread_names) else None
    parts = [own] if own else [part for part in (thread.name, thread.catalogue) if part]
    return sound_text(" ".join(parts) or thread.rgb or "no colour in the file")


def _key(design: Design, number: int, thread_names: Sequence[str | None]) -> tuple[object, ...]:
    """Return what blocks of one thread share; one of which nothing is known is a thread of its own."""
    thread = design.threads[number]
    own = thread_names[number] if number < len(thread_names) else None
    if own:
        return ("own", own)
    if thread.name or thread.rgb:
        return ("file", thread.name, thread.rgb)
    return ("unknown", number)


def slotted(keys: Sequence[object], needles: int) -> tuple[list[int | None], list[bool]]:
    """Return for each block its needle, from 1, and whether that needle must be rethreaded first.

    When all needles are taken, the one whose thread is needed again latest is rethreaded (Belady 1966, IBM
    Systems Journal 5, 78-101: the fewest changes there can be).
    """
    held: dict[int, object] = {}
    slots: list[int | None] = []
    rethreads = []
    for now, key in enumerate(keys):
        slot = next((number for number, thread in held.items() if thread == key), None)
        changed = False
        if slot is None:
            slot = next((number for number in range(1, needles + 1) if number not in held), None)
        if slot is None:
            rest = list(keys[now + 1 :])
            slot = max(
                held,
                key=lambda number: (rest.index(held[number]) if held[number] in rest else len(rest), -number),
            )
            changed = True
        held[slot] = key
        slots.append(slot)
        rethreads.append(changed)
    return slots, rethreads


def _halts(design: Design) -> dict[int, list[int]]:
    """Return for each block after how many of its stitches the machine stops within or after it."""
    down = np.cumsum(design.kinds == Command.STITCH)
    halts: dict[int, list[int]] = {}
    for row in np.flatnonzero(design.kinds == Command.STOP):
        last = int(down[row]) - 1  # the penetration before the halt
        if 0 <= last < len(design.penetrations):
            block = int(design.colour[last])
            own = np.flatnonzero(design.colour == block)
            halts.setdefault(block, []).append(int(design.joined[own[0] : last + 1].sum()))
    return halts


def _applique_remarks(checked: Checked) -> dict[int, list[str]]:
    """Return what each block does in the appliques of the design."""
    colour = {region.id: region.colour for region in checked.regions.items}
    remarks: dict[int, list[str]] = {}
    for each in checked.regions.appliques:
        told = [(each.placement, "sews a placement line: lay the applique piece after it")]
        told += [(number, "tacks the applique piece down: trim it after that") for number in each.tack_down]
        told += [(each.cover, "covers the edge of the applique piece")]
        for number, text in told:
            if number in colour and text not in remarks.setdefault(colour[number], []):
                remarks[colour[number]].append(text)
    return remarks
