"""
What pages share: templates, data that cannot break out, Leaflet's script, and a policy that fetches nothing.

Only pictures from the addresses that the local rules name, once the reader switches a background
on.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from functools import cache, partial
from importlib.resources import files
from importlib.resources.abc import Traversable
from urllib.parse import urlsplit

import jinja2

from scanner.schema.documents import Backgrounds

PAGES = files("scanner.pages")


@cache
def read_asset(name: str) -> str:
    """Read a text that pages are made of, by its place in this room."""
    return _read(PAGES / name)


def _read(file: Traversable) -> str:
    # A browser turns line ends into \n before it checks a script against its hash
    return file.read_text(encoding="utf-8").replace("\r\n", "\n").replace("\r", "\n").strip()


@cache
def open_templates(folder: str) -> jinja2.Environment:
    """Open the templates of a kind of page; whatever a book says is escaped in them."""
    own, shared = (
        jinja2.FunctionLoader(partial(_read_if_there, place)) for place in (folder, "page_assets")
    )
    return jinja2.Environment(
        loader=jinja2.ChoiceLoader([own, shared]), autoescape=True, trim_blocks=True,
        lstrip_blocks=True, undefined=jinja2.StrictUndefined,
    )  # fmt: skip


def _read_if_there(folder: str, name: str) -> str | None:
    path = f"{folder}/{name}"
    return read_asset(path) if (PAGES / path).is_file() else None


POLICY_MARK = "policy-goes-here"
"""Stands in a template where `seal_page` writes the policy."""

_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_HOST = re.compile(r"(\{s\}\.)?[A-Za-z0-9.-]+(:\d+)?")
_BLANK = re.compile(r"\{([^{}]*)\}")
_PLACES, _BLANKS = {"z", "x", "y"}, {"z", "x", "y", "s", "r"}


def offer_backgrounds(backgrounds: Backgrounds) -> list[dict[str, str]]:
    """List the backgrounds whose address can be used, in the order in which they are offered.

    ``key``, ``label``, ``url`` and ``credit`` of each.
    """
    offered = [
        ("imagery", "Aerial picture", backgrounds.imagery_url, backgrounds.imagery_credit),
        ("streets", "Street map", backgrounds.streets_url, backgrounds.streets_credit),
    ]
    return [
        {"key": key, "label": label, "url": url, "credit": credit}
        for key, label, url, credit in offered
        if _origin(url)
    ]


def seal_page(html: str, backgrounds: Sequence[dict[str, str]]) -> str:
    """Allow a page its own scripts by their hash, pictures of its backgrounds, and nothing else.

    The page with its policy.
    """
    scripts = _SCRIPT.findall(html)
    digests = (hashlib.sha256(script.encode()).digest() for script in scripts)
    hashes = " ".join(f"'sha256-{base64.b64encode(digest).decode('ascii')}'" for digest in digests)
    servers = "".join(f" {_origin(background['url'])}" for background in backgrounds)
    policy = (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; "
        f"img-src data:{servers}; base-uri 'none'; form-action 'none'"
    )
    return html.replace(POLICY_MARK, policy, 1)


def fill_page(path: str, backgrounds: Sequence[dict[str, str]] = (), **told: object) -> str:
    """Fill in a page's template, named by its place in this room; allow it its own scripts and backgrounds alone."""
    folder, _, name = path.rpartition("/")
    template = open_templates(folder).get_template(name)
    html = template.render(mark=POLICY_MARK, backgrounds=backgrounds, **told)
    return seal_page(html, backgrounds)


def script_json(value: object) -> str:
    r"""Write data for a JSON script element, so that nothing in a book can end it or open a comment.

    JSON without any ``<``.
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")


def _origin(url: str) -> str:
    """Name the server of an address as a content policy does; blank where there is none."""
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not _HOST.fullmatch(parts.netloc):
        return ""
    if not _PLACES.issubset(blanks := set(_BLANK.findall(url))) or not blanks.issubset(_BLANKS):
        return ""
    return f"{parts.scheme}://{parts.netloc.replace('{s}', '*')}"


_SOURCE_MAP = re.compile(r"(?m)^\s*(//|/\*)# sourceMappingURL=.*$")
_IMAGE = re.compile(r"url\(images/([\w.-]+\.png)\)")
_OLD_BROWSERS = re.compile(r"(?m)^\s*behavior: url\(#default#VML\);\n")


def _leaflet() -> Traversable:
    """Give the folder of Leaflet's own files, in the package ``django-js-lib-leaflet``: nothing is fetched."""
    return files("js_lib_leaflet") / "static" / "js_lib_leaflet"


@cache
def leaflet_script() -> str:
    """Read Leaflet's script, ready to stand inside a script element.

    JavaScript without its source map address, which a browser would look for.
    """
    script = _SOURCE_MAP.sub("", _read(_leaflet() / "leaflet.js"))
    return script.replace("</script", r"<\/script").strip()


@cache
def leaflet_style() -> str:
    """Read Leaflet's style sheet with its images inside it.

    CSS that names no other file.
    """
    style = _OLD_BROWSERS.sub("", _read(_leaflet() / "leaflet.css"))
    return _IMAGE.sub(lambda found: f"url({_data_address(found[1])})", style).strip()


def _data_address(name: str) -> str:
    image = (_leaflet() / "images" / name).read_bytes()
    return f"data:image/png;base64,{base64.b64encode(image).decode('ascii')}"
