"""From a check to one self-contained page: opens offline, reads top to bottom, prints.

This room computes nothing but how the cloth lies on the way, which it asks for (:mod:`analyzer.course`).
Style and script are written into the page; a policy in its head lets nothing in from elsewhere.
"""

from __future__ import annotations

from analyzer.report.html.page import Body, html_body, html_report, page_script, page_style

__all__ = ["Body", "html_body", "html_report", "page_script", "page_style"]
