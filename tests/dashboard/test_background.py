"""Long work outside the run of a page."""

import threading
from collections.abc import Callable, Iterator

import pytest

from dashboard import background
from ingest.errors import BenchHoursError


@pytest.fixture(autouse=True)
def ended() -> Iterator[None]:
    yield
    background.stop()


def test_work_is_begun_once_for_all_who_ask_and_tells_how_far_it_is() -> None:
    go_on, times = threading.Event(), []

    def do(progress: Callable[[int, int], None]) -> str:
        times.append(1)
        progress(1, 4)
        assert go_on.wait(10)
        return "done"

    one, other = background.begun("one", do), background.begun("one", do)
    assert one is other and background.known("one") and not background.known("other")
    assert not one.wait(0.2) and one.share == 0.25
    go_on.set()
    assert one.wait(10) and other.result() == "done" and times == [1]


def test_what_is_there_of_a_result_can_be_shown_before_all_of_it_is() -> None:
    go_on, told = threading.Event(), threading.Event()

    def do(progress: background.Progress) -> list[str]:
        progress(1, 2, ["one"])
        told.set()
        assert go_on.wait(10)
        return ["one", "two"]

    task = background.begun("half", do)
    assert told.wait(10) and task.so_far == ["one"] and not task.wait(0)
    go_on.set()
    assert task.result() == ["one", "two"]


def test_work_that_failed_says_why_and_is_begun_again() -> None:
    def fails(_: object) -> str:
        raise BenchHoursError("no", "Try again.")

    failed = background.begun("two", fails)
    assert failed.wait(10)
    with pytest.raises(BenchHoursError, match="no"):
        failed.result()
    assert background.begun("two", lambda _: "done").result() == "done"


def test_a_server_that_is_stopped_waits_for_no_work() -> None:
    under_way = threading.Event()

    def endless(progress: Callable[[int, int], None]) -> None:
        while True:
            under_way.set()
            progress(1, 2)

    task = background.begun("three", endless)
    assert under_way.wait(10)
    waiting = background.begun("four", lambda _: "never")
    background.stop()
    assert task.wait(10) and waiting.future.cancelled()
    with pytest.raises(background.Stopped):
        task.result()


def test_patient_work_keeps_nobody_waiting_and_ends_where_nobody_looks_at_it_any_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(background, "_LOOKED_FOR_S", 0.6)
    monkeypatch.setattr(background, "_QUIET_S", 0.0)
    under_way = threading.Event()

    def endless(progress: Callable[[int, int], None]) -> None:
        while True:
            under_way.set()
            progress(1, 2)

    task = background.begun("five", endless, patient=True)
    assert under_way.wait(10)
    assert background.begun("six", lambda _: "done").wait(10)  # it does not wait behind the other
    for _ in range(8):
        assert not task.wait(0.1)  # looked at, it goes on
    with pytest.raises(background.GivenUp):
        task.future.result(10)
    assert background.begun("five", lambda _: "again", patient=True).result() == "again"


def test_what_nobody_wants_is_given_up_under_way_or_not() -> None:
    under_way = threading.Event()

    def endless(progress: Callable[[int, int], None]) -> None:
        while True:
            under_way.set()
            progress(1, 2)

    one, other = background.begun(("history", 1), endless), background.begun(("history", 2), lambda _: "never")
    assert under_way.wait(10)
    background.give_up(lambda key: isinstance(key, tuple) and key[0] == "history")
    for task in (one, other):
        assert task.wait(10)
        with pytest.raises(background.GivenUp, match="nobody waited for this any more"):
            task.result()
    assert not background.known(("history", 1))
