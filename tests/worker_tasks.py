"""Tasks that end badly, for the tests of workers; a worker loads this module and little else."""

from __future__ import annotations

import os

from scanner.errors import SchemaError


def lots_named(task):
    """Say what a task is about."""
    return f"lots {task}"


def die_at_three(task):
    """End the process that works on task 3, as a system without memory does."""
    if task == 3:
        os._exit(9)
    return task


class UnreadableError(Exception):
    """An error that is sent, but cannot be put together again: it wants its word by name."""

    def __init__(self, *, met):
        super().__init__(f"met {met}")


def fail_at(task):
    """Fail as a library may: with an error that cannot be read, cannot be sent, or can."""
    if task == "unreadable":
        raise UnreadableError(met="a nut")
    if task == "unsendable":
        err = RuntimeError("the lid is open")
        err.lid = lambda: None
        raise err
    if task == "plain":
        message = "a column is missing"
        raise SchemaError(message)
    return (lambda: None) if task == "result" else task
