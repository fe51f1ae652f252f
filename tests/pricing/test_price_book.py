"""Reading of price books: every fault with its JSON pointer, and the digest."""

import contextlib
import copy
import hashlib
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.pricing.book_document import price_book_digest, price_book_from_document
from loomwright.pricing.faults import DocumentError, pointer_token
from loomwright.pricing.requirements import QuantityRules


def book() -> dict[str, Any]:
    return {
        "name": "Test shop",
        "currency": "EUR",
        "taxes": [{"key": "tax", "name": "VAT", "percent": "21"}],
        "rules": {"conductor_slack_percent": "12.5"},
        "parts": [
            {
                "key": "W-6-R",
                "kind": "conductor",
                "description": "Red 6 mm2",
                "attributes": {
                    "series": "metric",
                    "size": "6 mm2",
                    "material": "copper",
                    "insulation": "pvc_105",
                    "colour": "red",
                },
                "unit": "MTR",
                "sale_increment": "0.5",
                "unit_price": "2.85",
            },
            {
                "key": "F-30",
                "kind": "fuse",
                "description": "30 A fuse",
                "attributes": {"fuse_type": "blade", "rating_a": 7.5},
                "unit": "EA",
                "unit_price": "0.4",
            },
        ],
        "labour": [
            {
                "key": "fit",
                "description": "Fit",
                "charged_per": "piece",
                "standard_hours": "0.5",
                "hourly_rate": "64",
            }
        ],
    }


def pointers(document: object) -> list[str]:
    with pytest.raises(DocumentError) as caught:
        price_book_from_document(document)
    return [fault.pointer for fault in caught.value.faults]


def test_a_book_is_read_as_it_stands() -> None:
    read = price_book_from_document(book())
    assert read.rules == QuantityRules(conductor_slack_percent=Decimal("12.5"))
    (fuse,) = read.parts["fuse"]
    assert fuse.attributes == {"fuse_type": "blade", "rating_a": Decimal("7.5")}
    assert (fuse.sale_increment, fuse.unit_price) == (Decimal(1), Decimal("0.4"))
    assert read.labour["fit"].hourly_rate == Decimal(64)


def test_rules_that_a_book_leaves_out_have_their_defaults() -> None:
    document = book()
    del document["rules"]
    assert price_book_from_document(document).rules == QuantityRules()


FAULTS: list[tuple[str, list[Any], Any, str]] = [
    ("name-missing", ["name"], None, "/name"),
    ("name-empty", ["name"], "  ", "/name"),
    ("name-long", ["name"], "x" * 201, "/name"),
    ("name-control", ["name"], "a\x00b", "/name"),
    ("name-not-text", ["name"], 5, "/name"),
    ("currency-gold", ["currency"], "XAU", "/currency"),
    ("currency-unknown", ["currency"], "EURO", "/currency"),
    ("tax-not-array", ["taxes"], "21", "/taxes"),
    ("tax-percent-float", ["taxes", 0, "percent"], 21.0, "/taxes/0/percent"),
    ("tax-percent-high", ["taxes", 0, "percent"], "101", "/taxes/0/percent"),
    ("rule-unknown", ["rules", "magic"], "1", "/rules/magic"),
    ("rule-zero-spacing", ["rules", "tie_spacing_m"], "0", "/rules/tie_spacing_m"),
    ("parts-object", ["parts"], {}, "/parts"),
    ("kind-unknown", ["parts", 0, "kind"], "rope", "/parts/0/kind"),
    ("unit-of-other-kind", ["parts", 1, "unit"], "MTR", "/parts/1/unit"),
    ("price-number", ["parts", 0, "unit_price"], 2.85, "/parts/0/unit_price"),
    ("price-negative", ["parts", 0, "unit_price"], "-1", "/parts/0/unit_price"),
    ("price-exponent", ["parts", 0, "unit_price"], "1e3", "/parts/0/unit_price"),
    ("price-line-end", ["parts", 0, "unit_price"], "1\n", "/parts/0/unit_price"),
    ("price-other-digits", ["parts", 0, "unit_price"], "\u0661", "/parts/0/unit_price"),
    ("increment-zero", ["parts", 0, "sale_increment"], "0", "/parts/0/sale_increment"),
    ("attribute-missing", ["parts", 0, "attributes", "size"], None, "/parts/0/attributes/size"),
    ("attribute-unknown", ["parts", 0, "attributes", "a/b"], "x", "/parts/0/attributes/a~1b"),
    (
        "rating-boolean",
        ["parts", 1, "attributes", "rating_a"],
        True,
        "/parts/1/attributes/rating_a",
    ),
    (
        "rating-nan",
        ["parts", 1, "attributes", "rating_a"],
        float("nan"),
        "/parts/1/attributes/rating_a",
    ),
    (
        "rating-huge",
        ["parts", 1, "attributes", "rating_a"],
        10**400,
        "/parts/1/attributes/rating_a",
    ),
    ("key-twice", ["parts", 1, "key"], "W-6-R", "/parts/1/key"),
    ("hours-missing", ["labour", 0, "standard_hours"], None, "/labour/0/standard_hours"),
    ("charged-per-day", ["labour", 0, "charged_per"], "day", "/labour/0/charged_per"),
]


@pytest.mark.parametrize(
    ("path", "value", "pointer"),
    [pytest.param(path, value, pointer, id=name) for name, path, value, pointer in FAULTS],
)
def test_a_fault_is_named_by_its_pointer(path: list[Any], value: object, pointer: str) -> None:
    document = book()
    place: Any = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    assert pointers(document) == [pointer]


