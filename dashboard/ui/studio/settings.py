"""Settings of the studio: name and clock, quotes and letters, bench plan and pauses."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from dashboard import queries
from dashboard.documents import quote_letter
from dashboard.services import plan_people, prices
from dashboard.text import prices as prices_text
from dashboard.text.pauses import SOURCES
from dashboard.ui import fields, layout, page_data
from dashboard.ui.studio import changes
from ingest.errors import BenchHoursError
from ingest.studio.hazards import DEFERRING
from ingest.studio.settings import CLAUSES, NO_CLAUSE, WEEKDAYS, Settings, settings_with, write_settings
from ingest.values.absences import EXAMPLE
from ingest.values.calendar_days import DAY_ORDERS
from ingest.values.numbers import written

TAX_WORDS = {"": "not said yet", "yes": "tax is in them", "no": "they are without tax"}
DAY_ORDER_WORDS = {
    "unset": "never in numbers: such dates are refused",
    "dmy": "day month year",
    "mdy": "month day year",
    "ymd": "year month day",
}
HELP = SOURCES | {"zone": "Like Europe/Berlin"}

# Of each setting its label, the key of its field, and where it has one its placeholder.
LIMITS = {
    "handwork_minutes": (
        "Repetitive handwork without a break, minutes, beyond which it is shown",
        "handwork minutes",
    ),
    "pause_minutes": ("What counts as a break, minutes at least", "pause minutes"),
    "solvent_hours_a_day": (
        "Hours with solvents in a day, beyond which they are shown (may stay empty)",
        "solvent day",
    ),
    "solvent_hours_a_week": (
        "Hours with solvents in a week, beyond which they are shown (may stay empty)",
        "solvent week",
    ),
    "blade_until": ("Blade work is late from this time of day on", "blade until"),
}


def _text_fields(current: Settings, **names: tuple[str, ...]) -> dict[str, str]:
    """A line to type in for each setting, with what it is now; what is typed, by setting."""
    return {
        name: st.text_input(
            label,
            _as_typed(getattr(current, name)),
            key=key,
            placeholder=placeholder[0] if placeholder else None,
            help=HELP.get(name),
        )
        for name, (label, key, *placeholder) in names.items()
    }


def _as_typed(value: str | float | None) -> str:
    return value if isinstance(value, str) else "" if value is None else written(value)


def show() -> None:
    current = page_data.settings()
    shown_first = fields.remember_shown("settings", "name of studio", str(current))
    with st.form("settings"):
        typed = _text_fields(
            current,
            studio=("Name of the studio, as on letters", "name of studio"),
            zone=("Time zone of its clock", "zone"),
        )
        typed["day_order"] = st.selectbox(
            "Dates in numbers are",
            list(DAY_ORDERS),
            index=DAY_ORDERS.index(current.day_order),
            format_func=DAY_ORDER_WORDS.__getitem__,
            key="day order",
        )
        typed |= _text_fields(
            current,
            currency=("Currency (three letters)", "currency"),
            ask_after_hours=(
                "Ask about a spell in hand after so many hours: was it forgotten? (never about pressing or"
                " drying)",
                "ask after",
            ),
            bench_hours_per_week=("Hours at the bench in an ordinary week of one person", "bench hours"),
            hourly_rate=(
                f"Rate per hour, {current.currency}, without {prices.tax_of(current)} (may stay empty)",
                "rate",
            ),
        )
        layout.say(
            "The name stands on statements. The time zone is fixed as long as entries with clock times"
            " are held. The order of dates holds for files brought in and days typed from now on."
            " Currency, rate and bench hours are those of new estimates; versions already made keep"
            " theirs. No change here alters an hour that is stored."
        )
        save = st.form_submit_button("Save", type="primary")
    if _confirmed("settings", save and changes.unchanged_elsewhere(shown_first, current), typed):
        store("settings", typed)


def _confirmed(form: str, save: bool, typed: Mapping[str, str]) -> bool:
    return layout.confirm_doubts(f"{form} doubt", save, lambda: doubts(typed), "It is meant so: save it")


def doubts(typed: Mapping[str, str]) -> list[str]:
    """Sentences on amounts that are absurd beside the others and the record; none where one cannot be read,
    which is refused by itself.
    """
    try:
        before, after = page_data.settings(), settings_with(page_data.store().cursor(), typed)
    except BenchHoursError:
        return []
    if all(getattr(before, name) == getattr(after, name) for name in prices.MONEY):
        return []
    return prices_text.absurd_settings(
        after,
        prices.sold_for(queries.approved_promises(page_data.store().cursor(), page_data.today()), after),
    )


def store(form: str, typed: Mapping[str, str]) -> None:
    changes.attempt(
        "Saved; what was said before is kept in the history.",
        write_settings,
        typed,
        page_data.change("said under Studio"),
        afterwards=lambda: fields.forget_shown(form),
    )


# Over 60 lines: one form, field by field.
def show_bench() -> None:
    """Form of the settings of the bench plan and of pauses."""
    current = page_data.settings()
    shown_first = fields.remember_shown("bench", "hours of people", str(current))
    with st.form("bench"):
        st.header("For the bench plan")
        typed = _text_fields(
            current,
            bench_hours_of_people=(
                "Hours at the bench in an ordinary week, where the log is no guide (like Ilse 24; Bram 16)",
                "hours of people",
            ),
        )
        days = current.bench_days.split()
        typed["bench_days"] = " ".join(
            st.multiselect(
                "Days on which the bench is worked", list(WEEKDAYS), default=days, key="bench days"
            )
        )
        typed["absences"] = st.text_area(
            "Holidays and absences, a line each: from, to; who (nobody: the whole studio); why",
            current.absences,
            placeholder=EXAMPLE,
            key="absences",
        )
        st.header("For hours worth a pause")
        pauses = st.checkbox("Show them, to each person their own", current.pauses, key="pauses")
        typed |= {"pauses": "yes" if pauses else "no"} | _text_fields(current, **LIMITS)
        layout.say(
            "These are limits of this studio’s own, for working time alone; none of them says that"
            " anything is safe. " + DEFERRING
        )
        save = st.form_submit_button("Save", type="primary")
    if save and not typed["bench_days"]:
        layout.refuse(
            "Not saved: choose at least one day on which the bench is worked. What you typed is still here."
        )
    elif save and (
        unknown := plan_people.unknown_names(
            page_data.store().cursor(), typed["bench_hours_of_people"], typed["absences"]
        )
    ):
        layout.refuse(
            f"Not saved: nobody here is called {', '.join(unknown)}. See the names under people; what you"
            " typed is still here."
        )
    elif save and changes.unchanged_elsewhere(shown_first, current):
        store("bench", typed)


# Over 60 lines: one form, field by field.
def show_quotes() -> None:
    """Form of the settings of quotes and their letters."""
    current = page_data.settings()
    shown_first = fields.remember_shown("quotes", "yearly cost", str(current))

    currency, without = current.currency, f"without {prices.tax_of(current)}"
    with st.form("quotes"):
        typed = _text_fields(
            current,
            hourly_rates=(
                f"People with another rate per hour than the studio's, {without} (like Ilse 70; Bram 55)",
                "rates of people",
            ),
            yearly_cost=(
                f"What a year costs the studio, {currency}, {without} that is paid back to you: rent,"
                " insurance, materials, and what you live on",
                "yearly cost",
            ),
            chargeable_hours=(
                "Hours of a year that can be charged: without holidays, illness and the office",
                "chargeable hours",
            ),
            minimum_charge=(f"Least charge for a work, {currency}, {without}", "minimum charge"),
            tax_per_cent=("Tax on top, per cent (0: none is charged)", "tax"),
            tax_name=("What it is called, here and in letters", "tax name", "tax"),
        )
        typed["prices_include_tax"] = st.selectbox(
            f"Is {prices.tax_of(current)} in prices of estimates that do not say it",
            list(TAX_WORDS),
            index=list(TAX_WORDS).index({None: "", True: "yes", False: "no"}[current.prices_include_tax]),
            format_func=TAX_WORDS.__getitem__,
            key="prices include tax",
            help=(
                "Of estimates that came in as files or were written before they could say it; also what"
                " is proposed where a price is typed."
            ),
        )
        typed |= _text_fields(
            current,
            prices_tax_per_cent=(
                "Tax of those prices, per cent, where it was another one then",
                "prices tax",
                _as_typed(current.tax_per_cent),
            ),
            payments=(
                "Payments in per cent; what they leave of a hundred is the last",
                "payments",
                "on approval 30; at handover 40",
            ),
        )
        typed["letterhead"] = st.text_area(
            "Below the name on letters: address, telephone", current.letterhead, key="letterhead"
        )
        typed |= {
            name: st.text_area(
                quote_letter.CLAUSE_HEADS[name],
                getattr(current, name),
                placeholder=quote_letter.USUAL_CLAUSES[name],
                key=name,
                height=110,
            )
            for name in CLAUSES
        }
        cautions = st.checkbox(
            "Letters carry the usual cautions of their techniques (they are for the bench, and stand on the"
            " page of the quote either way)",
            current.letter_cautions,
            key="letter cautions",
        )
        typed["letter_cautions"] = "yes" if cautions else ""
        layout.say(
            f'Clauses in your own words; empty: as they stand here in grey. "{NO_CLAUSE}" leaves one out.'
            " They are examples, no legal advice. Yearly cost by chargeable hours is what an hour must"
            " earn; a quote says from how many hours on it works for nothing."
        )
        save = st.form_submit_button("Save", type="primary")
    if _confirmed("quotes", save and changes.unchanged_elsewhere(shown_first, current), typed):
        if typed["prices_include_tax"] and not typed["prices_tax_per_cent"].strip():
            # older prices keep theirs when the tax changes
            typed["prices_tax_per_cent"] = typed["tax_per_cent"]
        if typed["prices_include_tax"] == "yes" and not typed["prices_tax_per_cent"].strip():
            layout.refuse(
                f"Not saved: say also how many per cent of {prices.tax_of(current)} is in those prices. What"
                " you typed is still here."
            )
            return
        store("quotes", typed)
