"""Ways to begin the next version."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.ui import page_data
from dashboard.ui.estimate import sheet
from ingest.editing import estimate_drafts
from ingest.editing.estimate_drafts import Draft
from ingest.values import numbers


def show(code: str, versions: pd.DataFrame, works: pd.DataFrame) -> None:
    st.header("Write the next version" if len(versions) else "Write its estimate")
    studio = page_data.settings()
    head = {"made_on": f"{page_data.today():%Y-%m-%d}", "currency": studio.currency}
    if studio.tax_per_cent is not None:
        head["tax_per_cent"] = numbers.written(studio.tax_per_cent)
    if studio.tax_per_cent and studio.prices_include_tax is not None:
        head["tax_in_price"] = "yes" if studio.prices_include_tax else "no"
    if versions.empty:
        st.write("It has no estimate yet.")
    with st.container(horizontal=True):
        if len(versions) and st.button("Begin with the latest version", type="primary"):
            sheet.open_anew(
                code,
                Draft(
                    version=head,
                    lines=estimate_drafts.as_typed(
                        queries.estimate_lines(
                            page_data.store().cursor(), code, int(versions["version"].max())
                        )
                    ),
                ),
            )
        if st.button("Begin with an empty sheet", type="secondary" if len(versions) else "primary"):
            sheet.open_anew(code, Draft(version=head, lines=[{}]))
    other = sheet.choose_other_work(code, works)
    if other and st.button("Begin with its lines"):
        sheet.open_anew(code, Draft(version=head, lines=sheet.lines_of(other)))
