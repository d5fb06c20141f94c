"""
Leaflet's own script and style as text that a page can carry.

The files come from the package ``django-js-lib-leaflet``; nothing is fetched.
"""

from __future__ import annotations

import base64
import re
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

_SOURCE_MAP = re.compile(r"(?m)^\s*(//|/\*)# sourceMappingURL=.*$")
_IMAGE = re.compile(r"url\(images/([\w.-]+\.png)\)")
_OLD_BROWSERS = re.compile(r"(?m)^\s*behavior: url\(#default#VML\);\n")


@cache
def leaflet_script() -> str:
    """Read Leaflet's script, ready to stand inside a script element.

    JavaScript without its source map address, which a browser would look for.
    """
    script = _SOURCE_MAP.sub("", _text("leaflet.js"))
    return script.replace("</script", r"<\/script").strip()


@cache
def leaflet_style() -> str:
    """Read Leaflet's style sheet with its images inside it.

    CSS that names no other file.
    """
    style = _OLD_BROWSERS.sub("", _text("leaflet.css"))
    return _IMAGE.sub(lambda found: f"url({_data_address(found[1])})", style).strip()


def _folder() -> Traversable:
    return files("js_lib_leaflet") / "static" / "js_lib_leaflet"


def _text(name: str) -> str:
    # A browser turns line ends into \n before it checks a script against its hash
    return (_folder() / name).read_text(encoding="utf-8").replace("\r\n", "\n").replace("\r", "\n")


def _data_address(name: str) -> str:
    image = (_folder() / "images" / name).read_bytes()
    return f"data:image/png;base64,{base64.b64encode(image).decode('ascii')}"
