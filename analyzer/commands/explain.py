"""``prehoop explain FINDING``: what a finding means, its limit, and what to try."""

from __future__ import annotations

import click

from analyzer.errors import UnknownName


class UnknownFinding(UnknownName):
    """A finding that prehoop does not make."""

    what = "finding"


@click.command(epilog="\b\nExamples:\n  prehoop explain\n  prehoop explain outline-gap\n")
@click.argument("finding", required=False)
def explain(finding: str | None) -> None:
    """Explain a finding; without a name, list them all."""
    from analyzer.findings import RULES, page

    if finding is None:
        for name in sorted(RULES):
            summary = page(name).strip().splitlines()[0].removeprefix(f"{name}: ")
            click.echo(f"{name:26}{summary}")
        return
    if finding not in RULES:
        raise UnknownFinding(finding, RULES)
    click.echo(page(finding).strip())
