"""Tax in the price of a version."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.services import prices
from dashboard.text import prices as prices_text
from dashboard.ui import layout, page_data
from ingest.editing import approvals


def tax_matters(versions: pd.DataFrame) -> bool:
    """The studio charges a tax, or one of these versions does."""
    return bool(page_data.settings().tax_per_cent) or bool((versions["tax_per_cent"] > 0).any())


def per_cent_of(row: pd.Series) -> float | None:
    """The tax of a version, else that of the studio."""
    return float(row["tax_per_cent"]) if row["tax_per_cent"] > 0 else page_data.settings().tax_per_cent


def choose_tax(label: str, key: str, empty: str, current: str = "") -> str:
    """Tax included in a price: `yes`, `no`, or an empty text, which is shown as `empty`."""
    tax = prices.tax_of(page_data.settings())
    words = {"": empty, "yes": f"{tax} included", "no": f"without {tax}"}
    chosen: str = st.selectbox(
        label,
        list(words),
        index=list(words).index(current),
        format_func=words.__getitem__,
        key=key,
        width=190,
    )
    return chosen


def ask_of_version(code: str, versions: pd.DataFrame) -> None:
    """Ask it of a version whose price does not say it; for all of them it is asked under Studio."""
    open_ones = versions.loc[
        versions["price"].notna()
        & versions["tax_in_price"].isna()
        & (versions["tax_per_cent"].isna() | (versions["tax_per_cent"] > 0)),
        "version",
    ]
    if open_ones.empty or not tax_matters(versions):
        return
    with (
        st.expander(f"Whether {prices.tax_of(page_data.settings())} is in the price of a version"),
        st.form(f"tax {code}", border=False),
    ):
        layout.say(
            "Of all prices that do not say it, it is said once under Studio, quotes; here of one version"
            " that is otherwise."
        )
        version = st.selectbox("Version", open_ones.unique().tolist(), key=f"tax of version {code}")
        chosen = choose_tax("Its price is", f"tax said {code}", "not said")
        if st.form_submit_button("Say it") and chosen:
            row = versions[versions["version"] == version].iloc[0]
            # a price that does not say it is an older one, and the tax may have been another then
            older = page_data.settings().prices_tax_per_cent
            per_cent = older if older is not None and pd.isna(row["tax_per_cent"]) else per_cent_of(row)
            with page_data.store().writing() as con:
                approvals.set_tax(
                    con,
                    code,
                    int(version),
                    page_data.change("said under Estimate"),
                    (chosen == "yes", per_cent),
                )
            versions = queries.versions(page_data.store().cursor(), code)
            row = versions[versions["version"] == version].iloc[0]
            price = prices_text.price_words(row.to_dict(), page_data.settings())
            layout.done(f"The price of version {version} of {code} is {price}.")
