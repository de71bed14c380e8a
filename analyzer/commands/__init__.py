"""The command line, one module for each command; the only room that knows the terminal.

Modules here import nothing heavy at their top: ``prehoop --help`` must answer at once.
"""

from analyzer.commands.entry import main, prehoop

__all__ = ["main", "prehoop"]
