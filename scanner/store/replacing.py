"""
Put files that belong together in place: all new ones stand or all old ones, also after a kill.

The new files are written into a folder beside the old ones, which are linked there, too. One
renaming of that folder decides for the new ones; only then does each change places with its old
one, which is looked at once more: what was saved up to that very instant is seen. A run
that was killed before it is swept away by the next; one that was killed after it is finished by
the next. Where a file cannot be replaced, another renaming decides for the old ones, and they
are put back.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Collection, Iterable
from itertools import chain, count
from pathlib import Path

from scanner.errors import BookError
from scanner.store.private import PRIVATE_FILE, PRIVATE_FOLDER, make_folder

UNFINISHED = ".unfinished-"
"""Begins the names of folders that nothing depends on: strays of runs that were cut off."""

READY, UNDONE = ".ready", ".undone"
"""Folders of a run that is to be finished, and of one that is to be taken back."""

NEW, OLD, GONE, FRESH = "new", "old", "gone", "fresh"
"""In such a folder: new files, old ones, names of files to take away, names that were not there."""

Keep = Callable[[Path], bool]
"""Whether a file that stands in place must not be replaced: the new one goes beside it."""


def _never(_path: Path) -> bool:
    return False


def put_in_place(
    pieces: Iterable[tuple[str, bytes]],
    folder: Path,
    *,
    stale: Iterable[str] = (),
    keep: Keep = _never,
    mark: str = "new",
) -> list[Path]:
    """Write files into a folder, all or none; returns them by name.

    A file's pieces are put one behind the other. Files that fit a pattern of `stale` and are not
    written anew are taken away. What an earlier run left is settled first. `keep` is asked of each
    file that stands in place, as late as can be; the new one of a file that is kept goes beside it,
    with `mark` behind its name.

    A `BookError` where one cannot be written or replaced: then the earlier ones are left as they were.
    """
    try:
        settle(folder, keep=keep, mark=mark)
        make_folder(folder)
        workplace = Path(tempfile.mkdtemp(prefix=UNFINISHED, dir=folder))
        try:
            names = _write(pieces, workplace / NEW)
            names = {_set_aside(name, folder, workplace / NEW, (keep, mark)) for name in names}
            _note_old(folder, workplace, names, stale)
            workplace.rename(folder / READY)
        finally:
            shutil.rmtree(workplace, ignore_errors=True)
        try:
            moved = _finish(folder, (keep, mark))
        except BaseException:
            if (folder / READY).exists():
                (folder / READY).rename(folder / UNDONE)
                _put_back(folder, keep)
            raise
    except OSError as err:
        message = (
            f"{folder}: the files cannot be written ({err.strerror}: {err.filename2 or err.filename}). Close them if "
            "they are open in another program, see that you may write there and that the disk has room, then try "
            "again. Nothing was changed."
        )
        raise BookError(message) from err
    return sorted(moved, key=Path.as_posix)


def is_cut_off(folder: Path) -> bool:
    """Tell whether a run that was cut off left its marks."""
    marks = (READY, UNDONE, f"{UNFINISHED}*")
    return any(True for mark in marks for _ in folder.glob(mark))


def settle(folder: Path, *, keep: Keep, mark: str = "new") -> None:
    """Finish or take back what a run left that was cut off, and sweep its strays away."""
    if (folder / UNDONE).exists():
        _put_back(folder, keep)
    if (folder / READY).exists():
        _finish(folder, (keep, mark), is_resumed=True)
    for stray in folder.glob(f"{UNFINISHED}*"):
        shutil.rmtree(stray)


def _write(pieces: Iterable[tuple[str, bytes]], folder: Path) -> set[str]:
    folder.mkdir(mode=PRIVATE_FOLDER)
    names = set[str]()
    for name, piece in pieces:
        if name not in names:
            names.add(name)
            (folder / name).parent.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
        number = os.open(
            folder / name, os.O_WRONLY | os.O_CREAT | os.O_APPEND | _BINARY, PRIVATE_FILE
        )
        with os.fdopen(number, "ab") as file:
            file.write(piece)
    return names


_BINARY = getattr(os, "O_BINARY", 0)  # Windows alone turns line ends


def _note_old(folder: Path, workplace: Path, names: Collection[str], stale: Iterable[str]) -> None:
    """Link the old files into the workplace, so that they can be put back."""
    found = {
        path.relative_to(folder).as_posix() for pattern in stale for path in folder.glob(pattern)
    }
    gone, fresh = found - set(names), {name for name in names if not (folder / name).exists()}
    (workplace / OLD).mkdir(mode=PRIVATE_FOLDER)
    for name in sorted((set(names) | gone) - fresh):
        (workplace / OLD / name).parent.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
        try:
            os.link(folder / name, workplace / OLD / name)
        except (OSError, NotImplementedError):  # a disk without links
            shutil.copy2(folder / name, workplace / OLD / name)
    (workplace / GONE).write_text("\n".join(sorted(gone)), encoding="utf-8")
    (workplace / FRESH).write_text("\n".join(sorted(fresh)), encoding="utf-8")


def _finish(folder: Path, kept: tuple[Keep, str], *, is_resumed: bool = False) -> list[Path]:
    """Put the new files that are left over the old ones; where each of them is now."""
    ready, keep = folder / READY, kept[0]
    moved = []
    for path in _files(ready / NEW):
        name = path.relative_to(ready / NEW)
        target, old = folder / name, ready / OLD / name
        make_folder(target.parent)
        if is_resumed and _is_same(path, old):
            moved.append(target)  # the run that was cut off had put the new one in its place
            continue
        place = _lay(path, target, kept, is_laid=is_resumed and keep(path))
        if place == target and keep(old):
            # It was saved after it was asked about, into the file that was just replaced
            place = _beside(target, kept)
            shutil.copy2(target, place)
            old.replace(target)
        moved.append(place)
    _take_away(ready / GONE, folder, keep)
    _leave(ready, folder)
    return moved


def _lay(path: Path, target: Path, kept: tuple[Keep, str], *, is_laid: bool = False) -> Path:
    """Put a file in its place, beside the one there where that is kept; where it is now.

    ``is_laid``: an earlier run did so, and what stood there before lies where the new one lay.
    """
    keep = kept[0]
    if keep(target):
        return path.replace(_beside(target, kept))
    if not is_laid and not exchange(path, target):
        return path.replace(target)
    # What stood there at that very instant lies here now, whenever it was saved
    if keep(path):
        exchange(path, target)
        return path.replace(_beside(target, kept))
    path.unlink()
    return target


def exchange(one: Path, other: Path) -> bool:
    """Let two files change places at once; False where the system can't, or one is not there."""
    if _RENAME is None:
        return False
    names = os.fsencode(one), os.fsencode(other)
    return bool(_RENAME(_HERE, names[0], _HERE, names[1], _EXCHANGE) == 0)


