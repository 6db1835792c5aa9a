"""The way from the chart of a rate to the works behind it; what the page says is read in
`tests/dashboard/pages/test_our_rates.py`.
"""

from playwright.sync_api import Page, expect

from tests.browser.conftest import act, settled


def test_a_point_of_the_chart_opens_its_work(laptop: Page, demo_address: str) -> None:
    laptop.goto(f"{demo_address}/our-rates?technique=retouching")
    points = laptop.get_by_test_id("stVegaLiteChart").locator("svg .mark-symbol path")
    expect(points.first).to_be_visible()
    settled(laptop)
    act(laptop, lambda: points.nth(3).click())
    expect(laptop.get_by_role("heading", name="One work")).to_be_visible()
    assert "object=" in laptop.url
