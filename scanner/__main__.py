"""Run the command line as ``python -m scanner``."""

from __future__ import annotations

from scanner.cli import main

if __name__ == "__main__":
    main(prog_name="python -m scanner")
