"""Past promises tried again: can the ranges be trusted?"""

from __future__ import annotations

from datetime import date

import streamlit as st

from dashboard import queries
from dashboard.analysis.validation.backtest import by_phase, score
from dashboard.formatting import plain
from dashboard.services.rates import predictions
from dashboard.text.backtest import ranges_verdict, totals_verdict, trust
from dashboard.text.remembered import left_out
from dashboard.ui import layout, page_data, results

_LOOK_S = 0.2


def show(as_of: date) -> None:
    """Past promises tried again, once somebody wants to know."""
    layout.section(
        "Can the ranges be trusted?",
        "Each finished line is foretold once more from what was finished before its estimate was made,"
        " and held against what it took.",
    )
    if not results.has_backtest(as_of) and not st.button("Try past promises again"):
        return
    task = results.backtest(as_of)
    if not task.wait(0.05):
        bar = st.progress(0.0, text="Trying past promises again …")
        while not task.wait(_LOOK_S):
            bar.progress(
                task.share,
                text=(
                    f"Trying past promises again: {task.done:,} of {task.of:,} days on which estimates were"
                    " made"
                    if task.of
                    else "Waiting its turn …"
                ),
            )
        bar.empty()
    retried = task.result()
    verdict = score(retried)
    st.write(plain(" ".join(filter(None, (ranges_verdict(verdict), totals_verdict(verdict))))))
    layout.say(left_out(len(queries.remembered(page_data.store().cursor()))))
    if not verdict.lines:
        return
    phases = by_phase(retried)
    layout.table_of(
        "Trust by phase",
        phases,
        {"phase": "phase", "lines": "lines", "works": "works", "can its ranges be trusted?": trust},
        words=(0, 3),
    )
    layout.say("Beside plainer ways, on the lines that had a figure: what each lost by, less is better.")
    layout.table(
        "Beside plainer ways",
        ["foretold by", "lost, on average"],
        [[name, f"{value:.3f}"] for name, value in verdict.compared_with.items()],
    )
    layout.download_frame("Every line as it was foretold", predictions(retried), "predictions.csv")
