"""The answer for a job as plain text that a person reads on a terminal."""

import re
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from loomwright.pricing.attribute_words import in_words
from loomwright.tables.fuse_words import FUSE_TYPE_TEXTS

WIDTH = 96
_DESCRIPTION, _QUANTITY, _UNIT, _PRICE, _TOTAL = 52, 8, 7, 11, 12
_INDENT = "     "
_NUMBER_AND_UNIT = re.compile(r"(\d) (%|A|AWG|C|h|l|m|mm|mm2|V|x)(?!\w)")
_VERDICTS = {
    "complete": "complete: every circuit is sized and every part is priced",
    "incomplete": "incomplete: see the circuits and the parts that are not priced",
    "source_overloaded": "source overloaded: a source is asked for more than its maker allows",
}


def bill_text(answer: Mapping[str, Any]) -> str:
    """Return the answer for a job as plain text of at most 96 columns.

    Parameters
    ----------
    answer
        Answer document of a priced job, as plain JSON values.

    Returns
    -------
    str
        Circuits, priced lines with their reasons, totals and cautions; ends in a line end.
    """
    blocks = [
        _heading(answer),
        _sources(answer["power_sources"]),
        _circuits(answer["circuits"]),
        _lines(answer["lines"], answer["currency"]),
        _unpriced(answer["unpriced"]),
        _substitutes(answer["substitutes"], answer["currency"]),
        _totals(answer),
        _cautions(answer["cautions"]),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _heading(answer: Mapping[str, Any]) -> list[str]:
    vehicle, book = answer["vehicle"], answer["price_book"]
    return [
        *_wrapped(answer["title"], ""),
        "=" * min(WIDTH, len(answer["title"])),
        *_wrapped(f"{vehicle['description']}; {vehicle['system_voltage_v']:g} V", ""),
        *_wrapped(f"Prices: {book['name']}, digest {book['digest'][:12]}", ""),
        *_wrapped(f"Result: {_VERDICTS.get(answer['verdict'], answer['verdict'])}", ""),
    ]


def _sources(sources: Sequence[Mapping[str, Any]]) -> list[str]:
    lines = ["SOURCES"]
    for source in sources:
        limit = source["greatest_current_a"]
        allowed = "no limit stated" if limit is None else f"{limit:g} A allowed"
        lines += _wrapped(
            f"{source['description']}: {source['load_current_a']:.1f} A asked for, {allowed}", "  "
        )
    return lines


def _circuits(circuits: Sequence[Mapping[str, Any]]) -> list[str]:
    lines = ["CIRCUITS"]
    for circuit in circuits:
        lines += _wrapped(f"{circuit['key']}: {circuit['description']}", "  ")
        if circuit["verdict"] == "sized":
            conductor, fuse = circuit["conductor"], circuit["fuse"]
            lines += _wrapped(
                f"conductor {conductor['size']} {conductor['material']}, route"
                f" {circuit['route_length_m']:.2f} m; {circuit['conductor_reason']}",
                _INDENT,
            )
            lines += _wrapped(
                f"fuse {fuse['rated_current_a']:g} A {FUSE_TYPE_TEXTS[fuse['fuse_type']]};"
                f" {circuit['fuse_reason']}{_selectivity(fuse)}",
                _INDENT,
            )
        else:
            found = circuit["fuse_verdict"] or circuit["conductor_verdict"]
            lines += _wrapped(
                f"NOT SIZED ({in_words(circuit['verdict'])}: {in_words(found)});"
                " no wiring of it is on this bill",
                _INDENT,
            )
    return lines


def _selectivity(fuse: Mapping[str, Any]) -> str:
    state, limit = fuse["upstream_selectivity"], fuse["selective_up_to_a"]
    if state is None:
        return ""
    up_to = "" if limit is None else f" up to {limit:.0f} A"
    return f"; {in_words(state)} with the fuse before it{up_to}"


def _lines(lines: Sequence[Mapping[str, Any]], currency: str) -> list[str]:
    rule = "-" * WIDTH
    table = [
        " No  "
        + "Description".ljust(_DESCRIPTION)
        + "Quantity".rjust(_QUANTITY)
        + " "
        + "Unit".ljust(_UNIT)
        + "Unit price".rjust(_PRICE)
        + f"Total {currency}".rjust(_TOTAL),
        rule,
    ]
    for line in lines:
        described = _wrapped(line["description"], "", _DESCRIPTION - 1) or [""]
        table.append(
            f"{line['number']:3d}  "
            + described[0].ljust(_DESCRIPTION)
            + line["quantity"].rjust(_QUANTITY)
            + " "
            + line["unit_word"].ljust(_UNIT)
            + line["unit_price"].rjust(_PRICE)
            + line["total"].rjust(_TOTAL)
        )
        table += [_INDENT + rest for rest in described[1:]]
        table += _wrapped(line["reason"], _INDENT + "  ")
    table.append(rule)
    return table


def _unpriced(entries: Sequence[Mapping[str, Any]]) -> list[str]:
    if not entries:
        return []
    lines = ["NOT PRICED: needed, but not in the price book"]
    for entry in entries:
        text = f"{entry['quantity']} {entry['unit_word']}, {entry['description']}"
        lines += _wrapped(text, "  ")
        lines += _wrapped(entry["reason"], _INDENT + "  ")
    return lines


def _substitutes(entries: Sequence[Mapping[str, Any]], currency: str) -> list[str]:
    if not entries:
        return []
    lines = ["SUBSTITUTES: checked again with the whole job, not on this bill"]
    for entry in entries:
        more = entry["total_difference"]
        signed = more if more.startswith("-") else f"+{more}"
        text = (
            f"{entry['circuit']}: {_part(entry['offered'])} for {_part(entry['replaced'])}"
            f" ({in_words(entry['reason'])}), total {entry['total']} {currency} ({signed})"
        )
        lines += _wrapped(text, "  ")
    return lines


def _part(text: str) -> str:
    """Return a conductor, or a fuse that is named by its type and rating, in words."""
    key, _, rating = text.partition(" ")
    return f"{rating} {FUSE_TYPE_TEXTS[key]}" if key in FUSE_TYPE_TEXTS else text


def _totals(answer: Mapping[str, Any]) -> list[str]:
    tax_words = "within the prices" if answer["prices_include_tax"] else "of"
    rows = [
        ("Parts", answer["parts_total"]),
        ("Labour", answer["labour_total"]),
        *_off(answer),
        ("Net total", answer["net_total"]),
        *(
            (f"{tax['name']} {tax['percent']} % {tax_words} {tax['base']}", tax["amount"])
            for tax in answer["taxes"]
        ),
        (f"TOTAL {answer['currency']}", answer["total"]),
    ]
    if answer["deposit"] is not None:
        rows += [("Deposit", answer["deposit"]), ("Balance due", answer["balance_due"])]
    lines = [label.rjust(WIDTH - 16) + amount.rjust(16) for label, amount in rows]
    if answer["valid_until"] is not None:
        lines.append(f"Prices hold until {answer['valid_until']}.".rjust(WIDTH))
    return lines


def _off(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what was taken off the lines; parts and labour above are without it already."""
    package = answer["package"]
    shared = f"with the package {package}" if package else "with the document discount"
    rows = [
        ("Line discounts, taken off above", answer["discount_total"]),
        (f"Change {shared}, in the lines above", answer["shared_total"]),
    ]
    return [(label, amount) for label, amount in rows if amount.strip("-0.")]


def _cautions(cautions: Sequence[Mapping[str, Any]]) -> list[str]:
    lines = ["CAUTIONS"]
    for caution in cautions:
        first, *rest = _wrapped(caution["text"], "    ")
        lines += [f"  - {first.strip()}", *rest]
    return lines


def _wrapped(text: str, indent: str, width: int = WIDTH) -> list[str]:
    # A number stays on one line with its unit; textwrap breaks at ASCII white space alone.
    held = _NUMBER_AND_UNIT.sub("\\1\u00a0\\2", text)
    lines = textwrap.wrap(
        held, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
    return [line.replace("\u00a0", " ") for line in lines]
