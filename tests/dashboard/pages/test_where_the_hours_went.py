"""Where the hours went: works are named by code and title, to whoever may see titles."""

import pytest

from dashboard.ui import page_data
from ingest.store import Store
from tests.conftest import Bring
from tests.drawn import choose_option, draw, rows_of, words_of


def test_works_are_named_by_code_and_title_and_to_who_only_reviews_by_code(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    estimates = "object,version,made_on,approved_on,phase,technique,hours\n"
    studio("est.csv", estimates + "24-001,1,2024-01-05,2024-01-06,,facing,2\n")
    studio("e.csv", "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,4.5\n")
    studio("f.csv", "object,finished_on\n24-001,2024-02-02\n")
    page = draw(monkeypatch, store, "where_the_hours_went")
    heads, row = rows_of(page, "Works that ran over most")
    assert (heads[:3], row[:3]) == (["work", "title", "lines"], ["24-001", "Ferry in snow", "finished"])
    phase = next(choice for choice in page.selectbox if choice.label == "Look into a phase").options[-1]
    choose_option(page, "Look into a phase", phase)
    heads, row = rows_of(page, f"Lines of {phase}")
    assert (heads[:4], row[:3]) == (
        ["work", "title", "technique", "part"],
        ["24-001", "Ferry in snow", "facing"],
    )
    monkeypatch.setattr(page_data, "role", lambda: "reviews")
    page = draw(monkeypatch, store, "where_the_hours_went")
    heads, row = rows_of(page, "Works that ran over most")
    assert (heads[:2], row[:2]) == (["work", "lines"], ["24-001", "finished"])
    assert "Ferry in snow" not in words_of(page)


def test_where_nothing_is_finished_the_way_to_set_a_milestone_is_a_link(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    estimates = "object,version,made_on,approved_on,phase,technique,hours\n"
    studio("est.csv", estimates + "24-001,1,2024-01-05,2024-01-06,,facing,2\n")
    studio("e.csv", "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,1\n")
    page = draw(monkeypatch, store, "where_the_hours_went")
    assert "No line of these is finished yet" in words_of(page)
    links = {link.proto.label: link.proto.page for link in page.get("page_link")}
    assert links["Set a milestone under Works"] == "works"
