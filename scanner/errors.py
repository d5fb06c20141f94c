"""
Every error that the program raises on purpose.

::

    ScannerError
    ├── InputError      a file that someone can fix
    │   ├── BookError   the book's folder, its client list or its measured edges
    │   ├── SiteError   a file of site features
    │   └── RateError   the rate book or the local rules
    ├── LogError        the log cannot be opened or refuses an entry
    │   └── ReadOnlyError  the log lies where nobody may write
    ├── WorkerError     a process that helped with a long scan ended by itself
    └── SchemaError     a stage broke its contract: our bug

The command line turns ``InputError``, ``LogError`` and ``WorkerError`` into a sentence and exit
code 1; a ``SchemaError`` stays a traceback.
"""

from __future__ import annotations


class ScannerError(Exception):
    """Root of the tree: anything that the program raises on purpose."""


class InputError(ScannerError):
    """A file that someone can fix; the message names the file and the remedy."""


class BookError(InputError):
    """The book's folder, its client list or its measured edges cannot be used."""


class SiteError(InputError):
    """A file of site features cannot be used."""


class RateError(InputError):
    """The rate book or the local rules cannot be used."""


class LogError(ScannerError):
    """The log cannot be opened, or refuses an entry."""


class ReadOnlyError(LogError):
    """The log lies where nobody may write."""


class WorkerError(ScannerError):
    """A process that helped with a long scan ended by itself; the message names its lots."""


class SchemaError(ScannerError):
    """A stage handed over a table that breaks its schema: a bug of ours."""
