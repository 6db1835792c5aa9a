"""Long work outside the run of a page."""

import threading
from collections.abc import Callable, Iterator

import pytest

from dashboard.services import jobs
from ingest.errors import BenchHoursError


@pytest.fixture(autouse=True)
def ended() -> Iterator[None]:
    yield
    jobs.stop()


class Endless:
    """Work that goes on until it is stopped."""

    def __init__(self) -> None:
        self.under_way = threading.Event()

    def __call__(self, progress: Callable[[int, int], None]) -> None:
        while True:
            self.under_way.set()
            progress(1, 2)


def test_work_is_begun_once_for_all_who_ask_and_tells_how_far_it_is() -> None:
    go_on, times = threading.Event(), []

    def do(progress: Callable[[int, int], None]) -> str:
        times.append(1)
        progress(1, 4)
        assert go_on.wait(10)
        return "done"

    one, other = jobs.start("one", do), jobs.start("one", do)
    assert one is other and jobs.has_result("one") and not jobs.has_result("other")
    assert not one.wait(0.2) and one.share == 0.25
    go_on.set()
    assert one.wait(10) and other.result() == "done" and times == [1]


def test_what_is_there_of_a_result_can_be_shown_before_all_of_it_is() -> None:
    go_on, told = threading.Event(), threading.Event()

    def do(progress: jobs.Progress) -> list[str]:
        progress(1, 2, ["one"])
        told.set()
        assert go_on.wait(10)
        return ["one", "two"]

    task = jobs.start("half", do)
    assert told.wait(10) and task.so_far == ["one"] and not task.wait(0)
    go_on.set()
    assert task.result() == ["one", "two"]


def test_work_that_failed_says_why_and_is_begun_again() -> None:
    def fails(_: object) -> str:
        raise BenchHoursError("no", "Try again.")

    failed = jobs.start("two", fails)
    assert failed.wait(10)
    with pytest.raises(BenchHoursError, match="no"):
        failed.result()
    assert jobs.start("two", lambda _: "done").result() == "done"


def test_a_server_that_is_stopped_waits_for_no_work() -> None:
    endless = Endless()
    task = jobs.start("three", endless)
    assert endless.under_way.wait(10)
    waiting = jobs.start("four", lambda _: "never")
    jobs.stop()
    assert task.wait(10) and waiting.future.cancelled()
    with pytest.raises(jobs.Stopped):
        task.result()


def test_patient_work_keeps_nobody_waiting_and_ends_where_nobody_looks_at_it_any_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(jobs, "_LOOKED_FOR_S", 0.6)
    monkeypatch.setattr(jobs, "_QUIET_S", 0.0)
    endless = Endless()
    task = jobs.start("five", endless, patient=True)
    assert endless.under_way.wait(10)
    assert jobs.start("six", lambda _: "done").wait(10)  # it does not wait behind the other
    for _ in range(8):
        assert not task.wait(0.1)  # looked at, it goes on
    with pytest.raises(jobs.GivenUp):
        task.future.result(10)
    assert jobs.start("five", lambda _: "again", patient=True).result() == "again"


def test_what_nobody_wants_is_given_up_under_way_or_not() -> None:
    endless = Endless()
    one, other = jobs.start(("history", 1), endless), jobs.start(("history", 2), lambda _: "never")
    assert endless.under_way.wait(10)
    jobs.give_up(lambda key: isinstance(key, tuple) and key[0] == "history")
    for task in (one, other):
        assert task.wait(10)
        with pytest.raises(jobs.GivenUp, match="nobody waited for this any more"):
            task.result()
    assert not jobs.has_result(("history", 1))
