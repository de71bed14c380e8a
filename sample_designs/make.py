"""Make the sample designs of the harbour regatta: ``python sample_designs/make.py [FOLDER]``.

Everything is drawn here from lines and arcs; nothing is taken from elsewhere. Every run gives the same bytes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path as FilePath

import motifs
from sewing import Sewing

DESIGNS: dict[str, Callable[[], Sewing]] = {
    "crest-outline-last.dst": motifs.crest_outline_last,
    "crest-outline-first.dst": motifs.crest_outline_first,
    "regatta-lettering.pes": motifs.regatta_lettering,
    "rope-wreath.exp": motifs.rope_wreath,
    "lighthouse-sketch.jef": motifs.lighthouse_sketch,
    "towel-shell.vp3": motifs.towel_shell,
    "lace-starfish.dst": motifs.lace_starfish,
    "overdense-flag.exp": motifs.overdense_flag,
    "lighthouse-patch.pes": motifs.lighthouse_patch,
    "signal-flags.jef": motifs.signal_flags,
}


def make(folder: FilePath) -> list[FilePath]:
    """Write every sample design into ``folder`` and return the files."""
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for name, design in DESIGNS.items():
        design().save(folder / name)
        made.append(folder / name)
    return made


if __name__ == "__main__":
    target = FilePath(sys.argv[1]) if len(sys.argv) > 1 else FilePath(__file__).parent
    for file in make(target):
        print(file)  # noqa: T201 - a script that says what it wrote
