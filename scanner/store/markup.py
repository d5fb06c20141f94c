"""XML of strangers, looked through before a reader makes more of it than memory holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import IO
from xml.parsers.expat import ExpatError, ParserCreate

from scanner.store.ceilings import MAX_DEPTH

_CHUNK_BYTES = 65_536


class MarkupError(Exception):
    """A document goes beyond the ceilings; the message says in what."""


def look_through(stream: IO[bytes], most: Mapping[tuple[str, str], tuple[int, str]]) -> None:
    """Raise `MarkupError` for a document type, for elements too deep, and for too many of a kind in one other.

    ``most`` says how many of which kind in which, blank for the whole document, and in words what they are.

    What is no XML passes: its reader says so.
    """
    parser = ParserCreate(namespace_separator=" ")
    names, counts, totals = [""], [0], dict.fromkeys((kind for of, kind in most if not of), 0)

    def start(name: str, _attributes: object) -> None:
        plain = name.rpartition(" ")[2]
        counts[-1] += 1
        count, of = counts[-1], names[-1]
        if plain in totals:
            totals[plain] = count = totals[plain] + 1
            of = ""
        number, words = most.get((of, plain), (count, ""))
        if count > number:
            message = f"has more than {number:,} {words}"
            raise MarkupError(message)
        if len(names) > MAX_DEPTH:
            message = f"holds more than {MAX_DEPTH} parts within each other"
            raise MarkupError(message)
        names.append(plain)
        counts.append(0)

    def end(_name: str) -> None:
        names.pop()
        counts.pop()

    def refuse_type(*_about: object) -> None:
        message = "defines a document type of its own, which it does not need"
        raise MarkupError(message)

    parser.StartElementHandler, parser.EndElementHandler = start, end
    # it may define names that blow up or lead to other files
    parser.StartDoctypeDeclHandler = refuse_type
    try:
        while chunk := stream.read(_CHUNK_BYTES):
            parser.Parse(chunk, False)  # noqa: FBT003  # the library takes no keywords
    except ExpatError:
        return
    except (LookupError, ValueError) as err:
        message = "names a kind of letters that is not known here"
        raise MarkupError(message) from err
