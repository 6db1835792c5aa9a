"""What each technique really takes here, how sure that is, and from which works; and whether past ranges held."""

from __future__ import annotations

from datetime import date
from functools import partial

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, reading, tables
from dashboard.analysis.backtest import by_phase, judge
from dashboard.charts import rates as charts
from dashboard.giving import as_csv_text
from dashboard.rating import predictions, usual
from dashboard.sentences import (
    drifting,
    how_the_ranges_did,
    how_the_totals_did,
    how_usual_was_reckoned,
    pinned,
    rests_on,
    said_of_rate,
    trust,
)  # fmt: skip
from dashboard.words import amount, counted, day, hours, per_unit, plain, rate, text
from ingest import pins
from ingest.cautions import usual_cautions

SHOWN, MOST_OPEN = 8, 6
MOST_READ_OUT = 40
_LOOK_S = 0.2


def body() -> None:
    today = held.today()
    as_of = st.session_state.get("as-of") or today
    known = held.rates(as_of)
    if known.lines == 0:
        _nothing_yet(as_of, today)
        return
    table = known.table
    frame.say(
        [
            f"What techniques have really taken in this studio, from {counted(known.lines, 'finished line')} on {counted(known.works, 'work')}, as of {day(as_of)}."
        ]
    )
    technique = _choose(table)
    row = table[table["technique"] == technique].iloc[0]
    lines = known.past_lines(technique)
    _one(row, lines)
    _on_the_bench(technique, as_of, today)
    _used_by(technique)
    frame.say([one for one in [usual_cautions(fields.vocabulary(), [technique])] if one])
    _pin(row, as_of, today)
    _all(table, drifting(*known.drift))
    _trust(as_of)
    _people(known)
    st.header("As things stood on another day")
    st.date_input(
        "Day", value=today, max_value=today, key="as-of", help="Nothing that is dated later has any part in the rates: they are what you would have known then."
    )
    _as_csv(table)


def _nothing_yet(as_of: date, today: date) -> None:
    if as_of < today:
        st.write(f"On {day(as_of)} nothing was finished yet.")
        st.date_input("As things stood on", value=today, max_value=today, key="as-of")
        return
    st.write(
        "No line is finished yet, so nothing can be said of what techniques take here. Log hours, and say when lines, phases and works are finished (Works): from the "
        "first finished work on, rates stand here, with a wide range that narrows with each work."
    )
    with st.container(horizontal=True):
        if st.button("To the works", type="primary"):
            st.switch_page("pages/works.py", query_params=held.same_studio())
        frame.invite_to_invented()


def _choose(table: pd.DataFrame) -> str:
    """The technique that is looked at, kept in the address; at first the one that took most hours."""
    with_record = table[table["lines"] > 0]
    names = [*with_record["technique"], *table.loc[table["lines"] == 0, "technique"]]
    most = with_record["technique"].iloc[int((with_record["p50"] * with_record["lines"]).to_numpy().argmax())]
    chosen: str = st.selectbox("Technique", names, index=names.index(most), key="technique", bind="query-params")
    return chosen


def _one(row: pd.Series, lines: pd.DataFrame) -> None:
    is_pinned = pd.notna(row["pinned_rate"])
    per, shown = per_unit(row["counted_in"] if is_pinned else row["unit"]), row["pinned_rate"] if is_pinned else row["rate"]
    st.html(
        tables.figures([
            (f"hours per {per}{', pinned' if is_pinned else ''}", f"{rate(shown)} h", False),
            ("the true rate, 4 times in 5 between" if not is_pinned or row["unit"] == row["counted_in"] or not text(row["counted_in"]) else "by the record, a line takes 4 times in 5 between", f"{rate(row['rate_low'])} and {rate(row['rate_high'])} h", False),
            (f"the next line ({usual(row)}), even chance", f"{hours(row['p50'])} h", False),
            ("4 in 5 such lines end within", f"{hours(row['p80'])} h", False),
        ])
    )  # fmt: skip
    frame.say([*([pinned(row)] if pd.notna(row["pinned_rate"]) else []), *rests_on(row, lines), *said_of_rate(row)])
    if len(lines):
        st.header("The lines behind it")
        frame.say([how_usual_was_reckoned(row, usual(row))])
        chart = charts.past_lines(lines, row, usual(row))
        st.altair_chart(
            chart, width="stretch", theme=None, key="points", on_select=_point_chosen, selection_mode="chosen",
            alt=f"Hours of {row['technique']} for {usual(row)}, each finished line by its day: " + "; ".join(f"{one['object']} {hours(one['usual_hours'])} h" for one in lines.head(MOST_READ_OUT).to_dict("records")),
        )  # fmt: skip
        _table_of(lines, row)


def _point_chosen() -> None:
    points = st.session_state["points"]["selection"].get("chosen", [])
    if points:
        st.session_state["open work"] = points[0]["object"]


