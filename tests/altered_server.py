"""A server of which one thing is altered that no test can bring about from outside: `python -m
tests.altered_server ALTERATION [ARGUMENT …] serve …`.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from dashboard import queries
from dashboard.analysis.simulation import completion
from dashboard.cli import main as command
from dashboard.server import listener
from dashboard.services import jobs
from dashboard.ui import results

_SEEN_AFTER_S = 1.5


def failing_page() -> None:
    """Where the hours went cannot be shown."""

    def fail(con: object) -> Any:
        raise ZeroDivisionError

    queries.holdings = fail


def impatient_page() -> None:
    """A page says at once what it waits for, and waits so long that a browser sees it."""
    results._NO_SPINNER_S = 0.0
    run = jobs.Task._run

    def run_and_rest(task: jobs.Task[Any], work: Callable[[jobs.Progress], Any]) -> Any:
        def work_and_rest(progress: jobs.Progress) -> Any:
            result = work(progress)
            time.sleep(_SEEN_AFTER_S)
            progress(1, 1)  # a server that is stopped meanwhile ends it here
            return result

        return run(task, work_and_rest)

    jobs.Task._run = run_and_rest  # type: ignore[assignment,method-assign]


def withheld_work(code: str, gate: str) -> None:
    """Of one work nobody is told where it ends before a file is there."""
    predict = completion.forecast

    def wait_and_predict(known: Any, discoveries: Any, asked: Any, draws: Any) -> Any:
        while code in asked.works and not Path(gate).exists():
            time.sleep(0.02)
        return predict(known, discoveries, asked, draws)

    vars(completion)["forecast"] = wait_and_predict


def short_patience() -> None:
    """Who has not said what he wants is hung up on after one second, and not after ten."""
    listener.HEAD_S = 1.0


_ALTERATIONS: dict[str, tuple[Callable[..., None], int]] = {
    "failing-page": (failing_page, 0),
    "impatient-page": (impatient_page, 0),
    "short-patience": (short_patience, 0),
    "withheld-work": (withheld_work, 2),
}

if __name__ == "__main__":
    alter, count = _ALTERATIONS[sys.argv[1]]
    alter(*sys.argv[2 : 2 + count])
    del sys.argv[1 : 2 + count]
    raise SystemExit(command.main())
