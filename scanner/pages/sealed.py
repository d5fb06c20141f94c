"""
What every page with scripts shares: data that cannot break out, and a policy that fetches nothing.

Only pictures from the addresses that the local rules name, once the reader switches a background
on.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from urllib.parse import urlsplit

from scanner.schema.documents import Backgrounds

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
