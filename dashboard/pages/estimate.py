"""Estimate: a sheet of lines written by hand, kept cell by cell, saved as a version, approved with its day."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, prices, promise_sentences, promising, reading, sheet, standing_on, tables
from dashboard.words import amount, counted, day, hours, money, plain, text
from ingest import amounts, drafts, estimates, notation, promises, quotes
from ingest.cautions import usual_cautions
from ingest.drafts import Draft, Reading
from ingest.errors import BenchHoursError

SHEET = {
    "technique": ("technique", 230), "part": ("part", 90), "hours": ("hours", 80), "quantity": ("quantity", 95), "phase": ("phase, if not usual", 150),
    "low_hours": ("low, h", 75), "high_hours": ("high, h", 80), "unattended_hours": ("unattended, h", 135), "person": ("person", 80), "option": ("option", 75), "note": ("note", 160),
}  # fmt: skip
CALLED = {"low_hours": "low", "high_hours": "high", "unattended_hours": "unattended", "made_on": "made on", "approved_on": "approved on"}


def body() -> None:
    works = held.works(held.today())
    if works.empty:
        st.write("An estimate is of a work, and there is none yet.")
        with st.container(horizontal=True):
            if st.button("Add a work", type="primary"):
                st.switch_page("pages/works.py", query_params={"add": "work", **held.same_studio()})
            frame.invite_to_invented()
        return
    code = fields.choose_work(works["object"].tolist(), dict(zip(works["object"], works["title"].fillna(""), strict=True)))
    if code is None:
        st.write("Choose the work. Its versions stand here then, and a sheet to write the next one on.")
        drafted = works.loc[works["has_draft"], "object"].tolist()
        if drafted:
            frame.say([f"Drafts are kept for {', '.join(drafted)}."])
        return
    with st.container(horizontal=True):
        st.page_link("pages/one_work.py", label="Where its hours went", query_params={"object": code, **held.same_studio()})
        _quote(code)
    versions = reading.versions(held.store().cursor(), code)
    if len(versions):
        _versions(code, versions)
    draft = drafts.read(held.store().cursor(), code)
    if draft is None:
        _begin(code, versions, works)
    else:
        _write(code, draft, works, versions)


def _quote(code: str) -> None:
    """The way to its quote: the one being written, or a new one that goes on from the latest version."""
    con = held.store().cursor()
    written = quotes.of_work(con, code)
    if written is not None:
        st.page_link("pages/quote_a_work.py", label=f"Go on with quote {written.number}", query_params={"quote": f"{written.number}", **held.same_studio()})
    elif st.button(_again(code), type="primary", help="From what finished works really took; a version can also be written by hand, below."):
        begun = quotes.keep(held.store(), promising.goes_on(con, code, held.today()), held.visit())
        st.switch_page("pages/quote_a_work.py", query_params={"quote": f"{begun.number}", **held.same_studio()})


def _again(code: str) -> str:
    lines = held.overruns(held.today())
    if (lines.loc[lines["object"] == code, "actual_hours"] > 0).any():
        return "Quote the rest anew"
    return "Quote it anew" if len(reading.versions(held.store().cursor(), code)) else "Quote it from finished works"


# --- versions and their approval


def _versions(code: str, versions: pd.DataFrame) -> None:
    st.header("Its versions")
    st.html(tables.versions(versions, prices.of_versions(versions, held.settings())))
    _say_tax(code, versions)
    frame.say(promise_sentences.apart(versions))
    with st.expander("The lines of a version, and what it stood on", key=f"lines of {code}", on_change="rerun") as opened:
        if opened.open:
            _lines_of_version(code, versions)
    waiting = versions[versions["approved_on"].isna() & versions["outcome"].isna()]
    if len(waiting):
        _approve(code, waiting)
        _end(code, waiting)
    if versions["approved_on"].notna().any():
        _take_back(code, versions[versions["approved_on"].notna()])
    if versions["outcome"].notna().any():
        _take_back_end(code, versions[versions["outcome"].notna()])


def _lines_of_version(code: str, versions: pd.DataFrame) -> None:
    numbers = versions["version"].unique().tolist()
    chosen = st.selectbox("Version", numbers, index=len(numbers) - 1, key=f"version shown {code}")
    lines = reading.estimate_lines(held.store().cursor(), code, chosen)
    cells = {
        "phase": [row["phase"] for row in lines.to_dict("records")], "technique": [row["technique"] for row in lines.to_dict("records")], "hours": [hours(value) for value in lines["hours"]],
        "quantity": [amount(row["quantity"], text(row["unit"]) or None) for row in lines.to_dict("records")], "part": lines["part"].tolist(), "option": [text(value) for value in lines["option"]],
        "unattended, h elapsed": [hours(value) if pd.notna(value) else "" for value in lines["unattended_hours"]],
    }  # fmt: skip
    heads = [head for head, column in cells.items() if any(column)]  # what no line has takes no room on a phone
    rows = [list(row) for row in zip(*(cells[head] for head in heads), strict=True)]
    st.html(
        tables.ledger(f"Lines of version {chosen}", heads, rows, words=[n for n, head in enumerate(heads) if head in ("phase", "technique", "part", "option")])
    )
    standing_on.show(code, chosen)


def _approve(code: str, waiting: pd.DataFrame) -> None:
    with st.form(f"approve {code}"):
        st.subheader("The owner has approved")
        told = {version: _version_words(version, waiting[waiting["version"] == version]) for version in waiting["version"].unique().tolist()}
        version = st.selectbox("Version", list(told), index=len(told) - 1, format_func=told.__getitem__, key=f"approve version {code}")
        options = sorted(waiting["option"].dropna().unique())
        option = st.selectbox("Option", options, index=None, placeholder="Which one was taken?", key=f"approve option {code}") if options else None
        with st.container(horizontal=True):
            on = st.text_input("On", f"{held.today():%Y-%m-%d}", key=f"approve day {code}", width=160)
            agreed = st.text_input(
                "Price agreed",
                "",
                key=f"approve price {code}",
                placeholder="as it was quoted",
                width=180,
                help="Empty: the price of the version, or of the option.",
            )
            tax_said = _with_or_without("That price is", f"approve tax {code}", "as the version’s") if _tax_matters(waiting) else ""
        pressed = st.form_submit_button("Note the approval")
    of = waiting[waiting["version"] == version]
    if pressed and option is None and of["option"].notna().any():
        frame.refuse("Not noted: say which option was taken.")
        return
    row = (of[of["option"] == option] if option and (of["option"] == option).any() else of).iloc[0]
    studio = held.settings()
    if pressed and tax_said and not agreed.strip() and pd.notna(row["tax_in_price"]) and bool(row["tax_in_price"]) != (tax_said == "yes"):
        frame.refuse(
            f"Not noted: the price of version {version} says already whether {prices.tax_of(studio)} is in it. Write the price agreed, if it is another."
        )
        return
    try:
        when = _day(on)
        price = _agreed(agreed, row)
    except BenchHoursError as error:
        if pressed:
            frame.refuse(f"Not noted: {error}")
        return
    tax = (tax_said == "yes", _per_cent(row)) if tax_said and (agreed.strip() or pd.isna(row["tax_in_price"])) else None
    included, per_cent = tax or (row["tax_in_price"], row["tax_per_cent"])
    at_price = prices.taxed(price[0], included, per_cent, studio) if price else None
    at = f"{money(at_price.amount, price[1])}{at_price.words}" if price and at_price else ""
    if pressed and agreed.strip() and at_price and at_price.included is None and at_price.net is None:
        frame.refuse(f"Not noted: say whether {at_price.tax} is in the price agreed. What you typed is still here.")
        return

    def doubts() -> list[str]:
        hours_of = row["promised_hours"] if pd.notna(row["promised_hours"]) else row["hours"]
        return [one] if at_price and price and agreed.strip() and (one := prices.absurd_price(at_price, hours_of, price[1], studio)) else []

    if not frame.meant(f"approve {code} doubt", pressed, doubts, "It is meant so: note the approval"):
        return
    try:
        with held.store().writing() as con:
            estimates.approve(con, code, version, when, option, held.change("approved under Estimate"), price, tax)
    except BenchHoursError as error:
        frame.refuse(f"Not noted: {error}")
        return
    frame.done(
        f"Version {version} of {code}{f', option {option},' if option else ''} is approved on {day(when)}{f' at {at}' if at else ''}. Overruns are held against it from now on.",
        ("pages/one_work.py", "Where its hours went", {"object": code}),
    )


def _day(said: str) -> date:
    try:
        return notation.day(said, held.settings().day_order)
    except BenchHoursError as error:
        raise BenchHoursError(f'the day "{said}" {error.what}', error.mend) from error


def _tax_matters(versions: pd.DataFrame) -> bool:
    """The studio charges a tax, or one of these versions does."""
    return bool(held.settings().tax_per_cent) or bool((versions["tax_per_cent"] > 0).any())


def _per_cent(row: pd.Series) -> float | None:
    """The tax of a version, else that of the studio."""
    return float(row["tax_per_cent"]) if row["tax_per_cent"] > 0 else held.settings().tax_per_cent


def _with_or_without(label: str, key: str, empty: str, current: str = "") -> str:
    """Whether tax is in a price: `yes`, `no`, or nothing, in the words of `empty`."""
    tax = prices.tax_of(held.settings())
    words = {"": empty, "yes": f"{tax} included", "no": f"without {tax}"}
    chosen: str = st.selectbox(label, list(words), index=list(words).index(current), format_func=words.__getitem__, key=key, width=190)
    return chosen


def _say_tax(code: str, versions: pd.DataFrame) -> None:
    """Of a version whose price does not say whether tax is in it, say it here; of all of them it is said under Studio."""
    open_ones = versions.loc[
        versions["price"].notna() & versions["tax_in_price"].isna() & (versions["tax_per_cent"].isna() | (versions["tax_per_cent"] > 0)), "version"
    ]
    if open_ones.empty or not _tax_matters(versions):
        return
    with st.expander(f"Whether {prices.tax_of(held.settings())} is in the price of a version"), st.form(f"tax {code}", border=False):
        frame.say(["Of all prices that do not say it, it is said once under Studio, quotes; here of one version that is otherwise."])
        version = st.selectbox("Version", open_ones.unique().tolist(), key=f"tax of version {code}")
        chosen = _with_or_without("Its price is", f"tax said {code}", "not said")
        if st.form_submit_button("Say it") and chosen:
            row = versions[versions["version"] == version].iloc[0]
            older = held.settings().prices_tax_per_cent  # a price that does not say it is an older one, and the tax may have been another then
            per_cent = older if older is not None and pd.isna(row["tax_per_cent"]) else _per_cent(row)
            with held.store().writing() as con:
                estimates.say_tax(con, code, int(version), held.change("said under Estimate"), (chosen == "yes", per_cent))
            frame.done(
                f"The price of version {version} of {code} is {prices.price_words(reading.versions(held.store().cursor(), code).set_index('version', drop=False).loc[[version]].iloc[0].to_dict(), held.settings())}."
            )


def _agreed(said: str, row: pd.Series) -> tuple[float, str] | None:
    """The price agreed: as it is typed, or as it was quoted for the option; None: as the version has it."""
    currency = text(row["currency"]) or held.settings().currency
    if said.strip():
        try:
            value = float(amounts.decimal_of(said.strip()))
        except BenchHoursError as error:
            raise BenchHoursError(f'price agreed "{said.strip()}" {error.what}', error.mend) from error
        if value <= 0:
            raise BenchHoursError(f"a price of {said.strip()} cannot be", "Write it like 1200 or 1200.50.")
        return value, currency
    return (float(row["price"]), currency) if pd.notna(row["price"]) else None


def _end(code: str, waiting: pd.DataFrame) -> None:
    with st.expander("The owner has declined, or we have withdrawn"):
        frame.say(["The version stays and is counted under Promised and kept. It is no yardstick any more, and teaches no rate."])
        with st.form(f"end {code}", border=False):
            numbers = waiting["version"].unique().tolist()
            version = st.selectbox("Version", numbers, index=len(numbers) - 1, key=f"end version {code}")
            outcome = st.selectbox(
                "What became of it",
                promises.OUTCOMES,
                format_func={"declined": "declined by the owner", "withdrawn": "withdrawn by us"}.__getitem__,
                key=f"end how {code}",
            )
            on = st.text_input("On", f"{held.today():%Y-%m-%d}", key=f"end day {code}")
            why = st.text_input("Why (may stay empty)", key=f"end why {code}")
            if not st.form_submit_button("Note it"):
                return
        try:
            when = _day(on)
            with held.store().writing() as con:
                promises.end(con, code, version, outcome, when, held.today(), held.change(why.strip()))
        except BenchHoursError as error:
            frame.refuse(f"Not noted: {error}")
            return
        frame.done(f"Version {version} of {code} was {outcome} on {day(when)}. It is kept.", ("pages/promised_and_kept.py", "Promised and kept", {}))


def _take_back_end(code: str, ended: pd.DataFrame) -> None:
    with st.expander("A version stands after all"):
        version = st.selectbox("Version", ended["version"].unique().tolist(), key=f"stands {code}")
        if st.button("It stands after all"):
            with held.store().writing() as con:
                promises.take_back_end(con, code, version, held.change("taken back under Estimate"))
            frame.done(f"Version {version} of {code} stands again.")


def _version_words(version: int, rows: pd.DataFrame) -> str:
    """A version with its hours, those of each option where it has options, and its price."""
    parts = [f"{f'option {option} ' if (option := text(row['option'])) else ''}{tables.hours_of(row, ' h')}" for row in rows.to_dict("records")]
    return f"{version}: {', '.join([*parts, *filter(None, [prices.price_words(rows.iloc[0].to_dict(), held.settings())])])}"


def _take_back(code: str, approved: pd.DataFrame) -> None:
    with st.expander("Take an approval back"):
        version = st.selectbox("Version", approved["version"].unique().tolist(), index=approved["version"].nunique() - 1, key=f"take back {code}")
        frame.say(
            [
                "It was noted by mistake, or the owner has thought better of it: then note after that that it was declined. Taken back, it is no yardstick any more: overruns are held against the latest version still approved, or if none is, the latest made."
            ]
        )
        if st.button("Take the approval back"):
            with held.store().writing() as con:
                estimates.take_back_approval(con, code, version, held.change("taken back under Estimate"))
            frame.done(f"Version {version} of {code} is not approved any more.")


# --- a new version


def _begin(code: str, versions: pd.DataFrame, works: pd.DataFrame) -> None:
    st.header("Write the next version" if len(versions) else "Write its estimate")
    studio = held.settings()
    head = {"made_on": f"{held.today():%Y-%m-%d}", "currency": studio.currency}
    if studio.tax_per_cent is not None:
        head["tax_per_cent"] = notation.written(studio.tax_per_cent)
    if studio.tax_per_cent and studio.prices_include_tax is not None:
        head["tax_in_price"] = "yes" if studio.prices_include_tax else "no"
    if versions.empty:
        st.write("It has no estimate yet.")
    with st.container(horizontal=True):
        if len(versions) and st.button("Begin with the latest version", type="primary"):
            _open(code, Draft(version=head, lines=drafts.as_typed(reading.estimate_lines(held.store().cursor(), code, int(versions["version"].max())))))
        if st.button("Begin with an empty sheet", type="secondary" if len(versions) else "primary"):
            _open(code, Draft(version=head, lines=[{}]))
    other = _other_work(code, works)
    if other and st.button("Begin with its lines"):
        _open(code, Draft(version=head, lines=_lines_of(other)))


def _other_work(code: str, works: pd.DataFrame) -> str | None:
    have = works[(works["versions"] > 0) & (works["object"] != code)]
    if have.empty:
        return None
    titles = dict(zip(have["object"], have["title"].fillna(""), strict=True))
    chosen: str | None = st.selectbox(
        "Copy from another work",
        have["object"].tolist(),
        index=None,
        format_func=lambda one: f"{one}  {titles[one]}",
        placeholder="Choose a work with an estimate",
        key=f"copy {code}",
    )
    if chosen:
        frame.say([f"The lines of the latest version of {chosen}; quantities are those of that work, so look them over."])
    return chosen


def _lines_of(code: str) -> list[dict[str, str]]:
    con = held.store().cursor()
    return drafts.as_typed(reading.estimate_lines(con, code, int(reading.versions(con, code)["version"].max())))


def _open(code: str, draft: Draft) -> None:
    """Put a draft on the sheet: kept first, so that what is shown is what is kept."""
    drafts.keep(held.store(), code, draft, held.visit())
    _forget_sheet(code)
    st.rerun()


def _forget_sheet(code: str) -> None:
    sheet.forget(f"sheet {code}")
    st.session_state[f"turn {code}"] = st.session_state.get(f"turn {code}", 0) + 1


def _write(code: str, draft: Draft, works: pd.DataFrame, versions: pd.DataFrame) -> None:
    version = 1 + int(versions["version"].max() if len(versions) else 0)
    st.header(f"Version {version}, being written")
    frame.say([
        "Every cell is kept as soon as you leave it (Enter or Tab): a reload or a lost connection loses at most the one you are in. "
        "A technique by its name or another spelling; hours as you write them: 1.5, 1:30, 1h30, 90 min. A line needs hours or a quantity."
    ])  # fmt: skip
    turn = st.session_state.setdefault(f"turn {code}", 0)
    fresh = sheet.is_fresh(f"sheet {code}", turn)
    if fields.changed_elsewhere(f"draft {code}", draft.kept_at, draft.kept_by, fresh=fresh):
        st.warning("This draft was changed from another window. What you type here is not kept until you take it up again.")
        if st.button("Show it as it is now, and go on here"):
            _open(code, draft)
        return
    kept_head, kept_lines = dict(draft.version), [dict(line) for line in draft.lines]
    draft.version = _head(code, draft.version, turn, revision=version > 1)
    draft.lines = sheet.edit(f"sheet {code}", draft.lines, SHEET, turn, "The lines of the estimate")
    if (draft.version, draft.lines) != (kept_head, kept_lines):
        draft.kept_at = drafts.keep(held.store(), code, draft, held.visit())
    if draft.kept_at:
        frame.say([f"Kept at {_clock(draft.kept_at)}."])
    _add_a_line(code, draft, turn)
    said = drafts.read_over(held.store(), code, draft, CALLED)
    _read_back(said)
    if len(versions):
        frame.say(_missing_in_revision(draft, versions))
    with st.container(horizontal=True):
        save = st.button(f"Save as version {version}", type="primary", disabled=said.lines.empty)
        _throw_away(code)
    if save and said.price is not None and not draft.version.get("tax_in_price") and held.settings().tax_per_cent:
        frame.refuse(f"Not saved: say beside the price whether {prices.tax_of(held.settings())} is in it. The draft is kept as it is.")
    elif frame.meant(f"sheet {code} doubt", save, lambda: said.doubts, "It is meant so: save it"):
        _save(code, draft)
    other = _other_work(code, works)
    if other and st.button("Add its lines to the sheet"):
        draft.lines = [*draft.filled.values(), *_lines_of(other)]
        _open(code, draft)


def _missing_in_revision(draft: Draft, versions: pd.DataFrame) -> list[str]:
    """What the last version said and this one does not: its hours may be others, so its price is not simply taken over."""
    last = versions.iloc[-1].to_dict()
    return [
        *(
            []
            if draft.version.get("price") or pd.isna(last["price"])
            else [f"No price is given; version {last['version']} had {prices.price_words(last, held.settings())}."]
        ),
        *([] if draft.version.get("reason") else ["No reason is given: what was found since the last version?"]),
    ]


def _throw_away(code: str) -> None:
    if frame.sure(f"sheet {code} sure", "Throw the draft away"):
        drafts.throw_away(held.store(), code)
        _forget_sheet(code)
        frame.done("The draft is thrown away. The versions are as they were.")


def _clock(utc: datetime) -> str:
    return f"{utc.replace(tzinfo=ZoneInfo('UTC')).astimezone(ZoneInfo(held.settings().zone)):%H:%M:%S}"


def _head(code: str, now: dict[str, str], turn: int, *, revision: bool) -> dict[str, str]:
    said = {}
    with st.container(horizontal=True, key="choices"):
        said["made_on"] = st.text_input("Made on", now.get("made_on", ""), key=f"sheet {code} made {turn}", width=150)
        said["price"] = st.text_input("Price", now.get("price", ""), key=f"sheet {code} price {turn}", width=130)
        said["currency"] = st.text_input("Currency", now.get("currency", ""), key=f"sheet {code} currency {turn}", width=100)
        said["tax_in_price"], said["tax_per_cent"] = now.get("tax_in_price", ""), now.get("tax_per_cent", "")
        if held.settings().tax_per_cent or said["tax_in_price"]:
            said["tax_in_price"] = _with_or_without("The price is", f"sheet {code} tax {turn}", "with or without?", said["tax_in_price"])
            said["tax_per_cent"] = said["tax_per_cent"] or notation.written(held.settings().tax_per_cent or 0.0)
    if revision or now.get("reason"):
        said["reason"] = st.text_input("Reason (what was found)", now.get("reason", ""), key=f"sheet {code} reason {turn}")
    return {name: cell for name, cell in said.items() if cell}


def _add_a_line(code: str, draft: Draft, turn: int) -> None:
    """A line put together by choosing, for a phone or where the name of a technique is not at hand."""
    line = sheet.line_by_choosing(f"adding {code}", f"sheet {code} add {turn}", hours_or_quantity=True)
    if line:
        draft.lines = [*draft.filled.values(), line]
        _open(code, draft)


def _read_back(said: Reading) -> None:
    for problem in said.problems:
        st.warning(plain(problem))
    frame.say([*said.notes, *said.doubts])
    if said.lines.empty:
        return
    st.subheader("How it reads")
    rows: list[list[str] | str] = []
    for phase, inside in said.lines.groupby("phase", sort=False):
        rows.append(f"{phase}: {_hours_of_phase(inside)}")
        rows += [
            [
                ", ".join(filter(None, (row["technique"], row["part"], f"option {row['option']}" if row["option"] else ""))),
                amount(row["quantity"], text(row["unit"]) or None), "by quantity" if pd.isna(row["hours"]) else hours(row["hours"]),
            ]
            for row in inside.to_dict("records")
        ]  # fmt: skip
    st.html(tables.ledger("Lines of the sheet", ["line", "quantity", "hours"], rows))
    waits = float(said.lines["unattended_hours"].sum())
    unpriced = int(said.lines["hours"].isna().sum())
    sentences = [
        counted(len(said.lines), "line")
        + (f", {counted(unpriced, 'of them has', 'of them have')} a quantity only" if unpriced else "")
        + (f", {hours(waits)} h elapsed unattended." if waits else ".")
    ]
    for option in [one for one in said.lines["option"].unique() if one] or [""]:
        sentences.append(_total(said.lines, option))
    if said.price is not None:
        sentences.append(prices.read_back(said.price, said.currency, said.tax_in_price, said.tax_per_cent, held.settings()))
    frame.say([*sentences, *filter(None, [usual_cautions(fields.vocabulary(), said.lines["technique"])])])


def _hours_of_phase(lines: pd.DataFrame) -> str:
    """The hours of one phase of the sheet: of options, which exclude each other, each apart."""
    told = []
    for option in sorted(set(lines["option"])):
        inside = lines[lines["option"] == option]
        known = "by quantity" if inside["hours"].isna().all() else f"{hours(inside['hours'].sum())} h"
        told.append(f"option {option} {known}" if option else known)
    return ", ".join(told)


def _total(lines: pd.DataFrame, option: str) -> str:
    """The hours of a sheet, with one option of it, in weeks and at the studio's rate."""
    studio = held.settings()
    total = float(lines.loc[lines["option"].isin(["", option]), "hours"].sum())
    name = f"With option {option}" if option else "All phases"
    weeks = f"{total / studio.bench_hours_per_week:.1f} weeks of one person at {studio.bench_hours_per_week:g} h at the bench a week"
    rate = (
        f"; at {money(studio.hourly_rate, studio.currency)} an hour: {money(total * studio.hourly_rate, studio.currency)}{prices.without_tax(studio)}"
        if studio.hourly_rate
        else ""
    )
    return f"{name}: {hours(total)} h, {weeks}{rate}."


def _save(code: str, draft: Draft) -> None:
    try:
        version, report = drafts.make_version(held.store(), code, draft, held.change("written under Estimate"), CALLED)
    except BenchHoursError as error:
        frame.refuse(f"Not saved: {error} The draft is kept as it is.")
        return
    _forget_sheet(code)
    frame.done(" ".join([f"Saved as version {version}.", *drafts.sentences(report.doubts, CALLED), "When the owner says yes, note the approval here."]))


frame.show("Estimate", body)
