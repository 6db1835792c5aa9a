"""Long work outside the run of a page: a page that is drawn anew, or left, does not begin it again, and
phones are answered meanwhile.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from typing import Generic, Protocol, TypeVar

from ingest.errors import BenchHoursError

_T = TypeVar("_T")
_QUIET_S, _LOOKED_FOR_S = 2.0, 10.0
_KEPT = 48  # results, the latest asked for
_pool = ThreadPoolExecutor(1, thread_name_prefix="fits")
# for what a page is whole without: nobody waits behind it
_patient = ThreadPoolExecutor(1, thread_name_prefix="history")
_lock = threading.Lock()
_tasks: OrderedDict[Hashable, Task[object]] = OrderedDict()


class Stopped(BenchHoursError):
    """The server takes its leave; nobody waits for the result."""

    def __init__(self) -> None:
        super().__init__("this was not finished, as the server was stopped", "Ask for it again.")


class GivenUp(BenchHoursError):
    """Nobody wants the result any more: the page was left, or what it stands on was changed meanwhile."""

    def __init__(self) -> None:
        super().__init__(
            "nobody waited for this any more, or something was written meanwhile, so it was not finished",
            "Ask for it again.",
        )


class _ForegroundLoad:
    """Whether somebody waits for something, or did just now."""

    def __init__(self) -> None:
        self.waited_for, self.ended_at = 0, 0.0

    @property
    def is_over(self) -> bool:
        return self.waited_for <= 0 and time.monotonic() - self.ended_at >= _QUIET_S


_bustle = _ForegroundLoad()


class Progress(Protocol):
    """Is told how much is done, of how much; and what of the result is there already, where a page can show
    that.
    """

    def __call__(self, done: int, of: int, so_far: object = None) -> None: ...


class Task(Generic[_T]):
    """Work that was begun once for all pages that ask for it."""

    def __init__(self, do: Callable[[Progress], _T], pool: ThreadPoolExecutor) -> None:
        self.done, self.of = 0, 0
        self.so_far: object = None
        self.patient, self.looked_at = pool is _patient, time.monotonic()
        self.stopped: type[Stopped | GivenUp] | None = None
        self.future: Future[_T] = pool.submit(self._run, do)

    def _run(self, do: Callable[[Progress], _T]) -> _T:
        if self.patient:
            self._progress(0, 0)
            return do(self._progress)
        _bustle.waited_for += 1  # one thread does all of these
        try:
            return do(self._progress)
        finally:
            _bustle.waited_for -= 1
            _bustle.ended_at = time.monotonic()

    def _progress(self, done: int, of: int, so_far: object = None) -> None:
        self.done, self.of, self.so_far = done, of, so_far
        while (
            self.patient
            and not self.stopped
            and not _bustle.is_over
            and time.monotonic() - self.looked_at <= _LOOKED_FOR_S
        ):
            time.sleep(0.05)  # what somebody waits for comes first, and mostly not alone
        if self.patient and time.monotonic() - self.looked_at > _LOOKED_FOR_S:
            self.stopped = GivenUp  # the page that wanted it was left
        if self.stopped:
            raise self.stopped()
        time.sleep(0)  # whoever waits to be answered comes first

    @property
    def share(self) -> float:
        """How far it is, from 0 to 1; 0 where that is not known."""
        return self.done / self.of if self.of else 0.0

    def wait(self, seconds: float) -> bool:
        """It is done, now or within so many seconds."""
        self.looked_at = time.monotonic()
        try:
            self.future.exception(seconds)
        except TimeoutError:
            return False
        except CancelledError:
            pass
        return True

    def result(self) -> _T:
        try:
            return self.future.result()
        except CancelledError:
            raise (self.stopped or Stopped)() from None


def start(key: Hashable, do: Callable[[Progress], _T], *, patient: bool = False) -> Task[_T]:
    """The task under a key, begun now if it was not before; one that failed is begun again.

    Parameters
    ----------
    key : by which its result is known: with the change of the database that it stands on.
    do : is given a function to tell its progress.
    patient : a page is whole without it, so that it has its turn beside all others.
    """
    with _lock:
        task = _tasks.get(key)
        if task is None or (task.future.done() and (task.future.cancelled() or task.future.exception())):
            task = Task(do, _patient if patient else _pool)
            _tasks[key] = task
        _tasks.move_to_end(key)
        while len(_tasks) > _KEPT:
            _tasks.popitem(last=False)[1].future.cancel()
        return task  # type: ignore[return-value]  # what is kept under a key is what its own `do` gives


def give_up(which: Callable[[Hashable], bool]) -> None:
    """End work of which nobody wants the result any more, at its next word of progress."""
    with _lock:
        for key in [key for key, task in _tasks.items() if which(key) and not task.future.done()]:
            task = _tasks.pop(key)
            task.stopped = GivenUp
            task.future.cancel()


def has_result(key: Hashable) -> bool:
    """A task was begun under this key, and is kept."""
    with _lock:
        return key in _tasks


def stop() -> None:
    """End what is under way at its next word of progress, and begin nothing that waits: a server that is
    stopped must not wait for it.
    """
    with _lock:
        for task in _tasks.values():
            task.stopped = Stopped
            task.future.cancel()
        _tasks.clear()