def _table_of(lines: pd.DataFrame, row: pd.Series) -> None:
    if code := st.session_state.pop("open work", None):
        st.switch_page("pages/one_work.py", query_params={"object": code, **held.same_studio()})
    heads = ["work", "finished", "took, h", "quantity", f"for {usual(row)}, h", "own figure, h"]
    rows: list[list[tables.Cell]] = [
        [held.work_link(one["object"]), day(one["day"]), hours(one["hours"]), amount(one["quantity"], row["counted_in"]) or ("not measured" if text(row["counted_in"]) else ""),
         hours(one["usual_hours"]), hours(one["figure"])]
        for one in lines.to_dict("records")
    ]  # fmt: skip
    st.html(tables.ledger("Lines behind the rate, the latest", heads, rows[:SHOWN], words=(0, 1)))
    if len(rows) > SHOWN:
        with st.expander(f"The {counted(len(rows) - SHOWN, 'line')} before"):
            st.html(tables.ledger("Lines behind the rate, those before", heads, rows[SHOWN:], words=(0, 1)))


def _used_by(technique: str) -> None:
    """Which saved quotes stood on it."""
    found = reading.quotes_of_a_rate(held.store().cursor(), technique)
    if found.empty:
        return
    st.header("Quotes that used it")
    rows: list[list[tables.Cell]] = [
        [
            tables.Link(f"{row['object']}, version {row['version']}{f', option {option}' if (option := text(row['option'])) else ''}", held.address("estimate", object=row["object"])), row["part"], day(row["as_of"]),
            f"{rate(row['rate'])} h per {per_unit(row['unit'])}{', pinned' if row['pinned'] else ''}" if pd.notna(row["rate"]) else "its phase and the studio", counted(row["works"], "work"),
            hours(row["hours"]), text(row["outcome"]) or ("approved" if pd.notna(row["approved_on"]) else "no word yet"),
        ]
        for row in found.to_dict("records")
    ]  # fmt: skip
    heads = ["quote", "part", "as of", "at the rate", "from", "in the version, h", "the owner"]
    st.html(tables.ledger("Quotes that used this rate", heads, rows[:SHOWN], words=(0, 1, 2, 3, 4, 6)))
    if len(rows) > SHOWN:
        with st.expander(f"The {counted(len(rows) - SHOWN, 'quote')} before"):
            st.html(tables.ledger("Quotes before that used this rate", heads, rows[SHOWN:], words=(0, 1, 2, 3, 4, 6)))


def _on_the_bench(technique: str, as_of: date, today: date) -> None:
    """Where its open lines will end, as *On the bench* says it."""
    if as_of != today:
        return
    lines = held.bench().lines
    found = lines[(lines["technique"] == technique) & ~lines["finished"].astype(bool) & lines["p50"].notna()]
    if found.empty:
        return
    st.header("On the bench now")
    rows: list[list[tables.Cell]] = [
        [tables.Link(one["object"], held.address("on-the-bench", object=one["object"])), one["part"], hours(one["actual_hours"]), hours(one["p50"]), hours(one["p80"]), hours(one["p90"])]
        for one in found.head(MOST_OPEN).to_dict("records")
    ]  # fmt: skip
    st.html(tables.ledger("Open lines", ["work", "part", "so far, h", "ends, even chance, h", "4 in 5, h", "9 in 10, h"], rows, words=(0, 1)))
    frame.say([f"Of {counted(len(found), 'open line')} {MOST_OPEN} are shown." if len(found) > MOST_OPEN else ""])


def _pin(row: pd.Series, as_of: date, today: date) -> None:
    if as_of != today:
        return
    per, name = per_unit(row["counted_in"]), row["technique"]
    is_pinned = pd.notna(row["pinned_rate"])
    with st.expander("Pin another rate" if is_pinned else "Pin a rate of your own"):
        frame.say(
            [
                "What you pin is used in place of the record’s rate, and shown as pinned with your reason wherever it is used; what the record says stays beside it."
            ]
        )
        with st.form(f"pin {name}", border=False):
            hours_per = st.text_input(f"Hours per {per}", key=f"pin rate {name}")
            reason = st.text_input("Why", key=f"pin reason {name}", placeholder="a new solvent gel, twice as fast")
            if st.form_submit_button("Pin it"):
                if not hours_per.strip():
                    frame.refuse("No rate is written yet. Write the hours.")
                else:
                    pinned = pins.read_rate(per, hours_per)
                    opened = held.store()
                    with opened.writing() as con:
                        pins.pin(con, name, pinned, today, held.change(reason))
                    frame.done(f"{name} is pinned at {rate(pinned)} h per {per}.")
        if is_pinned and st.button("Let the record say it"):
            opened = held.store()
            held.change("unpinned")  # only for whoever may change something
            with opened.writing() as con:
                pins.withdraw(con, name, today)
            frame.done(f"{name} is no longer pinned: the record says its rate.")


