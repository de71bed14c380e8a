"""Writing the paperwork of an order: whole files, nothing over anything unless asked, the same left alone."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analyzer.errors import BadJob
from analyzer.files import write_whole
from analyzer.orders.changes import with_changes
from analyzer.orders.document import OrderDocument, decode, encode, materials_part, order_document
from analyzer.orders.looking import BaseJob, Looked, Progress, look_over
from analyzer.orders.materials import materials
from analyzer.orders.materials_paper import materials_paper
from analyzer.orders.money import money_of
from analyzer.orders.tables import items_csv, materials_csv
from analyzer.orders.types import Order
from analyzer.report.paper import Occasion, digitizer_note, risk_report, sewing_sheet, spelling_proof

ORDER_FILE = "order.json"
_STEM_LETTERS = 40


@dataclass(frozen=True, slots=True)
class Finished:
    """What a run left in the folder."""

    document: OrderDocument
    looked: tuple[Looked, ...]
    written: tuple[Path, ...]
    same: tuple[Path, ...]  #: there already, byte for byte
    left: tuple[str, ...]  #: files of an earlier run that this order no longer has


def stem_of(title: str) -> str:
    """Return a title as a part of a file's name: small letters, digits and dashes only."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode("ascii").lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_STEM_LETTERS].strip("-") or "item"


def paperwork(
    order: Order,
    folder: Path,
    base: BaseJob,
    progress: Progress | None = None,
    *,
    units: str = "mm",
    force: bool = False,
) -> Finished:
    """Look an order over and write its paperwork into ``folder``, which is made when missing.

    Sewing sheets are written as they are done, so that an interrupted run keeps what was finished; the rest
    follows when all items are through.

    Raises:
        BadJob: a file is there already with other content and ``force`` is false.
        OSError: the folder cannot be written to.

    """
    folder.mkdir(parents=True, exist_ok=True)
    occasion = Occasion(order.number, order.customer, order.due, order.date, order.notes)
    before = _before(folder / ORDER_FILE)
    store = _Store(folder, force=force)
    looked: list[Looked] = []
    for one in look_over(order, base, progress):
        looked.append(one)
        if one.check is not None:
            store.put(_papers_of(one, occasion, units))
    needs = materials(looked, order.shop)
    missing = (*order.missing, *(f"item {one.item.position}: {one.trouble}" for one in looked if one.trouble))
    names = (*store.names, "risk-report.pdf", "materials.pdf", "materials.json", "materials.csv", "items.csv")
    document = order_document(
        order,
        looked,
        needs,
        money_of(looked, needs, order.prices),
        missing=missing,
        files=(*names, ORDER_FILE),
    )
    document = with_changes(document, before)
    pieces = [one.piece for one in looked if one.check is not None]
    store.put(
        {
            "risk-report.pdf": risk_report(pieces, occasion, missing, document.changed, units),
            "materials.pdf": materials_paper(document, needs, occasion),
            "materials.json": encode(materials_part(needs)),
            "materials.csv": materials_csv(document),
            "items.csv": items_csv(document),
            ORDER_FILE: encode(document),
        }
    )
    old = before.files if before else ()
    left = tuple(name for name in old if name not in document.files and (folder / name).is_file())
    return Finished(document, tuple(looked), tuple(store.written), tuple(store.same), left)


def _before(file: Path) -> OrderDocument | None:
    return decode(file.read_bytes()) if file.is_file() else None


def _papers_of(one: Looked, occasion: Occasion, units: str) -> dict[str, bytes]:
    """Return the papers of one item by their names."""
    piece = one.piece
    stem = f"{one.item.position:02d}-{stem_of(one.called)}"
    papers = {f"sewing-sheet-{stem}.pdf": sewing_sheet(piece, occasion, units)}
    if one.item.names:
        papers[f"spelling-proof-{stem}.pdf"] = spelling_proof(piece, occasion)
    note = digitizer_note(piece, occasion, units)
    if note is not None:
        papers[f"digitizer-note-{stem}.pdf"] = note
    return papers


class _Store:
    """The files of one run: those written, and those that were there already just so."""

    def __init__(self, folder: Path, *, force: bool) -> None:
        self.folder, self.force = folder, force
        self.names: list[str] = []
        self.written: list[Path] = []
        self.same: list[Path] = []

    def put(self, files: dict[str, bytes]) -> None:
        """Write files that are not there just so; none of them when one may not be written over."""
        fresh: list[tuple[Path, bytes]] = []
        for name, content in files.items():
            path = self.folder / name
            if path.is_file() and path.read_bytes() == content:
                self.same.append(path)
            else:
                fresh.append((path, content))
        self._refuse([path for path, _ in fresh])
        for path, content in fresh:
            write_whole(path, content, force=self.force)
            self.written.append(path)
        self.names += files

    def _refuse(self, paths: Sequence[Path]) -> None:
        there = [path for path in paths if path.exists()]
        if there and not self.force:
            raise BadJob(
                f"{there[0]} is there already and would change: name another folder, or allow writing over "
                "it (--force)"
            )
