"""Write the lowest versions that pyproject.toml allows, as constraints for pip: every library, and those of the tests."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path
from typing import Any

BOUND = re.compile(r"^([A-Za-z0-9._-]+)>=([0-9.]+)")


def lowest(project: dict[str, Any]) -> list[str]:
    """Give one line a library; what has no lowest version is no line.

    >>> lowest({"dependencies": ["click>=8.2,<9", "rich"], "optional-dependencies": {"test": ["pytest>=9.0,<10"]}})
    ['click==8.2', 'pytest==9.0']
    """
    needed = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    return [f"{found[1]}=={found[2]}" for found in map(BOUND.match, needed) if found]


if __name__ == "__main__":
    pyproject = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))
    sys.stdout.write("\n".join(lowest(pyproject["project"])) + "\n")
