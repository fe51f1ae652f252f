"""The page that a run ends with: what was priced, and what changed since an earlier run."""

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal

from loomwright.batch.runs.changes import Comparison, PackageChanges, PriceChange
from loomwright.batch.runs.compared_circuits import SizeChange
from loomwright.batch.runs.run import Priced
from loomwright.batch.summary import Summary, Totals
from loomwright.pricing.money import minor_unit_digits

# Lines of a list before the rest is told in one.
_LISTED = 12
_PAGE_WIDTH = 80
_LONGEST_EXAMPLE = 300
_INDENT = "  "

Line = tuple[str, ...]


def summary_page(run: Priced, out: str) -> str:
    """Return what a run came to as a page of text.

    Parameters
    ----------
    run
        What it came to.
    out
        Where the rows are.

    Returns
    -------
    str
        Lines of at most 80 characters, unless a name is longer.
    """
    summary = run.summary
    quotes, refused = summary.verdicts.total(), summary.refusals.total()
    lines = [
        f"{_count(summary.rows, 'pair')} of package and vehicle: {_count(quotes, 'quote')}, "
        f"{_count(refused, 'refusal')}.",
        f"Written to {out} in {_duration(run.seconds)}{_pace(run)}.",
        *_shares("Verdicts of the quotes", summary.verdicts, quotes),
        *_shares("Reasons of the refusals", summary.refusals, refused),
        *_examples(run),
        *_prices(summary),
    ]
    return "\n".join(lines) + "\n"


def comparison_page(comparison: Comparison, earlier: str) -> str:
    """Return what changed since an earlier run as a page of text.

    Parameters
    ----------
    comparison
        The changes.
    earlier
        Where the rows of the earlier run are.

    Returns
    -------
    str
        Lines of at most 80 characters, unless a name is longer.
    """
    total = comparison.total
    lines = [
        f"Since {earlier}: {_count(total.both, 'pair')} in both runs, {total.new:,} new, "
        f"{total.gone:,} gone.",
    ]
    if comparison.changed:
        lines += [
            f"Of those in both, {comparison.changed:,} changed and "
            f"{total.both - comparison.changed:,} are as they were.",
            *_price_changes(comparison, total),
            *_greatest("Greatest rises", comparison.rises),
            *_greatest("Greatest falls", comparison.falls),
            *_by_package(comparison),
            *_sizes(comparison),
            *_verdict_changes(comparison),
        ]
    elif total.both:
        lines.append("No pair that is in both runs changed.")
    return "\n".join(lines) + "\n"


def _price_changes(comparison: Comparison, total: PackageChanges) -> Iterator[str]:
    if not comparison.has_amounts:
        yield (
            f"Prices are in {comparison.currency} now and were in {comparison.earlier_currency}; "
            "they are not compared."
        )
        return
    if not total.priced:
        yield "No pair has a complete quote in both runs; there are no prices to compare."
        return
    same = total.priced - total.dearer - total.cheaper
    yield ""
    yield f"Prices ({_count(total.priced, 'pair')} with a complete quote in both runs)"
    yield from _table(
        [
            ("dearer", f"{total.dearer:,}", _share(total.dearer, total.priced)),
            ("cheaper", f"{total.cheaper:,}", _share(total.cheaper, total.priced)),
            ("the same", f"{same:,}", _share(same, total.priced)),
        ]
    )
    yield (
        f"{_INDENT}On average {_signed(_mean(total), comparison.currency)} {comparison.currency} "
        f"({_percent(total)})."
    )


def _greatest(title: str, changes: Sequence[PriceChange]) -> Iterator[str]:
    if not changes:
        return
    yield ""
    yield title
    yield from _table(
        [
            ("package", "vehicle", "before", "now", "change"),
            *(
                (
                    each.package,
                    each.vehicle,
                    f"{each.earlier:,f}",
                    f"{each.new:,f}",
                    f"{each.difference:+,f}",
                )
                for each in changes
            ),
        ],
        texts=2,
    )


def _by_package(comparison: Comparison) -> Iterator[str]:
    """Yield packages by how much their prices moved, the most moved first."""
    moved = {
        key: each
        for key, each in comparison.packages.items()
        if each.dearer or each.cheaper or each.new or each.gone
    }
    if not moved:
        return
    order = sorted(moved, key=lambda key: -abs(_mean(moved[key])))
    shown = order[:_LISTED]
    yield ""
    yield "By package, the most changed first"
    yield from _table(
        [
            ("package", "dearer", "cheaper", "new", "gone", "on average"),
            *(
                (
                    key,
                    f"{moved[key].dearer:,}",
                    f"{moved[key].cheaper:,}",
                    f"{moved[key].new:,}",
                    f"{moved[key].gone:,}",
                    _percent(moved[key]),
                )
                for key in shown
            ),
        ]
    )
    yield from _rest(len(order) - len(shown), "package")