_HERE, _EXCHANGE = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of Linux's fcntl.h and fs.h
_RENAME = getattr(ctypes.CDLL(None), "renameat2", None) if sys.platform == "linux" else None


def _is_same(one: Path, other: Path) -> bool:
    """Whether two files hold the same; only a run that was cut off asks this."""
    return other.exists() and one.read_bytes() == other.read_bytes()


def _set_aside(name: str, folder: Path, new: Path, kept: tuple[Keep, str]) -> str:
    """Give a new file another name where the one that stands in its place is kept."""
    if not kept[0](folder / name):
        return name
    beside = _beside(folder / name, kept).relative_to(folder)
    (new / name).replace(new / beside)
    return beside.as_posix()


def _beside(path: Path, kept: tuple[Keep, str]) -> Path:
    """Name a file beside one that is kept: the first that is not there or need not be kept."""
    keep, mark = kept
    names = (
        f"{path.stem}-{mark}{more}{path.suffix}"
        for more in chain([""], (f"-{n}" for n in count(2)))
    )
    return next(one for one in map(path.with_name, names) if not keep(one))


def _put_back(folder: Path, keep: Keep) -> None:
    undone = folder / UNDONE
    for path in filter(keep, _files(undone / NEW)):
        # It was saved at the very instant at which it was replaced
        old = undone / OLD / path.relative_to(undone / NEW)
        make_folder(old.parent)
        path.replace(old)
    for path in _files(undone / OLD):
        target = folder / path.relative_to(undone / OLD)
        if not keep(target):
            make_folder(target.parent)
            path.replace(target)
    _take_away(undone / FRESH, folder, keep)
    _leave(undone, folder)


def _files(source: Path) -> list[Path]:
    return sorted(path for path in source.rglob("*") if path.is_file())


def _take_away(listed: Path, folder: Path, keep: Keep) -> None:
    for name in listed.read_text(encoding="utf-8").splitlines():
        if not keep(folder / name):
            (folder / name).unlink(missing_ok=True)
        with contextlib.suppress(OSError):  # it holds other files still
            if (folder / name).parent != folder:
                (folder / name).parent.rmdir()


def _leave(workplace: Path, folder: Path) -> None:
    """Let a folder whose work is done be a stray, then take it away."""
    stray = folder / f"{UNFINISHED}done"
    shutil.rmtree(stray, ignore_errors=True)
    workplace.rename(stray)
    shutil.rmtree(stray, ignore_errors=True)
