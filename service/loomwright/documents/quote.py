"""The quote for a customer: what is installed, what it costs, what it promises.

It tells what the customer pays and never what the shop pays: no cost and no margin is looked at
here, whatever the answer holds.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from loomwright.documents.heads import Answer, caution_texts, circuits_table, sheet_of
from loomwright.documents.options import DocumentOptions
from loomwright.documents.sheet import Block, Cautions, Column, Paragraph, Section, Sheet, Table
from loomwright.documents.vocabulary import (
    CLAIMS,
    CUSTOMER_CAUTIONS,
    PURPOSES,
    UNIT_SIGNS,
    UNITS_SOLD,
    VERDICTS,
)
from loomwright.documents.words import JOIN, NOTHING, Words
from loomwright.jobs.priced_job import COMPLETE
from loomwright.pricing.lines import LABOUR

Line = Mapping[str, Any]


def quote_sheet(answer: Answer, options: DocumentOptions) -> Sheet:
    """Return the quote of a bill or of one plan.

    Parameters
    ----------
    answer
        Answer document of a priced job, with ``paperwork``; that of one plan has ``plan`` and
        ``real_output`` besides.
    options
        Language and units.

    Returns
    -------
    Sheet
        Its lines add up to its totals to the last digit, as those of the answer do.
    """
    words = Words(options)
    sections = [
        Section(words.say("What is installed"), tuple(_installed(words, answer))),
        Section(words.say("Parts and labour"), tuple(_priced(words, answer))),
        Section(words.say("What it comes to"), (_sums(words, answer),)),
    ]
    promise = list(_promise(words, answer))
    cautions = caution_texts(words, answer, CUSTOMER_CAUTIONS)
    if cautions:
        promise.append(Cautions(words.say("Please note"), cautions))
    sections.append(Section(words.say("What you can expect"), tuple(promise)))
    return sheet_of(words, answer, words.say("Quote"), _dates(words, answer), sections)


def _dates(words: Words, answer: Answer) -> Iterator[tuple[str, str]]:
    if answer["as_of"] is not None:
        yield words.say("Date"), words.day(answer["as_of"])
    if answer["valid_until"] is not None:
        yield words.say("Prices hold until"), words.day(answer["valid_until"])
    if answer["package"] is not None:
        yield words.say("Package"), answer["package"]


def _installed(words: Words, answer: Answer) -> Iterator[Block]:
    fitted = [entry for entry in answer.get("equipment", ()) if entry["is_fitted"]]
    if fitted:
        yield Table(
            words.say("Equipment"),
            (
                Column(words.say("Quantity"), is_figure=True, share=0.3),
                Column(words.say("Equipment"), share=3.0),
            ),
            tuple((words.quantity(str(item["quantity"])), item["description"]) for item in fitted),
        )
    yield circuits_table(words, answer, with_figures=False)


# --- lines ---


def _priced(words: Words, answer: Answer) -> Iterator[Block]:
    parts = [line for line in answer["lines"] if line["kind"] != LABOUR]
    labour = [line for line in answer["lines"] if line["kind"] == LABOUR]
    if parts:
        yield _lines(words, answer, words.say("Parts"), parts, answer["parts_total"])
    if labour:
        yield _lines(words, answer, words.say("Labour"), labour, answer["labour_total"])
    if answer["unpriced"]:
        yield _unpriced(words, answer["unpriced"])


def _lines(words: Words, answer: Answer, caption: str, lines: Sequence[Line], total: str) -> Table:
    """Return lines as a table; what is taken off them has a column where there is any."""
    off = [reduction(line) for line in lines]
    reduced = any(off)
    columns = [
        Column(words.say("No."), is_figure=True, share=0.4),
        Column(words.say("Description"), share=3.6),
        Column(words.say("Quantity"), is_figure=True),
        Column(words.say("Unit price"), is_figure=True),
    ]
    if reduced:
        columns.append(Column(words.say("Discount"), is_figure=True))
    columns.append(
        Column(words.say("Total in {currency}", currency=answer["currency"]), is_figure=True)
    )
    rows = [
        (
            words.quantity(str(line["number"])),
            line["description"],
            quantity_text(words, line["quantity"], line["unit"]),
            words.amount(line["unit_price"]),
            *([words.amount(str(taken))] if reduced else []),
            words.amount(line["total"]),
        )
        for line, taken in zip(lines, off, strict=True)
    ]
    blanks = ("",) * (len(columns) - 3)
    totals = (("", caption, *blanks, words.amount(total)),)
    return Table(caption, tuple(columns), tuple(rows), totals)


def reduction(line: Line) -> Decimal:
    """Return what a line costs beyond its list price: below 0 for a discount.

    Discounts of the line, its share of one on the document, and its share of the difference to a
    package price, which may be above 0.
    """
    return Decimal(line["total"]) - Decimal(line["list_total"])


def quantity_text(words: Words, quantity: str, unit: str) -> str:
    """Return a quantity with its unit as it is sold, which no wish for other units changes."""
    sign = UNIT_SIGNS.get(unit)
    if sign is not None:
        return f"{words.quantity(quantity)}{JOIN}{sign}"
    return f"{words.quantity(quantity)} {words.say(UNITS_SOLD[unit])}"


def _unpriced(words: Words, entries: Sequence[Mapping[str, Any]]) -> Table:
    return Table(
        words.say("Needed and not priced"),
        (
            Column(words.say("Quantity"), is_figure=True, share=0.5),
            Column(words.say("Description"), share=3.0),
        ),
        tuple(
            (quantity_text(words, entry["quantity"], entry["unit"]), entry["description"])
            for entry in entries
        ),
    )


# --- sums ---


def _sums(words: Words, answer: Answer) -> Table:
    currency = answer["currency"]
    rows = [
        (words.say("Parts"), answer["parts_total"]),
        (words.say("Labour"), answer["labour_total"]),
    ]
    taxes = [(_tax(words, tax, answer), tax["amount"]) for tax in answer["taxes"]]
    if answer["prices_include_tax"]:
        totals = [
            (words.say("Total without taxes"), answer["net_total"]),
            *taxes,
            (words.say("Total"), answer["total"]),
        ]
    else:
        totals = [
            *([(words.say("Total without taxes"), answer["net_total"])] if taxes else []),
            *taxes,
            (words.say("Total"), answer["total"]),
        ]
    if answer["deposit"] is not None:
        totals += [
            (words.say("Deposit"), answer["deposit"]),
            (words.say("Balance due"), answer["balance_due"]),
        ]
    return Table(
        words.say("Totals"),
        (
            Column(words.say("What"), share=3.0),
            Column(words.say("Amount"), is_figure=True),
        ),
        tuple((name, words.money(amount, currency)) for name, amount in rows),
        tuple((name, words.money(amount, currency)) for name, amount in totals),
    )


def _tax(words: Words, tax: Mapping[str, Any], answer: Answer) -> str:
    stated = {
        "name": tax["name"],
        "rate": words.percent(tax["percent"]),
        "base": words.money(tax["base"], answer["currency"]),
    }
    if answer["prices_include_tax"]:
        return words.say("{name} {rate}, included in {base}", **stated)
    return words.say("{name} {rate} of {base}", **stated)


# --- promise ---


def _promise(words: Words, answer: Answer) -> Iterator[Block]:
    if answer["verdict"] == COMPLETE:
        yield Paragraph(words.say(VERDICTS[COMPLETE]))
    plan = answer.get("plan")
    if plan is not None:
        yield Paragraph(words.say(PURPOSES[plan["name"]]))
    outputs = answer.get("real_output", ())
    if outputs:
        yield _outputs(words, outputs)
        yield Paragraph(
            words.say(
                "Real output is continuous power on a sine, as its fuse and the voltage with"
                " everything on allow; the range is what is known of such equipment."
            )
        )
    if answer["labour_duration"] != "PT0M":
        taken = words.duration(answer["labour_duration"])
        yield Paragraph(words.say("The work takes one person {duration}.", duration=taken))


def _outputs(words: Words, outputs: Sequence[Mapping[str, Any]]) -> Table:
    return Table(
        words.say("Real output"),
        (
            Column(words.say("Equipment"), share=2.0),
            Column(words.say("Likely"), is_figure=True, share=0.8),
            Column(words.say("Range"), is_figure=True, share=1.2),
            Column(words.say("Claimed"), is_figure=True, share=0.8),
            Column(words.say("The claim is"), share=1.6),
        ),
        tuple(_output(words, entry) for entry in outputs),
    )


def _output(words: Words, entry: Mapping[str, Any]) -> tuple[str, ...]:
    claim_w = entry["claimed_output_w"]
    low, high = (words.power(entry[name]) for name in ("output_low_w", "output_high_w"))
    return (
        entry["description"],
        words.power(entry["output_likely_w"]),
        words.say("{low} to {high}", low=low, high=high),
        # A claim is printed as it was made.
        NOTHING if claim_w is None else f"{words.quantity(repr(float(claim_w)))}{JOIN}W",
        words.say(CLAIMS[entry["verdict"]]),
    )
