"""Write what was made, whole or not at all, and never over what people filled in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from scanner.pages.publish.earlier import CALL_LISTS, RECORD, UNREADABLE, Kept, has_cells_filled_in
from scanner.store.prints import seal_of
from scanner.store.replacing import put_in_place

__all__ = ["CALL_LISTS", "RECORD", "UNREADABLE", "paper_name", "publish_files", "seal_of"]


def paper_name(paper: str, client_id: str) -> str:
    """Name the file of a client's paper; an id may hold what no file's name may, or would lead elsewhere.

    >>> paper_name("visit", "C0057"), paper_name("visit", "../../x y")
    ('visit-C0057.pdf', 'visit-.._.._x_y.pdf')
    """
    name = re.sub(r"[^\w.-]", "_", client_id)[:100]
    return f"{paper}-{name}.pdf"


def publish_files(contents: Mapping[str, bytes], folder: Path, *, mark: str = "new") -> list[Path]:
    """Write files that belong together, all or none; `BookError` where one cannot be written.

    A list that somebody wrote into stays, and the new one goes beside it with ``mark`` in its name.
    """
    return put_in_place(contents.items(), folder, keep=Kept(has_cells_filled_in), mark=mark)
