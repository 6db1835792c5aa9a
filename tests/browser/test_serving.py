"""The server behind the pages: it lets go, it fails in words, it shows a studio with little in it."""

import contextlib
import shutil
import socket
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from dashboard.formatting import plain
from ingest.store import Store
from tests import ready
from tests.conftest import bring_into
from tests.drawn import draw
from tests.served import Server


def test_a_server_that_is_stopped_lets_go_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    served = Server(path)
    held = ready.command("overruns", "--db", str(path))
    # the server answers
    assert (
        held.returncode == 0
        and "Nothing in this studio is estimated or logged yet" in held.stdout
        and not held.stderr
    )
    served.stop()
    freed = ready.command("overruns", "--db", str(path))
    assert freed.returncode == 0, freed.stderr


def test_browsers_that_connect_and_fall_silent_do_not_hold_a_server_that_is_stopped(tmp_path: Path) -> None:
    served = Server(tmp_path / "s.duckdb")
    silent: list[socket.socket] = []

    def connect() -> None:  # until nobody answers: some are met while the server takes leave of those it has
        with contextlib.suppress(OSError):
            while len(silent) < 500:
                silent.append(socket.create_connection(("127.0.0.1", served.port), timeout=5))

    callers = threading.Thread(target=connect)
    callers.start()
    try:
        served.stop()
    finally:
        callers.join()
    for item in silent:
        item.close()
    with Store(tmp_path / "s.duckdb") as freed:
        assert freed.changes() == 0


@pytest.mark.parametrize("page", ["on-the-bench", "our-rates", "bench-plan"])
def test_a_server_is_stopped_while_a_browser_waits_for_what_it_computes(
    windows: Callable[[int], Page], invented: Path, tmp_path: Path, page: str
) -> None:
    shutil.copy(invented, tmp_path / "s.duckdb")
    served = Server(tmp_path / "s.duckdb", program=("-m", "tests.altered_server", "impatient-page"))
    opened = windows(1280)  # not `laptop`: whom the server leaves complains of it
    opened.goto(f"{served.address}/{page}")
    opened.wait_for_selector("[data-testid=stSpinner], [data-testid=stProgress]")
    served.stop()
    opened.goto("about:blank")
    told = served.said.read_text()
    assert (
        "Traceback" not in told
        and told.splitlines()[-1] == "stopped; the record is closed, and everything in it is kept"
    )
    with Store(tmp_path / "s.duckdb") as freed:
        assert freed.changes() > 0


# It answers as a server does; what it does when it is told to stop stands in front.
NO_SERVER_OF_OURS = """
import signal, sys
signal.signal(signal.SIGINT, {handler})
from http.server import HTTPServer, SimpleHTTPRequestHandler
port = int(sys.argv[sys.argv.index("--port") + 1])
HTTPServer(("127.0.0.1", port), SimpleHTTPRequestHandler).serve_forever()
"""


@pytest.mark.parametrize(
    ("handler", "why"),
    [
        ("signal.SIG_IGN", "not stopped 2 s after SIGINT"),
        ("lambda *_: sys.exit(3)", "stopped by SIGINT with exit code 3"),
    ],
)
def test_what_does_not_stop_in_good_order_fails_who_stops_it_and_is_ended_all_the_same(
    tmp_path: Path, handler: str, why: str
) -> None:
    served = Server(tmp_path / "s.duckdb", program=("-c", NO_SERVER_OF_OURS.format(handler=handler)))
    with pytest.raises(AssertionError, match=why):
        served.stop(within_s=2)
    assert served.process.poll() is not None
    with pytest.raises(AssertionError, match="it had ended by itself"):
        served.stop()


def test_a_page_that_fails_says_so_in_our_words_and_points_nowhere_outside(
    serve_here: Callable[..., str], phone: Page, tmp_path: Path
) -> None:
    phone.goto(serve_here(tmp_path / "s.duckdb", program=("-m", "tests.altered_server", "failing-page")))
    expect(phone.get_by_text("This page failed (ZeroDivisionError). Nothing was changed.")).to_be_visible()
    assert [
        link
        for link in phone.eval_on_selector_all("a[href]", "all => all.map(a => a.href)")
        if "127.0.0.1" not in link
    ] == []
    phone.goto("about:blank")  # every other page is looked at for these words at the end


def one_work(folder: Path, objects: str, *lines: tuple[str, int, str, int]) -> Path:
    """A studio with one work; each of its lines is a technique, its hours estimated, a day and its hours."""
    files = {
        "o.csv": objects,
        "est.csv": "object,version,made_on,approved_on,phase,technique,hours\n"
        + "".join(f"24-001,1,2024-01-05,2024-01-09,,{line[0]},{line[1]}\n" for line in lines),
        "log.csv": "object,phase,technique,person,date,hours\n"
        + "".join(f"24-001,,{technique},Ilse,{day},{hours}\n" for technique, _, day, hours in lines),
    }
    with Store(folder / "one.duckdb") as store:
        for name, text in files.items():
            assert bring_into(store, folder, name, text).complete
    return folder / "one.duckdb"


def test_a_finished_studio_with_nothing_beside_its_figures_is_shown(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    db = one_work(tmp_path, "object,finished_on\n24-001,2024-05-01\n", ("packing", 4, "2024-02-01", 5))
    with Store(db) as store:
        page = draw(monkeypatch, store)
    assert plain("Most over: handover, +1.0 h on 1 work, mostly harder going than quoted.") in [
        item.value for item in page.markdown
    ]


def test_a_studio_with_nothing_finished_sees_how_far_its_works_have_come(
    serve_here: Callable[..., str], phone: Page, tmp_path: Path
) -> None:
    lines = ("packing", 4, "2024-02-01", 5), ("travel", 8, "2024-02-02", 2)
    db = one_work(tmp_path, "object\n24-001\n", *lines)
    phone.goto(f"{serve_here(db)}/where-the-hours-went")
    expect(phone.get_by_role("heading", name="So far, on lines still open")).to_be_visible()
    said = phone.get_by_test_id("stVegaLiteChart").locator("svg text")
    expect(said.filter(has_text="handover: 7.0 h so far of 12.0 h")).to_have_count(1)
    expect(said.filter(has_text="+1.0 h finished or over already, 6.0 h not used yet")).to_have_count(1)
    row = (
        phone.get_by_role("region", name="Works with lines over already")
        .get_by_role("row")
        .last.get_by_role("cell")
        .all_inner_texts()
    )
    assert [row[0], *row[2:6]] == ["24-001", "2 lines open", "12.0", "7.0", "+1.0"] and row[-1] == "6.0"
    for name in ("Phases", "Works", "Lines"):
        expect(phone.get_by_role("button", name=name, exact=True)).to_be_visible()
