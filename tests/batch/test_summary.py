import json
from decimal import Decimal

from drawn_rows import CURRENCY, pairs, total_of
from hypothesis import given
from hypothesis import strategies as st

from loomwright.batch.quote import Quote, Refusal
from loomwright.batch.rows import rows_of_quotes
from loomwright.batch.summary import Summary, summary_from_document

Drawn = list[tuple[str, str, Quote | Refusal]]


def summary_of(drawn: Drawn) -> Summary:
    summary = Summary(CURRENCY)
    if drawn:
        summary.add(rows_of_quotes(*zip(*drawn, strict=True), CURRENCY))
    return summary


@given(pairs)
def test_counts_and_totals_are_those_of_the_rows(drawn: Drawn) -> None:
    document = summary_of(drawn).document()
    answers = [answer for _, _, answer in drawn]
    quotes = [answer for answer in answers if isinstance(answer, Quote)]
    assert document["rows"] == len(drawn)
    assert sum(document["verdicts"].values()) == len(quotes)
    assert sum(document["refusals"].values()) == len(answers) - len(quotes)
    by_package: dict[str, list[Decimal]] = {}
    for package, _, answer in drawn:
        total = total_of(answer)
        if total is not None:
            by_package.setdefault(package, []).append(total)
    assert document["totals"] == [
        {
            "package": package,
            "quotes": len(totals),
            "least": f"{min(totals):f}",
            "greatest": f"{max(totals):f}",
            "sum": f"{sum(totals):f}",
        }
        for package, totals in by_package.items()
    ]


@given(pairs, pairs)
def test_parts_merge_into_the_whole(first: Drawn, second: Drawn) -> None:
    merged = summary_of(first)
    # As it comes from another machine.
    told = json.loads(json.dumps(summary_of(second).document()))
    merged.merge(summary_from_document(told))
    assert merged.document() == summary_of(first + second).document()


@given(st.lists(pairs, max_size=3))
def test_rows_that_pass_are_added(parts: list[Drawn]) -> None:
    summary = Summary(CURRENCY)
    rows = [rows_of_quotes(*zip(*part, strict=True), CURRENCY) for part in parts if part]
    assert list(summary.passing(iter(rows))) == rows
    assert summary.document() == summary_of([pair for part in parts for pair in part]).document()
