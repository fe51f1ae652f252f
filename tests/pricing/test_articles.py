"""What can be bought of a part, and which needs are solved together."""

from decimal import Decimal

from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.cover import Choice, KnownCovers, cheapest_cover, steps_for
from loomwright.pricing.cover_proof import proven_plans
from loomwright.pricing.lines import exact_text
from loomwright.pricing.price_book import Article, finest_decimals


def test_an_article_is_bought_in_its_steps_at_the_price_of_its_tier() -> None:
    book = price_book_from_document(
        {
            "name": "One",
            "currency": "EUR",
            "parts": [
                {
                    "key": "TIE",
                    "kind": "equipment",
                    "description": "Tie",
                    "attributes": {"reference": "tie"},
                    "unit": "EA",
                    "sale_increment": "0.5",
                    "unit_price": "0.10",
                    "packs": [{"quantity": "100", "price": "6.00"}],
                    "price_breaks": [{"from_quantity": "10", "unit_price": "0.08"}],
                }
            ],
            "kits": [
                {
                    "key": "KIT",
                    "description": "Kit",
                    "contents": [{"part": "TIE", "quantity": "3"}],
                    "unit_price": "0.25",
                }
            ],
        }
    )
    (part,), (kit,) = book.parts["equipment"], book.kits
    loose, pack = part.articles
    set_of_three = Article("kit KIT", None, kit=kit)
    assert [article.name for article in (loose, pack)] == ["TIE", "TIE pack 100"]
    assert (loose.sold, pack.sold, set_of_three.sold) == (part, part, kit)
    # Of what one step supplies: half a piece, a hundred pieces, three pieces.
    assert [article.decimals for article in (loose, pack, set_of_three)] == [1, 0, 0]
    assert [article.step for article in (loose, pack, set_of_three)] == [Decimal("0.5"), 1, 1]
    assert [article.supplies for article in (loose, pack, set_of_three)] == [
        {"TIE": Decimal("0.5")},
        {"TIE": 100},
        {"TIE": 3},
    ]
    assert loose.tiers == ((0, Decimal("0.10")), (10, Decimal("0.08")))
    assert pack.tiers == ((0, 6),)
    assert set_of_three.tiers == ((0, Decimal("0.25")),)
    assert [loose.price(Decimal(each)) for each in ("0.5", "9.5", "10", "11")] == [
        Decimal("0.05"),
        Decimal("0.95"),
        Decimal("0.80"),
        Decimal("0.88"),
    ]
    assert (pack.price(Decimal(2)), set_of_three.price(Decimal(3))) == (12, Decimal("0.75"))


def test_needs_are_solved_together_only_where_they_share_a_part_or_a_kit() -> None:
    parts = [
        {
            "key": key,
            "kind": "equipment",
            "description": key,
            "attributes": {"reference": key},
            "unit": "EA",
            "unit_price": "1",
        }
        for key in "ABCDEF"
    ]
    kits = [
        {
            "key": f"K{held}",
            "description": "Kit",
            "contents": [{"part": key, "quantity": "1"} for key in held],
            "unit_price": "1.50",
        }
        for held in ("AB", "DF", "F")
    ]
    book = price_book_from_document(
        {"name": "Six", "currency": "EUR", "parts": parts, "kits": kits}
    )
    one = Decimal(1)
    choices = [Choice({key: one}) for key in "ABCDE"] + [Choice({"C": one, "E": one})]
    covers = cheapest_cover(choices, book, proven_plans, KnownCovers())
    found = [
        (
            [list(choice.quantities) for choice in cover.cluster.choices],
            [article.name for article in cover.cluster.articles],
        )
        for cover in covers
    ]
    # A and B share a kit; C and E may serve one need; D is in a kit with F, which nobody needs.
    assert found == [
        ([["A"], ["B"]], ["A", "B", "kit KAB"]),
        ([["C"], ["E"], ["C", "E"]], ["C", "E"]),
        ([["D"]], ["D", "kit KDF"]),
    ]
    assert covers[0].plan.quantities == {"kit KAB": one}
    assert covers[0].runner_up is not None
    assert covers[0].runner_up.price == 2
    assert covers[2].plan.quantities == {"D": one}


def test_steps_reach_a_quantity_and_no_further() -> None:
    steps = [steps_for(Decimal(each), Decimal("0.3")) for each in ("0", "0.3", "0.31", "0.9")]
    assert steps == [0, 1, 2, 3]


def test_decimals_are_those_of_the_finest_number_and_none_of_whole_ones() -> None:
    assert finest_decimals([Decimal("0.5"), Decimal("0.125"), Decimal(3)]) == 3
    assert finest_decimals([Decimal(3)]) == 0
    assert finest_decimals([Decimal("1E+2")]) == 0


def test_numbers_of_a_bill_are_written_without_an_exponent_and_with_their_own_digits() -> None:
    written = [exact_text(Decimal(number)) for number in ("1E+2", "1.50", "0.5", "100", "1E-8")]
    assert written == ["100", "1.50", "0.5", "100", "0.00000001"]
