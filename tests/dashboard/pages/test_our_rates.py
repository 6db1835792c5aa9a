"""What a conservator wants to know before she quotes: what a technique takes her, how sure that is, from
which works.
"""

import html
import re
from urllib.parse import parse_qsl, urlsplit

import pytest
from streamlit.testing.v1 import AppTest

from ingest.store import Store
from tests.drawn import cells_of, checked, draw, field_of, fill_field, press_button, words_of

TECHNIQUE = "varnish removal with free solvents"


def test_what_a_technique_takes_how_sure_and_from_which_works_is_seen_pinned_and_opened(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "our_rates", technique=TECHNIQUE)
    heads = heads_of_figures(page)
    assert "hours per dm²" in heads
    assert "4 in 5 such lines end within" in heads
    assert re.search(r"From \d+ finished lines on \d+ works, the last finished on", words_of(page))
    assert "Usual caution with solvents" in words_of(page)
    assert "Pin a rate of your own" in [expander.label for expander in page.expander]
    fill_field(page, "Hours per dm²", "0.31")
    press_button(page, "Pin it")
    assert "a pinned rate needs a reason" in words_of(page)
    assert field_of(page, "Hours per dm²").value == "0.31"  # nothing typed is lost
    fill_field(page, "Why", "a new solvent gel")
    press_button(page, "Pin it")
    assert re.search(
        r"Pinned at 0\.31 h per dm² on .* by principal: a new solvent gel\. The record says", words_of(page)
    )
    assert "hours per dm², pinned" in heads_of_figures(page)
    assert cells_of(page, "Rates of all techniques", "0.31*")[0] == TECHNIQUE
    assert "Pin another rate" in [expander.label for expander in page.expander]
    press_button(page, "Let the record say it")
    assert "hours per dm²" in heads_of_figures(page)
    press_button(page, "Try past promises again")  # the page waits until they are
    assert "ended inside their range of 4 in 5" in words_of(page)
    assert cells_of(page, "Trust by phase", "yes: ")
    assert not tables_of(page, "Paces of people")
    next(box for box in page.checkbox if box.label.startswith("Show them here")).check()
    checked(page.run())
    assert cells_of(page, "Paces of people", "Ilse")[0] == "Ilse"
    (latest,) = tables_of(page, "Lines behind the rate, the latest")
    link = re.search(r'<a [^>]*href="([^"]+)"[^>]*>([^<]+)</a>', latest)
    assert link
    address, code = urlsplit(html.unescape(link[1])), link[2]
    assert address.path == "/one-work" and dict(parse_qsl(address.query)) == {"object": code}
    work = draw(monkeypatch, demo, "one_work", object=code)
    assert [title.value for title in work.title] == ["One work"]
    assert cells_of(work, "Lines of this work", TECHNIQUE)


def heads_of_figures(page: AppTest) -> list[str]:
    """The words above the figures of a page."""
    figures = next(item.proto.body for item in page.get("html") if 'class="figures"' in item.proto.body)
    return [html.unescape(head).strip() for head in re.findall(r"<dt[^>]*>([^<]*)</dt>", figures)]


def tables_of(page: AppTest, name: str) -> list[str]:
    """The tables of this name, as they are placed on a page."""
    return [item.proto.body for item in page.get("html") if f'aria-label="{name}"' in item.proto.body]
