"""The words that a job may hold; apart from the job itself so that the command line can know them at once."""

from __future__ import annotations

CARES = ("industrial", "washed-often", "washed-gently", "dry-cleaned", "never-washed")
BACKS = ("hidden", "seen", "skin", "seen+skin")
HOLDINGS = ("hooped", "floated", "adhesive", "clamped", "magnetic", "cap-frame")
