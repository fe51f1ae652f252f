"""What a part must be is told in words, with the unit of each number."""

from decimal import Decimal

import pytest

from loomwright.pricing.attribute_words import attribute_text
from loomwright.pricing.kinds import KINDS, Attribute


@pytest.mark.parametrize(
    ("name", "value", "text"),
    [
        ("fuse_type", "iso_8820_3_c", "fuse type medium blade (type C), ISO 8820-3"),
        ("insulation", "pvc_105", "insulation PVC rated 105 C"),
        ("material", "tinned_copper", "material tinned copper"),
        ("series", "iso_6722", "series ISO 6722"),
        ("place", "fuse_holder", "place fuse holder"),
        ("rating_a", Decimal("7.50"), "rating 7.5 A"),
        ("least_inner_diameter_mm", Decimal("6.2"), "least inner diameter 6.2 mm"),
        ("cross_section_mm2", Decimal(16), "cross section 16 mm2"),
        ("length_m", Decimal(5), "length 5 m"),
        ("ways", Decimal(4), "ways 4"),
        # Words of the job stand as they are, whatever they look like.
        ("colour", "copper_105", "colour copper_105"),
    ],
)
def test_an_attribute_is_told_in_words(name: str, value: Attribute, text: str) -> None:
    assert attribute_text(name, value) == text


def test_every_number_of_a_kind_is_told_with_its_unit() -> None:
    numbers = {rule.needed for kind in KINDS.values() for rule in kind.rules if rule.numeric}
    told = {name: attribute_text(name, Decimal(2)) for name in numbers}
    assert not [text for text in told.values() if "_" in text]
    assert [name for name, text in told.items() if text.endswith(" 2")] == ["ways"]
