"""Work that falls into parts which know nothing of each other, on as many processors as there are."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

from threadpoolctl import ThreadpoolController

_Part = TypeVar("_Part")
_Result = TypeVar("_Result")
_MOST = 4
_TURN_S = 0.0005
# The matrices are so small that threads within a product wait for each other longer than they work.
blas = ThreadpoolController()


@contextmanager
def each(do: Callable[[_Part], _Result], parts: Iterable[_Part]) -> Iterator[Iterator[_Result]]:
    """What `do` gives for each part, in their order. It must change nothing that another part reads. Where
    the one who asks goes away, parts that were not begun are not begun.

    Threads, not processes: products of matrices and long arrays let go of the interpreter, and a process that
    serves must not be copied.
    """
    # who comes back from a product waits for the interpreter until another lets go of it; 5 ms, as Python has
    # it, is longer than most products
    sys.setswitchinterval(min(sys.getswitchinterval(), _TURN_S))
    # set here once, as parts that set and restore it while others run would leave it as none of them found it
    with blas.limit(limits=1, user_api="blas"):
        pool = ThreadPoolExecutor(min(_processors(), _MOST), thread_name_prefix="part")
        try:
            yield pool.map(do, parts)
        finally:
            pool.shutdown(cancel_futures=True)


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
