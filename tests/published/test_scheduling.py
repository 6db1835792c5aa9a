"""The queue of the bench against a textbook's example, and against a general library for simulation."""

from collections.abc import Generator

import numpy as np
import pytest
import simpy

from dashboard.analysis.simulation import schedule
from dashboard.analysis.simulation.schedule import WHOEVER, BenchTime, Work

_JOBS = {"A": (6, 8), "B": (2, 6), "C": (8, 18), "D": (3, 15), "E": (9, 23)}


@pytest.mark.parametrize(
    "order, ends, mean_flow, late",
    [
        ("ABCDE", [6, 8, 16, 19, 28], 15.4, 11),
        ("BDACE", [2, 5, 11, 19, 28], 13.0, 9),
        ("BADCE", [2, 8, 11, 19, 28], 13.6, 6),
        ("ECADB", [9, 17, 23, 26, 28], 20.6, 48),
    ],
)
def test_five_jobs_on_one_bench_end_as_in_the_textbook(
    order: str, ends: list[int], mean_flow: float, late: int
) -> None:
    """J. Heizer, B. Render, Operations Management, chapter on short-term scheduling: five jobs of an
    architect's office with their days of work and due days, by first come, shortest, earliest due and longest
    first. Printed: average completion 15.4, 13.0, 13.6 and 20.6 days, total job lateness 11, 9, 6 and 48
    days. From memory; the ends are recomputed from the inputs.
    """
    works = [
        Work(hours=np.full((1, 1), 8.0 * _JOBS[job][0]), waits=np.zeros((1, 1)), person=np.array([WHOEVER]))
        for job in order
    ]
    days = (
        np.floor(schedule.course(works, BenchTime(np.full((1, 1, 60), 8.0), np.full(1, 8.0))).leaves[:, 0])
        + 1
    )
    assert days.tolist() == ends and days.mean() == pytest.approx(mean_flow)
    assert sum(max(0, day - _JOBS[job][1]) for job, day in zip(order, days, strict=True)) == late


def _by_simpy(works: list[list[tuple[int, int]]], people: int) -> list[int]:
    """The same shop in SimPy (a general library for discrete events): people are a resource that who stands
    before in order takes from who stands behind.
    """
    shop = simpy.Environment()
    benches = simpy.PreemptiveResource(shop, capacity=people)
    ends = [0] * len(works)

    def pass_through(number: int, steps: list[tuple[int, int]]) -> Generator[simpy.Event, None, None]:
        for work_days, wait_days in steps:
            left: float = work_days
            while left > 0:
                with benches.request(priority=number) as mine:
                    begun = None
                    try:
                        yield mine
                        begun = shop.now
                        yield shop.timeout(left)
                        left = 0
                    except simpy.Interrupt:
                        left -= 0 if begun is None else shop.now - begun
            yield shop.timeout(wait_days)
        ends[number] = int(shop.now)

    for number, steps in enumerate(works):
        shop.process(pass_through(number, steps))
    shop.run()
    return ends


@pytest.mark.parametrize("people", [1, 2, 3])
def test_the_queue_goes_as_in_a_general_library_for_simulation(people: int) -> None:
    """Whole days of work and of waiting, so that both count the same; 200 shops of up to seven works."""
    rng = np.random.default_rng(people)
    for _ in range(200):
        shop = [
            [(int(rng.integers(1, 9)), int(rng.choice([0, 0, 1, 4, 11]))) for _ in range(rng.integers(1, 5))]
            for _ in range(rng.integers(1, 8))
        ]
        works = [
            Work(
                hours=np.array([[8.0 * days] for days, _ in steps]),
                waits=np.array([[float(wait)] for _, wait in steps]),
                person=np.full(len(steps), WHOEVER),
            )
            for steps in shop
        ]
        days = (
            np.floor(
                schedule.course(
                    works, BenchTime(np.full((people, 1, 600), 8.0), np.full(people, 8.0))
                ).leaves[:, 0]
            )
            + 1
        )
        assert days.tolist() == _by_simpy(shop, people), shop
