"""Letter and postcard of a promotion: the book's own ``letter.txt``, ``postcard.txt``, or those that come with the program."""

from __future__ import annotations

import re
from collections.abc import Collection
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path

from scanner.errors import BookError

LETTER_FILE, CARD_FILE = "letter.txt", "postcard.txt"
_FIELD = re.compile(r"\{([^{}\n]*)\}")
_LONGEST = 20_000


def read_letter(book: Path, fields: Collection[str], file: str = LETTER_FILE) -> list[str]:
    """Read a book's letter, or the standard one: text and names of fields, by turns.

    Fields stand in braces in the file, like {name}.

    `BookError`: if it cannot be read, is empty or longer than any letter, or has a field that is
    none of these.
    """
    path = book / file
    if not path.is_file():
        standard = files("scanner.book") / "standard" / file
        return _FIELD.split(standard.read_text(encoding="utf-8"))
    try:
        text = path.read_text(encoding="utf-8-sig")[: _LONGEST + 1]
    except (OSError, UnicodeDecodeError) as err:
        message = f"{path} cannot be read: save it as plain text (UTF-8)"
        raise BookError(message) from err
    if not text.strip() or len(text) > _LONGEST:
        message = f"{path} is {'longer than any letter' if text.strip() else 'empty'}: write the letter, or delete the file to use the standard one"
        raise BookError(message)
    for number, line in enumerate(text.splitlines(), 1):
        for name in _FIELD.findall(line):
            if name not in fields:
                alike = get_close_matches(name, fields, 1)
                meant = f"; did you mean {{{alike[0]}}}?" if alike else ""
                message = f"{file}, line {number}: {{{name[:40]}}} is no field{meant or '.'} Fields are {', '.join(sorted(fields))}"
                raise BookError(message)
    return _FIELD.split(text)