def _all(table: pd.DataFrame, drifted: str) -> None:
    st.header("All techniques")
    frame.say(
        [
            "Rates in hours, with the range that holds the true one 4 times in 5, and the next line of the usual quantity. * pinned: the record’s range stands beside it.",
            drifted,
        ]
    )
    heads = ["technique", "works", "rate", "from", "to", "per", "usual line", "even chance, h", "4 in 5, h", "9 in 10, h"]
    known = table[(table["lines"] > 0) | table["pinned_rate"].notna()]
    rows: list[list[tables.Cell] | str] = []
    for phase, inside in known.groupby("phase", sort=False):
        rows.append(str(phase))
        rows += [_rate_cells(row) for row in inside.to_dict("records")]
    st.html(tables.ledger("Rates of all techniques", heads, rows, words=(0, 5)))
    without = table[(table["lines"] == 0) & table["pinned_rate"].isna()]
    if len(without):
        with st.expander(f"{counted(len(without), 'technique')} with too little record: no finished line yet"):
            frame.say(
                [
                    "What is foretold of them rests on their phase, or where that has no finished line either on the whole studio; the range says how little that is."
                ]
            )
            few: list[list[tables.Cell]] = [
                [tables.Link(row["technique"], held.address("our-rates", technique=row["technique"])), "its phase" if row["rests_on"] == "phase" else "the studio", usual(row),
                 hours(row["p50"]), hours(row["p80"]), hours(row["p90"])]
                for row in without.to_dict("records")
            ]  # fmt: skip
            st.html(
                tables.ledger(
                    "Techniques with too little record",
                    ["technique", "rests on", "usual line", "even chance, h", "4 in 5, h", "9 in 10, h"],
                    few,
                    words=(0, 1, 2),
                )
            )


def _rate_cells(row: tables.Row) -> list[tables.Cell]:
    pinned_here = pd.notna(row["pinned_rate"])
    return [
        tables.Link(row["technique"], held.address("our-rates", technique=row["technique"])), f"{row['works']}",
        f"{rate(row['pinned_rate'])}*" if pinned_here else rate(row["rate"]), rate(row["rate_low"]), rate(row["rate_high"]), per_unit(row["counted_in"] if pinned_here else row["unit"]), usual(row),
        hours(row["p50"]), hours(row["p80"]), hours(row["p90"]),
    ]  # fmt: skip


def _trust(as_of: date) -> None:
    """Past promises tried again, once somebody wants to know."""
    st.header("Can the ranges be trusted?")
    frame.say(["Each finished line is foretold once more from what was finished before its estimate was made, and held against what it took."])
    if not held.promises_begun(as_of) and not st.button("Try past promises again"):
        return
    task = held.promises(as_of)
    if not task.wait(0.05):
        bar = st.progress(0.0, text="Trying past promises again …")
        while not task.wait(_LOOK_S):
            bar.progress(
                task.share,
                text=f"Trying past promises again: {task.done:,} of {task.of:,} days on which estimates were made" if task.of else "Waiting its turn …",
            )
        bar.empty()
    retried = task.result()
    verdict = judge(retried)
    st.write(plain(" ".join(filter(None, (how_the_ranges_did(verdict), how_the_totals_did(verdict))))))
    if not verdict.lines:
        return
    phases = by_phase(retried)
    st.html(
        tables.ledger(
            "Trust by phase", ["phase", "lines", "works", "can its ranges be trusted?"],
            [[row["phase"], f"{row['lines']}", f"{row['works']}", trust(row)] for row in phases.to_dict("records")], words=(0, 3),
        )
    )  # fmt: skip
    frame.say(["Beside plainer ways, on the lines that had a figure: what each lost by, less is better."])
    st.html(
        tables.ledger("Beside plainer ways", ["foretold by", "lost, on average"], [[name, f"{value:.3f}"] for name, value in verdict.compared_with.items()])
    )
    st.download_button("Every line as it was foretold", partial(_csv, predictions(retried)), "predictions.csv", "text/csv", on_click="ignore")


def _people(known: held.Rates) -> None:
    """Paces of people: for each of them and the principal only, and off until asked for."""
    st.header("Paces of people")
    if not st.checkbox("Show them here; for that person and the principal only"):
        return
    found = known.people
    rows = [[row["person"], f"{row['lines']}", f"{row['pace']:.2f}", f"{row['pace_low']:.2f} to {row['pace_high']:.2f}"] for row in found.to_dict("records")]
    st.html(tables.ledger("Paces of people", ["person", "lines", "hours for one of the studio’s", "4 in 5"], rows))
    frame.say(["Whoever is new begins at the studio’s rate. Paces leave in no file and no letter; supervised practice is own cost, and teaches nothing."])


def _as_csv(table: pd.DataFrame) -> None:
    st.download_button("Rates as CSV", partial(_csv, table.drop(columns=["position", "pinned_by"])), "rates.csv", "text/csv", on_click="ignore")


def _csv(content: pd.DataFrame) -> str:
    days = {column: content[column].dt.strftime("%Y-%m-%d") for column in content.select_dtypes("datetime").columns}
    return as_csv_text(content.assign(**days))


frame.show("Our rates", body)
