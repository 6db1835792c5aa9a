"""Parts on all processors: the same results in the same order, and no more of them than anybody waits for."""

import threading
import time

import pytest
from threadpoolctl import threadpool_info

from dashboard.analysis import parallel


def _blas_threads() -> list[int]:
    return [item["num_threads"] for item in threadpool_info() if item["user_api"] == "blas"]


def test_results_come_in_the_order_of_their_parts() -> None:
    def slow_at_first(part: int) -> int:
        time.sleep(0.02 if part == 0 else 0.0)
        return part**2

    with parallel.each(slow_at_first, range(6)) as results:
        assert list(results) == [0, 1, 4, 9, 16, 25]


def test_where_nobody_waits_any_more_the_parts_that_were_not_begun_are_not_begun() -> None:
    begun, go_on = [], threading.Event()

    def part(number: int) -> int:
        begun.append(number)
        if number:
            go_on.wait(10)
            time.sleep(0.02)
        return number

    def give_up_after_the_first() -> None:
        with parallel.each(part, range(500)) as results:
            for _ in results:
                go_on.set()
                raise InterruptedError

    before = _blas_threads()
    with pytest.raises(InterruptedError):
        give_up_after_the_first()
    assert 0 < len(begun) < 500 and _blas_threads() == before  # and products of matrices are as they were


def test_what_a_part_raises_comes_to_who_asked() -> None:
    with pytest.raises(ZeroDivisionError), parallel.each(lambda part: 1 // part, [1, 0, 2]) as results:
        list(results)
