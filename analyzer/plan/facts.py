"""What the plan knows of a design besides its goods."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.cloth.types import Cover
from analyzer.findings import Findings
from analyzer.regions.types import Regions


@dataclass(frozen=True, slots=True)
class Facts:
    """The design's regions, its cover, and the findings that need no mechanics."""

    regions: Regions
    cover: Cover
    measured: Findings
    drowned_share: float = 0.0  #: share of the thread in runs and narrow columns, which pile closes over

    def has(self, name: str) -> bool:
        """Whether a finding was made."""
        return any(item.name == name for item in self.measured.items)
