"""Terms of the price: chance, rate, tax, payments, travel, a first stage."""

from __future__ import annotations

import streamlit as st

from dashboard.formatting import CONFIDENCES
from dashboard.services import quote_terms
from dashboard.services.quote_context import QuoteContext
from dashboard.ui import fields, layout, page_data
from dashboard.ui.quote import draft
from ingest.editing.quote_drafts import Quote
from ingest.values import numbers


# Over 60 lines: one form, field by field.
def show(quote: Quote, turn: int, context: QuoteContext) -> None:
    studio, terms, key = page_data.settings(), quote.terms, f"{draft.name_of(quote)} terms"
    net = quote_terms.read_terms(terms, studio, context.people).without_tax

    def field(
        name: str, label: str, width: int, otherwise: object = None, explained: str | None = None
    ) -> None:
        shown = (
            ""
            if otherwise is None
            else numbers.written(otherwise)
            if isinstance(otherwise, float)
            else f"{otherwise}"
        )
        draft.line_field(terms, name, label, f"{key} {name} {turn}", shown, width, explained)

    chances = list(CONFIDENCES)
    confidence = st.segmented_control(
        "The price is for the hours within which it ends",
        chances,
        default=quote_terms.confidence_of(terms),
        format_func=lambda item: f"{CONFIDENCES[item]}",
        required=True,
        key=f"{key} confidence {turn}",
    )
    # what is usual is not written: to look at a quote is no change of it
    draft.put(
        terms, "confidence", "" if confidence in (None, quote_terms.USUAL_CONFIDENCE) else f"{confidence}"
    )
    with st.container(horizontal=True, key="choices"):
        field(
            "rate",
            f"Rate per hour{net}",
            190 if net else 130,
            studio.hourly_rate,
            "Empty: the studio's, and of people who have one of their own theirs (Studio, quotes)",
        )
        field("currency", "Currency", 100, studio.currency)
        field(
            "ceiling",
            f"Ceiling{net}",
            170 if net else 120,
            None,
            "Of one work, without tax: the price does not go beyond it without a new approval",
        )
        field("begin_on", "Begin on", 140, fields.day_hint(), "For the day by which it is ready")
    with st.expander("Minimum charge, tax, payments, travel, a first stage"):
        with st.container(horizontal=True):
            field("minimum", f"Minimum charge{net}", 210 if net else 140, studio.minimum_charge)
            field("tax", "Tax on top, per cent", 150, studio.tax_per_cent)
            field("travel_hours", "Travel, hours" if len(quote.works) == 1 else "Shared travel, hours", 150)
            field(
                "travel_cost",
                f"{'Travel' if len(quote.works) == 1 else 'Shared travel'}, cost{net}",
                240 if net else 150,
            )
        field(
            "payments",
            "Payments, in per cent (the rest comes last)",
            520,
            studio.payments,
            "Like: on approval 30; at handover 40",
        )
        first = st.toggle(
            "A first stage only: examine and test, charged; what is found opens the next quote",
            terms.get("first_stage") == "yes",
            key=f"{key} first stage {turn}",
        )
        draft.put(terms, "first_stage", "yes" if first else "")
        if first:
            layout.say(
                "The price is for the lines in"
                f" {', '.join(context.first_phases) or 'examination and documentation'}."
            )
