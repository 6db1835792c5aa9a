"""Price and payments in a letter."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from dashboard.analysis.report.price import Price, payments
from dashboard.documents.blocks import Block, facts, paragraph, subheading
from dashboard.formatting import money
from dashboard.services.quote import Option, Quoted, WorkQuoted
from dashboard.services.quote_terms import QuoteTerms

NO_PRICE = "This letter has no price yet: it waits for what an hour costs, and for lines that it is for."


def price_blocks(
    work: WorkQuoted, option: Option, form_fields: Mapping[str, str], agreed: QuoteTerms
) -> list[Block]:
    price = option.price
    if price is None:
        return [paragraph(NO_PRICE)] if form_fields.get("form", "one") != "phases" else []
    rows = []
    if form_fields.get("form", "one") != "one":
        rows.append(("For the hours", money(price.work, agreed.currency)))
    elif work.costs or price.adjusted:
        rows.append(("Treatment", money(price.work, agreed.currency)))
    rows += [(what[0].upper() + what[1:], money(value, agreed.currency)) for what, value in work.costs]
    if price.adjusted:
        rows.append(
            (
                {"minimum": "To the minimum charge", "ceiling": "Taken off, to the ceiling agreed"}.get(
                    price.limited, "Rounded"
                ),
                money(price.adjusted, agreed.currency),
            )
        )
    rows += _with_tax(price, agreed)
    blocks = [subheading("Price"), facts(rows)]
    if agreed.pricing.ceiling is not None:
        blocks.append(
            paragraph(
                "Without your approval in writing the price does not go beyond"
                f" {money(agreed.pricing.ceiling, agreed.currency)}{agreed.without_tax}."
            )
        )
    return blocks


def _with_tax(price: Price, agreed: QuoteTerms) -> list[tuple[str, str]]:
    if not agreed.pricing.tax:
        return [("Price", money(price.amount, agreed.currency))]
    return [
        (f"Price{agreed.without_tax}", money(price.net, agreed.currency)),
        (
            f"{agreed.tax_name[0].upper()}{agreed.tax_name[1:]} {agreed.pricing.tax:g} %",
            money(price.tax, agreed.currency),
        ),
        (f"Price{agreed.tax_included}", money(price.amount, agreed.currency)),
    ]


def bare_amount(value: Decimal, agreed: QuoteTerms) -> str:
    """An amount in whole steps of the currency, without it: it stands at the head or with the price."""
    return f"{value:,.{_places(agreed)}f}".replace("-", "−")


def bare_rate(value: Decimal, agreed: QuoteTerms) -> str:
    """A rate to its last digit, so that hours × rate is what stands beside it."""
    return f"{value:,.{max(_places(agreed), -int(value.as_tuple().exponent))}f}"


def _places(agreed: QuoteTerms) -> int:
    return max(0, -int(agreed.pricing.step.as_tuple().exponent))


def payment_blocks(quoted: Quoted, works: list[WorkQuoted]) -> list[Block]:
    agreed, amount = quoted.terms, quoted.amount
    if not agreed.payments or amount is None:
        return []
    if len(works) == 1 and len(works[0].options) > 1:
        left = 100 - sum((share for _, share in agreed.payments), Decimal(0))
        shares = [*agreed.payments, *([("the rest", left)] if left else [])]
        return [
            subheading("Payment"),
            paragraph(
                f"Of the price of the option you choose{agreed.tax_included}:"
                f" {'; '.join(f'{name} {share:g} %' for name, share in shares)}."
            ),
        ]
    stages = payments(amount, agreed.payments, agreed.pricing.step)
    return [
        subheading(f"Payment{agreed.tax_included}"),
        facts([(f"{name[0].upper()}{name[1:]}", money(value, agreed.currency)) for name, value in stages]),
    ]


def shared_travel(quoted: Quoted, works: list[WorkQuoted]) -> Decimal | None:
    """Travel for several works, with tax where the price is known; None where there is none, or one work
    bears it.
    """
    if len(works) < 2 or not quoted.terms.travel:
        return None
    prices = [work.options[0].price for work in works]
    return (
        quoted.terms.travel
        if quoted.amount is None
        else quoted.amount - sum((price.amount for price in prices if price), Decimal(0))
    )