def referring_book() -> dict[str, Any]:
    """The book with everything in it that names something else."""
    document = book()
    document["tax_categories"] = [{"key": "standard", "taxes": ["tax"]}]
    document["parts"][1]["price_breaks"] = [
        {"from_quantity": "5", "unit_price": "0.3"},
        {"from_quantity": "10", "unit_price": "0.2"},
        {"from_quantity": "20", "unit_price": "0.1"},
    ]
    document["kits"] = [
        {
            "key": "SET",
            "description": "Set",
            "contents": [{"part": "F-30", "quantity": "2"}],
            "unit_price": "1",
        }
    ]
    return document


REFERENCES: list[tuple[str, list[Any], Any, list[str]]] = [
    ("all-good", ["name"], "Other name", []),
    ("tax-unknown", ["tax_categories", 0, "taxes"], ["tax", "odd"], ["/tax_categories/0/taxes/1"]),
    ("part-category", ["parts", 0, "tax_category"], "odd", ["/parts/0/tax_category"]),
    ("kit-category", ["kits", 0, "tax_category"], "odd", ["/kits/0/tax_category"]),
    ("labour-category", ["labour", 0, "tax_category"], "odd", ["/labour/0/tax_category"]),
    ("kit-part", ["kits", 0, "contents", 0, "part"], "odd", ["/kits/0/contents/0/part"]),
    # What is no text is said to be none, and not also to be no part.
    ("kit-part-empty", ["kits", 0, "contents", 0, "part"], 5, ["/kits/0/contents/0/part"]),
    ("kit-key-of-a-part", ["kits", 0, "key"], "F-30", ["/kits/0/key"]),
    (
        "first-break-beyond-second",
        ["parts", 1, "price_breaks", 0, "from_quantity"],
        "11",
        ["/parts/1/price_breaks/1/from_quantity"],
    ),
    (
        "last-break-before-second",
        ["parts", 1, "price_breaks", 2, "from_quantity"],
        "9",
        ["/parts/1/price_breaks/2/from_quantity"],
    ),
    # The same quantity in other words is no other text, but no rise either.
    (
        "break-that-stays",
        ["parts", 1, "price_breaks", 1, "from_quantity"],
        "5.0",
        ["/parts/1/price_breaks/1/from_quantity"],
    ),
]


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [pytest.param(path, value, expected, id=name) for name, path, value, expected in REFERENCES],
)
def test_what_names_something_names_what_is_there(
    path: list[Any], value: object, expected: list[str]
) -> None:
    document = referring_book()
    place: Any = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    if expected:
        assert pointers(document) == expected
    else:
        price_book_from_document(document)


def test_the_keys_that_a_book_has_are_said_beside_one_that_it_lacks() -> None:
    document = referring_book()
    document["tax_categories"].append({"key": "odd", "taxes": ["x"]})
    document["parts"][0]["tax_category"] = "none such"
    with pytest.raises(DocumentError) as caught:
        price_book_from_document(document)
    assert [fault.message for fault in caught.value.faults] == [
        "No tax has this key. The book has: tax.",
        "No tax category has this key. The book has: standard, odd.",
    ]
    del document["taxes"]
    with pytest.raises(DocumentError, match=r"No tax has this key\. The book has: none\."):
        price_book_from_document(document)


def test_without_categories_all_taxes_apply_to_all() -> None:
    document = book()
    document["taxes"].append({"key": "levy", "name": "Levy", "percent": "1"})
    (rates,) = price_book_from_document(document).tax_categories.values()
    assert [rate.key for rate in rates] == ["tax", "levy"]
    document["tax_categories"] = [{"key": "standard", "taxes": ["levy"]}]
    (rates,) = price_book_from_document(document).tax_categories.values()
    assert [rate.key for rate in rates] == ["levy"]


def test_all_faults_are_listed_at_once() -> None:
    document = book()
    document["currency"] = "XAU"
    document["taxes"][0]["percent"] = "x"
    document["parts"][0]["unit_price"] = 1
    document["parts"][1]["attributes"] = []
    document["labour"][0]["surplus"] = 1
    assert pointers(document) == [
        "/currency",
        "/taxes/0/percent",
        "/parts/0/unit_price",
        "/parts/1/attributes",
        "/labour/0/surplus",
    ]


@pytest.mark.parametrize("document", [None, 5, "book", [], True])
def test_what_is_no_object_is_refused(document: object) -> None:
    assert pointers(document) == [""]


def test_pointer_tokens_are_escaped() -> None:
    # RFC 6901, clause 5: "/a~1b" names the member "a/b", "/m~0n" names "m~n".
    assert pointer_token("a/b") == "a~1b"
    assert pointer_token("m~n") == "m~0n"


def test_digest_is_sha_256_of_canonical_json() -> None:
    expected = hashlib.sha256(b'{"a":"\\u00e9","b":[1,2.5]}').hexdigest()
    assert price_book_digest({"b": [1, 2.5], "a": "é"}) == expected


def test_digest_ignores_the_order_of_members_and_sees_a_price() -> None:
    document = book()
    turned = dict(reversed(list(copy.deepcopy(document).items())))
    dearer = copy.deepcopy(document)
    dearer["parts"][0]["unit_price"] = "2.86"
    digest = price_book_from_document(document).digest
    assert price_book_from_document(turned).digest == digest
    assert price_book_from_document(dearer).digest != digest


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@given(st.sampled_from(sorted(book())), JSON_VALUES)
def test_any_json_is_read_or_refused(member: str, value: object) -> None:
    document = {**book(), member: value}
    with contextlib.suppress(DocumentError):
        assert len(price_book_from_document(document).digest) == 64
