"""The letter: its form, its words, how its lines read."""

from __future__ import annotations

import json

import pandas as pd
import streamlit as st

from dashboard.documents import change_letter, letter_treatment, quote_letter
from dashboard.formatting import money, plain
from dashboard.services import quote_continued, quote_ready, quote_terms
from dashboard.services.quote import Quoted
from dashboard.ui import layout, page_data
from dashboard.ui.quote import download, draft, save
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote
from ingest.studio.settings import CLAUSES, NO_CLAUSE
from ingest.values.line_names import line_name


def show(quote: Quote, quoted: Quoted, turn: int) -> None:
    st.subheader("The letter")
    values, key, studio = quote.letter, f"{draft.name_of(quote)} letter", page_data.settings()
    before = json.dumps(quote.to_json(), sort_keys=True)
    _form(quote, quoted, key, turn)
    usual = "\n".join(quote_letter.usual_addressee(quoted))
    draft.text_field(values, "addressee", "Addressee", key, turn, usual, rows=96)
    with st.expander("Day, opening, clauses"):
        draft.line_field(
            values, "made_on", "Dated", f"{key} day {turn}", f"{page_data.today():%Y-%m-%d}", 160
        )
        if values.get("made_on") and not quote_letter.dated(values, studio):
            st.warning(
                plain(
                    f'Dated "{values["made_on"]}" cannot be read as a day: write it like'
                    f" {page_data.today():%Y-%m-%d}. Until then the letter is dated today."
                )
            )
        draft.text_field(values, "opening", "Opening (may stay empty)", key, turn, "", rows=80)
        draft.text_field(values, "closing", "Closing (may stay empty)", key, turn, "", rows=80)
        for name in CLAUSES:
            draft.text_field(
                values,
                name,
                quote_letter.CLAUSE_HEADS[name],
                key,
                turn,
                getattr(studio, name) or quote_letter.USUAL_CLAUSES[name],
                rows=96,
            )
        layout.say(
            "What is written here is for this letter; the studio's own words are kept under Studio,"
            f' quotes. "{NO_CLAUSE}" leaves a clause out.'
        )
    if save.is_revision(quoted):
        if values.get("form") == change_letter.FORM and any(work.under_way for work in quoted.works):
            _choose_revision(quote, key, turn)
        draft.warn(_discount(quoted))
        draft.text_field(
            values, "reason", "What was found: why there is another version", key, turn, "", rows=80
        )
    dots = st.toggle("Show the owner the dots", values.get("dots") == "yes", key=f"{key} dots {turn}")
    draft.put(values, "dots", "yes" if dots else "")
    if values.get("form") != change_letter.FORM and quoted.terms.begin_on is None:
        ready = st.toggle(
            "Say when it would be ready, behind the works on the bench; else what it takes once it is begun",
            values.get("ready") != quote_ready.ONCE_BEGUN,
            key=f"{key} ready {turn}",
        )
        draft.put(values, "ready", "" if ready else quote_ready.ONCE_BEGUN)
    if json.dumps(quote.to_json(), sort_keys=True) != before:
        quote_drafts.keep(page_data.store(), quote, page_data.visit())
        st.session_state[f"kept {draft.name_of(quote)}"] = quote.kept_at
    _line_wordings(quote, quoted, key, turn)
    download.show(quote, quoted, key)


def _line_wordings(quote: Quote, quoted: Quoted, key: str, turn: int) -> None:
    """Wordings of lines in the letter, in the conservator's own words."""
    with st.expander("How its lines read", key=f"{key} words", on_change="rerun") as opened:
        if not opened.open:
            return
        typed: list[tuple[dict[str, str], str]] = []
        with st.form(f"{key} words {turn}", border=False):
            layout.say("In your own words; empty: as it stands here in grey.")
            for at, work in enumerate(quoted.works):
                lines = (
                    pd.concat([option.lines for option in work.options]).drop_duplicates("number")
                    if work.options
                    else work.read.lines
                )
                # what stands on no sheet is said as it is called
                for row in lines[lines["number"] > 0].to_dict("records"):
                    line = quote.works[at].lines[row["number"] - 1]
                    named = filter(
                        None,
                        (
                            work.draft.display_name if len(quoted.works) > 1 else "",
                            line_name(row["phase"], row["technique"], row["part"]),
                            f"option {row['option']}" if row["option"] else "",
                        ),
                    )
                    plainly = letter_treatment.line_in_words(row | {"wording": ""})
                    typed.append(
                        (
                            line,
                            st.text_input(
                                ", ".join(named),
                                line.get("wording", ""),
                                placeholder=plainly,
                                key=f"{key} words {at} {row['number']} {turn}",
                            ),
                        )
                    )
            if not typed:
                layout.say("No line can be read yet.")
            if st.form_submit_button("Let them read so"):
                for line, words in typed:
                    draft.put(line, "wording", " ".join(words.split()))
                draft.open_anew(quote)


def _form(quote: Quote, quoted: Quoted, key: str, turn: int) -> None:
    values = quote.letter
    labels = quote_letter.FORMS | ({change_letter.FORM: "what changed"} if save.is_revision(quoted) else {})
    forms = list(labels)
    form = st.segmented_control(
        "Form",
        forms,
        default=values.get("form", "one") if values.get("form", "one") in forms else "one",
        format_func=labels.__getitem__,
        required=True,
        key=f"{key} form {turn}",
    )
    was = values.get("form", "")
    draft.put(values, "form", "" if form in (None, forms[0]) else f"{form}")
    if change_letter.FORM in (was, values.get("form", "")) and was != values.get("form", ""):
        draft.open_anew(quote)  # whether the whole is priced, in the figures above, goes with it


def _choose_revision(quote: Quote, key: str, turn: int) -> None:
    """Choose the price of a change: what was approved stays and more is added, or the whole anew."""
    choices = {
        "": "What was approved stays, and what was found is added",
        quote_terms.WHOLE_ANEW: "The whole anew",
    }
    current = quote.terms.get("revision", "")
    chosen = st.radio(
        "The price of the change",
        list(choices),
        index=list(choices).index(current) if current in choices else 0,
        format_func=choices.__getitem__,
        key=f"{key} revision {turn}",
    )
    if chosen != current:
        draft.put(quote.terms, "revision", chosen)
        draft.open_anew(quote)  # the figures above rest on it


def _discount(quoted: Quoted) -> list[str]:
    """Warnings of a price agreed below or above the computed one, which the new price does not carry over."""
    con, sentences = page_data.store().cursor(), []
    for work in quoted.works:
        if any(option.change for option in work.options):
            continue  # what was approved stays, at the price agreed
        agreed = (
            quote_continued.previous_version(con, work.draft.object, quoted.as_of)
            if work.draft.object and work.options
            else None
        )
        if (
            agreed is None
            or agreed.taxed is None
            or agreed.price is None
            or agreed.reckoned is None
            or round(agreed.price - agreed.reckoned, 2) == 0
        ):
            continue
        currency, by = agreed.currency or page_data.settings().currency, agreed.price - agreed.reckoned
        sentences.append(
            f"For version {agreed.version} of {work.draft.object}"
            f" {money(agreed.taxed.amount, currency)}{agreed.taxed.words} was agreed,"
            f" {money(abs(by), currency)} {'less' if by < 0 else 'more'} than was reckoned. The price of this"
            " revision does not carry that over: set a ceiling, or another rate, if it is to."
        )
    return sentences
