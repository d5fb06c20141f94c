"""
Tasks on all cores: each worker is a process of its own that is given one task after another.

Processes are spawned, not forked, alike on every system. A script that scans a large book by
itself therefore starts under ``if __name__ == "__main__":``.
"""

from __future__ import annotations

import ctypes
import gc
import os
import pickle
import signal
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from traceback import format_exc
from typing import Generic, TypeVar, cast

import pyarrow as pa

from scanner.errors import WorkerError

Task = TypeVar("Task")
Result = TypeVar("Result")

MOST_WORKERS = 4
"""Each takes some 300 MB; more of them would fill the memory of a usual office machine."""

LEAVE_SECONDS = 5.0


def count_cores() -> int:
    """Count the cores that this process may use, at most `MOST_WORKERS`."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(cores or 1, MOST_WORKERS)


def work_through(
    tasks: Iterable[Task],
    work: Callable[[Task], Result],
    *,
    workers: int,
    name: Callable[[Task], str],
    ease: Callable[[Task], Result | None] = lambda _task: None,
) -> Iterator[Result]:
    """Do tasks on some workers; results come in the order of the tasks.

    One a task. ``workers``: processes; with one, this process does them itself. ``ease``: gives the
    result of a task that is next to no work, which this process does; none is started before there is
    another. `WorkerError`: if a worker dies (memory ran out, or somebody ended it), or meets an error
    that cannot be sent; any other error of a task is raised as it is.
    """
    if workers == 1:
        yield from map(work, tasks)
        return
    crew = [_Worker(work, name) for _ in range(workers)]
    _give_memory_back()
    try:
        yield from _hand_out(((task, ease(task)) for task in tasks), crew, name)
    finally:
        for one in crew:
            one.leave()
        _give_memory_back()


def _give_memory_back() -> None:
    """Give the system what memory is free: the libraries that hand it out keep it, on Linux for good."""
    pa.default_memory_pool().release_unused()
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


@dataclass
class _Worker(Generic[Task, Result]):
    """A process, started for its first task, and the end of its line; ``doing`` is the task that it is at."""

    work: Callable[[Task], Result]
    name: Callable[[Task], str]
    process: SpawnProcess = field(init=False)
    line: Connection | None = None
    doing: tuple[int, Task] | None = None

    def take(self, task: tuple[int, Task]) -> None:
        self.line = self.line or self._start()
        self.doing = task
        self.line.send(task[1])

    def _start(self) -> Connection:
        context = get_context("spawn")
        ours, theirs = context.Pipe()
        args = (theirs, self.work, self.name, gc.get_threshold())
        self.process = context.Process(target=_serve, args=args, daemon=True)
        self.process.start()
        theirs.close()
        return ours

    def answer(self, line: Connection) -> Result:
        came, result = line.recv()
        self.doing = None
        if not came:
            raise result
        return cast("Result", result)

    def leave(self) -> None:
        if self.line is None:
            return
        self.line.close()
        if self.doing is not None:
            self.process.terminate()
        self.process.join(LEAVE_SECONDS)
        if self.process.is_alive():
            self.process.kill()


def _hand_out(
    tasks: Iterator[tuple[Task, Result | None]],
    crew: Sequence[_Worker[Task, Result]],
    name: Callable[[Task], str],
) -> Iterator[Result]:
    done, due, coming = dict[int, Result](), 0, enumerate(tasks)
    idle = list(crew)
    while True:
        # A worker that is far ahead of a slow one waits, so that results don't pile up
        while idle and len(done) < 2 * len(crew) and (came := next(coming, None)) is not None:
            place, (task, result) = came
            if result is None:
                idle.pop().take((place, task))
            else:
                done[place] = result
        busy = {one.line: one for one in crew if one.line is not None and one.doing is not None}
        if not busy and due not in done:
            return
        for line in wait([*busy], timeout=0 if due in done else None):
            one = busy[line]  # type: ignore[index]
            assert one.doing is not None  # noqa: S101  # it is busy
            place, doing = one.doing
            try:
                done[place] = one.answer(line)  # type: ignore[arg-type]
            except (EOFError, ConnectionResetError) as err:
                one.process.join(LEAVE_SECONDS)
                message = (
                    f"the worker that was at {name(doing)} ended unexpectedly "
                    f"(exit code {one.process.exitcode}); nothing was changed"
                )
                raise WorkerError(message) from err
            idle.append(one)
        while due in done:
            yield done.pop(due)
            due += 1


def _serve(
    line: Connection,
    work: Callable[[Task], Result],
    name: Callable[[Task], str],
    thresholds: tuple[int, int, int],
) -> None:
    """Do what comes down the line until nobody is at its other end; garbage is collected as often as by who started us."""
    gc.set_threshold(*thresholds)
    # Ctrl-C reaches every process of a terminal; the one that started us decides
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    while True:
        try:
            task = line.recv()
        except EOFError:
            return
        try:
            line.send((True, work(task)))
        except Exception as err:  # noqa: BLE001  # raised again where the result is awaited
            err.add_note(f"at {name(task)}:\n{format_exc()}")
            line.send((False, _readable(err, name(task))))
        # Between two blocks the whole crew would hold on to the most that any block took
        del task
        _give_memory_back()


def _readable(err: Exception, doing: str) -> Exception:
    """Give an error that can be read at the other end of the line: itself, or its type and text."""
    try:
        pickle.loads(pickle.dumps(err))  # noqa: S301  # our own
    except Exception:  # noqa: BLE001  # what an error does when it is copied is its own affair
        kind = type(err).__name__
        return WorkerError(f"the worker that was at {doing} met {kind}: {err}; nothing was changed")
    return err
