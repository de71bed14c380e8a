"""The local page: the whole job in a browser on the user's own machine, served on 127.0.0.1 only."""

from __future__ import annotations

from analyzer.page.app import make_app

__all__ = ["make_app"]
