"""Where a person still stands: names, numbers and ids looked for in every byte of files, packed ones too."""

from __future__ import annotations

import base64
import binascii
import html
import json
import mmap
import re
import unicodedata
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path

FEWEST_LETTERS = 4
"""A shorter word stands in too many files that do not speak of the person."""

_STREAM = re.compile(rb"stream\r?\n(.*?)endstream", re.DOTALL)
_WITH_FACES = rb"\A%PDF(?s:.{0,40}ReportLab.*?/FontFile2)"
_LAST_PLAIN = 126
_BETWEEN_DIGITS = rb"[\s().+/-]{0,3}"


def traces_of(words: Iterable[str], phones: Iterable[str], client_id: str) -> re.Pattern[bytes]:
    """Make the pattern of what tells a person: words as files write them, phone digits, the id as a value or in a bed's name.

    >>> pattern = traces_of(["Ada O'Quill"], ["3085550107"], "007")
    >>> [bool(pattern.search(text)) for text in (b"Ada O&#39;Quill", b"(308) 555-0107", b'"007",', b"007-curb-1", b"x0075")]
    [True, True, True, True, False]
    """
    told = {" ".join(word.split()) for word in words}
    written = {
        form
        for word in told if len(word) >= FEWEST_LETTERS
        for form in (word, html.escape(word), _as_in_templates(word), html.escape(word, quote=False), word.replace('"', '""'),
                     json.dumps(word)[1:-1], json.dumps(word, ensure_ascii=False)[1:-1], _as_on_paper(word))
    }  # fmt: skip
    known = client_id.encode()
    parts = [re.escape(form.encode("utf-8", "surrogatepass")) for form in sorted(written)]
    # Letters beyond Latin-1 stand in papers as numbers that hang on the face: any of ours with such a face may be meant
    parts += [_WITH_FACES] * any(
        word.encode("cp1252", "replace") != word.encode("cp1252", "ignore") for word in told
    )
    parts += [
        _BETWEEN_DIGITS.join(bytes([digit]) for digit in number.encode())
        for number in phones
        if number
    ]
    parts += [
        rb"(?:(?<=[\"',;\t>=\s])|^)" + re.escape(known) + rb"(?=[\"',;\t<\s]|$|-[a-z]+-\d)"
    ] * bool(known)
    return re.compile(b"|".join(parts), re.IGNORECASE | re.MULTILINE)  # fmt: skip


def _as_in_templates(word: str) -> str:
    """Escape a word as pages do, which name quotes by other numbers than the standard library."""
    return html.escape(word).replace("&#x27;", "&#39;").replace("&quot;", "&#34;")


def _as_on_paper(word: str) -> str:
    """Write a word as a printed page holds it: what is not plain by its number in the face."""
    letters = unicodedata.normalize("NFC", word).encode("cp1252", "replace")
    return "".join(
        f"\\{one:03o}" if one > _LAST_PLAIN else re.sub(r"([()\\])", r"\\\1", chr(one))
        for one in letters
    )


def find_traces(folder: Path, pattern: re.Pattern[bytes]) -> list[Path]:
    """Find the files below a folder that hold a pattern; links are not followed."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file() and not path.is_symlink())
    return [path for path in files if any(pattern.search(content) for content in _contents(path))]


def _contents(path: Path) -> Iterator[bytes | mmap.mmap]:
    """Give what a file holds: its bytes, and what is packed in them."""
    if not path.stat().st_size:
        return
    # A file of hundreds of megabytes is looked through where it lies
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        yield content
        begin = content[: len(b"%PDF")]
        streams = _STREAM.findall(content) if begin == b"%PDF" else []
    yield from map(_unpacked, streams)
    if begin.startswith(b"PK"):
        try:
            with zipfile.ZipFile(path) as packed:
                for member in packed.infolist():
                    yield packed.read(member)
        except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, zlib.error):
            return


def _unpacked(stream: bytes) -> bytes:
    try:
        text = stream.strip()
        plain = base64.a85decode(text.removesuffix(b"~>")) if text.endswith(b"~>") else stream
        return zlib.decompress(plain)
    except (ValueError, binascii.Error, zlib.error):
        return b""
