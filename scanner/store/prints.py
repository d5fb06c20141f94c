"""Prints of texts and of the program, and seals of files: what is still the same is told by them."""

from __future__ import annotations

import platform
from contextlib import suppress
from functools import cache
from hashlib import blake2b, file_digest
from importlib.metadata import version
from pathlib import Path

LIBRARIES = ("geopandas", "numpy", "pandas", "pyarrow", "pyogrio", "pyproj", "scipy", "shapely", "branca", "django-js-lib-leaflet", "folium", "jinja2", "markupsafe", "xlsxwriter")  # fmt: skip
"""Another version of these may give other digits, or other pages."""


def print_of(*parts: str | bytes) -> str:
    """Give the print of some texts, in which it counts where one ends and the next begins.

    >>> print_of("ab", "c") == print_of("a", "bc"), len(print_of())
    (False, 32)
    """
    whole = blake2b(digest_size=16)
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        whole.update(len(data).to_bytes(8, "big") + data)
    return whole.hexdigest()


@cache
def program_print() -> str:
    """Give the print of the program: what another one made is never trusted."""
    # Who asks for a seal alone loads no geometry
    from shapely import geos_version_string  # noqa: PLC0415

    package = Path(__file__).parents[1]
    sources = sorted(path for path in package.rglob("*.*") if "__pycache__" not in path.parts)
    texts = (path.read_bytes() for path in sources if path.is_file())
    libraries = (version(name) for name in LIBRARIES)
    return print_of(platform.python_version(), geos_version_string, *libraries, *texts)


SEAL_BYTES = 16


def seal_of(path: Path) -> str:
    """Give the seal of a file: another one as soon as any program saves it with a change; blank where it can't be read."""
    with suppress(OSError), path.open("rb") as file:
        return file_digest(file, lambda: blake2b(digest_size=SEAL_BYTES)).hexdigest()
    return ""