def _sizes(comparison: Comparison) -> Iterator[str]:
    if comparison.other_circuits:
        yield ""
        yield f"{_count(comparison.other_circuits, 'pair')} with other circuits than before."
    if not comparison.resized:
        return
    listed = comparison.sizes.most_common(_LISTED)
    yield ""
    yield f"Sizes ({_count(comparison.resized, 'pair')} with another conductor or fuse)"
    yield from _table([("circuit", "what", "before", "now", "pairs"), *map(_size_line, listed)], 4)
    yield from _rest(len(comparison.sizes) - len(listed), "change")


def _size_line(counted: tuple[SizeChange, int]) -> Line:
    change, count = counted
    return change.circuit, change.what, change.earlier, change.new, f"{count:,}"


def _verdict_changes(comparison: Comparison) -> Iterator[str]:
    lines: list[Line] = []
    if comparison.newly_quoted:
        lines.append(("refused before, quoted now", f"{comparison.newly_quoted:,}"))
    if comparison.newly_refused:
        lines.append(("quoted before, refused now", f"{comparison.newly_refused:,}"))
    for counter in (comparison.verdicts, comparison.codes):
        lines += [
            (f"{earlier} before, {new} now", f"{count:,}")
            for (earlier, new), count in counter.most_common(_LISTED)
        ]
    if comparison.other_figures:
        lines.append(("the same but for other figures", f"{comparison.other_figures:,}"))
    if lines:
        yield ""
        yield "Verdicts and the rest"
        yield from _table(lines)


def _shares(title: str, counts: Counter[str], whole: int) -> Iterator[str]:
    if not counts:
        return
    yield ""
    yield title
    listed = counts.most_common(_LISTED)
    yield from _table([(key, f"{count:,}", _share(count, whole)) for key, count in listed])
    yield from _rest(len(counts) - len(listed), "reason")


def _examples(run: Priced) -> Iterator[str]:
    """Yield what one refusal of each listed code says, so that one knows where to begin."""
    for code, _ in run.summary.refusals.most_common(_LISTED):
        example = run.examples.get(code)
        if example is not None:
            pair = f"{example.package} for {example.vehicle}"
            text = f"{code}, such as {pair}: {example.detail}"
            yield from textwrap.wrap(
                textwrap.shorten(text, _LONGEST_EXAMPLE, placeholder=" ..."),
                _PAGE_WIDTH,
                initial_indent=_INDENT,
                subsequent_indent=2 * _INDENT,
                break_long_words=False,
                break_on_hyphens=False,
            )


def _prices(summary: Summary) -> Iterator[str]:
    if not summary.totals:
        yield ""
        yield "No quote is complete; there is no price to tell."
        return
    digits = minor_unit_digits(summary.currency)
    yield ""
    yield f"Prices of complete quotes [{summary.currency}, with tax]"
    yield from _table(
        [
            ("package", "quotes", "lowest", "average", "highest"),
            *(
                _price_line(key, totals, digits)
                for key, totals in list(summary.totals.items())[:_LISTED]
            ),
            *(
                [_price_line("all packages", _together(summary.totals), digits)]
                if len(summary.totals) > 1
                else []
            ),
        ]
    )
    yield from _rest(len(summary.totals) - _LISTED, "package")


def _price_line(key: str, totals: Totals, digits: int) -> Line:
    mean = totals.sum / totals.quotes
    return (
        key,
        f"{totals.quotes:,}",
        f"{totals.least:,.{digits}f}",
        f"{mean:,.{digits}f}",
        f"{totals.greatest:,.{digits}f}",
    )


def _together(totals: Mapping[str, Totals]) -> Totals:
    first, *others = totals.values()
    for each in others:
        first = first.with_others(each)
    return first


def _rest(count: int, noun: str) -> Iterator[str]:
    if count > 0:
        yield f"{_INDENT}and {_count(count, f'more {noun}')}."


def _table(lines: Iterable[Line], texts: int = 1) -> Iterator[str]:
    """Yield lines in columns, so many of them texts and the others numbers, to the right."""
    rows = list(lines)
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = [
            cell.ljust(width) if index < texts else cell.rjust(width)
            for index, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield (_INDENT + "  ".join(cells)).rstrip()


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _share(part: int, whole: int) -> str:
    return f"{100.0 * part / whole:.1f} %"


def _mean(changes: PackageChanges) -> Decimal:
    if not changes.priced:
        return Decimal(0)
    return (changes.new_total - changes.earlier_total) / changes.priced


def _percent(changes: PackageChanges) -> str:
    if not changes.earlier_total:
        return "-"
    share = 100 * (changes.new_total - changes.earlier_total) / changes.earlier_total
    return f"{share:+.2f} %"


def _signed(amount: Decimal, currency: str | None) -> str:
    digits = 2 if currency is None else minor_unit_digits(currency)
    return f"{amount:+,.{digits}f}"


def _duration(seconds: float) -> str:
    if seconds < 60.0:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s"


def _pace(run: Priced) -> str:
    if run.resumed:
        return f"; {run.resumed:,} of {run.partitions:,} partitions were finished before"
    return f", {run.summary.rows / run.seconds:,.0f} pairs a second" if run.seconds > 0.0 else ""
