"""
The command line: what people type, and how the program talks back.

Commands stand in modules named for what a reader is about to do: get the lots in
(`get_in`, `trace`), find and price beds (`find`). Each reads its arguments, calls the
pipeline or a reader or writer, and says what came of it. Data goes to stdout, talk
and progress to stderr.
"""

from __future__ import annotations

from scanner.cli.group import main

__all__ = ["main"]
