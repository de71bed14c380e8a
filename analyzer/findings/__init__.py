"""Findings: what is wrong with a design on these goods, how much, how likely, and what to try.

One module under ``rules`` for each finding. :func:`measure` looks at the file and the goods alone,
:func:`judge` at a computed response as well: there the draws of the mechanics become chances. :func:`weigh`
gives the chances alone.
"""

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.judge import judge, measure, weigh
from analyzer.findings.registry import RULES, page
from analyzer.findings.rules.nap_shows import drowned_share
from analyzer.findings.types import Finding, Findings, GapVerdict, Level, Margin, PuckerVerdict
from analyzer.findings.words import chance_words, count_of, millimetres

__all__ = [
    "RULES",
    "Evidence",
    "Finding",
    "Findings",
    "GapVerdict",
    "Level",
    "Margin",
    "PuckerVerdict",
    "Rule",
    "chance_words",
    "count_of",
    "drowned_share",
    "judge",
    "measure",
    "millimetres",
    "page",
    "weigh",
]
