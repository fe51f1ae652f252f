"""Kinds of parts, and how a part of each kind answers what a job needs."""

import operator
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum
from typing import Any

Attribute = str | Decimal

# UN/CEFACT Recommendation 20, Annex III: common code and name.
UNIT_WORDS = {
    "C62": "one",
    "CMT": "centimetre",
    "EA": "each",
    "FOT": "foot",
    "GRM": "gram",
    "H87": "piece",
    "HUR": "hour",
    "INH": "inch",
    "KGM": "kilogram",
    "MMT": "millimetre",
    "MTR": "metre",
    "PR": "pair",
    "SET": "set",
}
LABOUR_UNIT = "HUR"


class Comparison(Enum):
    """How an attribute of a part must stand to what is needed."""

    EQUAL = "equal"
    AT_LEAST = "at least"
    AT_MOST = "at most"
    DESCRIBED = "described only"


# Attributes compared by size are numbers; their rules say so.
_PASSES: dict[Comparison, Callable[[Any, Any], bool]] = {
    Comparison.AT_LEAST: operator.ge,
    Comparison.AT_MOST: operator.le,
}


# Values of some names, which compare as they do: one by itself, several in a tuple.
_Values = Callable[[Mapping[str, Attribute]], Hashable]


def _nothing(attributes: Mapping[str, Attribute]) -> Hashable:
    del attributes
    return ()


def _values(names: Sequence[str]) -> _Values:
    return operator.itemgetter(*names) if names else _nothing


@dataclass(frozen=True, slots=True)
class AttributeRule:
    """One attribute of a kind of part.

    ``name`` is the part's attribute, ``needed`` the attribute of the requirement that it is held
    against; ``numeric`` attributes are numbers in the unit that the name ends in.
    """

    name: str
    comparison: Comparison
    needed: str
    numeric: bool


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of part: the plain words for it, the units it sells in, its attributes."""

    name: str
    words: str
    units: tuple[str, ...]
    rules: tuple[AttributeRule, ...]
    #: The part's attributes that must equal those of a requirement.
    identity: _Values = field(init=False, repr=False)
    #: The attributes of a requirement that a part's must equal, as ``identity`` has them.
    needed_identity: _Values = field(init=False, repr=False)
    _bounded: tuple[tuple[str, Callable[[Any, Any], bool], str], ...] = field(
        init=False, repr=False
    )

    def __post_init__(self) -> None:
        # A bill compares thousands of parts; its rules are sorted out once.
        equal = [rule for rule in self.rules if rule.comparison is Comparison.EQUAL]
        bounded = tuple(
            (rule.name, _PASSES[rule.comparison], rule.needed)
            for rule in self.rules
            if rule.comparison in _PASSES
        )
        object.__setattr__(self, "identity", _values([rule.name for rule in equal]))
        object.__setattr__(self, "needed_identity", _values([rule.needed for rule in equal]))
        object.__setattr__(self, "_bounded", bounded)

    def holds(self, offered: Mapping[str, Attribute], needed: Mapping[str, Attribute]) -> bool:
        """Return whether a part's numbers lie within the bounds of a requirement."""
        for name, passes, bound in self._bounded:  # noqa: SIM110  half the time of all()
            if not passes(offered[name], needed[bound]):
                return False
        return True

    def excess(self, offered: Mapping[str, Attribute]) -> tuple[Decimal, ...]:
        """Return the part's at-least attributes, by which the tightest fit comes first."""
        return tuple(
            value
            for rule in self.rules
            if rule.comparison is Comparison.AT_LEAST
            and isinstance(value := offered[rule.name], Decimal)
        )


def _text(name: str) -> AttributeRule:
    return AttributeRule(name, Comparison.EQUAL, name, numeric=False)


def _number(name: str) -> AttributeRule:
    return AttributeRule(name, Comparison.EQUAL, name, numeric=True)


def _at_least(name: str, needed: str) -> AttributeRule:
    return AttributeRule(name, Comparison.AT_LEAST, needed, numeric=True)


def _at_most(name: str, needed: str) -> AttributeRule:
    return AttributeRule(name, Comparison.AT_MOST, needed, numeric=True)


_PIECES = ("EA", "H87", "C62")
_CONDUCTOR_SIZE = (_text("series"), _text("size"))
_CABLE = (
    _at_least("greatest_cable_mm", "cable_diameter_mm"),
    _at_most("smallest_cable_mm", "cable_diameter_mm"),
)

# In the order in which the lines of a bill stand.
KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("equipment", "equipment", (*_PIECES, "SET"), (_text("reference"),)),
        Kind(
            "conductor",
            "conductor",
            ("MTR", "FOT"),
            (*_CONDUCTOR_SIZE, _text("material"), _text("insulation"), _text("colour")),
        ),
        Kind("fuse", "fuse", _PIECES, (_text("fuse_type"), _number("rating_a"))),
        Kind(
            "fuse_holder",
            "fuse holder",
            _PIECES,
            (
                _text("fuse_type"),
                _at_least("greatest_rating_a", "rating_a"),
                _at_least("greatest_cross_section_mm2", "cross_section_mm2"),
                AttributeRule("connection", Comparison.DESCRIBED, "", numeric=False),
            ),
        ),
        Kind(
            "distribution_block",
            "fused distribution block",
            _PIECES,
            (
                _text("fuse_type"),
                _at_least("ways", "ways"),
                _at_least("greatest_current_a", "current_a"),
                _at_least("greatest_way_rating_a", "way_rating_a"),
            ),
        ),
        Kind("ring_terminal", "ring terminal", _PIECES, (*_CONDUCTOR_SIZE, _text("stud"))),
        Kind("ferrule", "wire-end ferrule", _PIECES, _CONDUCTOR_SIZE),
        Kind("tab_terminal", "insulated push-on terminal", _PIECES, _CONDUCTOR_SIZE),
        Kind("splice", "crimp splice", _PIECES, _CONDUCTOR_SIZE),
        Kind("solder", "solder", ("GRM",), (_text("flux"),)),
        Kind("terminal_boot", "insulating terminal boot", _PIECES, (_text("stud"), *_CABLE)),
        Kind("ground_hardware", "ground hardware", (*_PIECES, "SET"), (_text("stud"),)),
        Kind("contact_paste", "protective contact paste", ("GRM",), (_text("use"),)),
        Kind("grommet", "grommet", _PIECES, _CABLE),
        Kind(
            "split_loom",
            "split loom",
            ("MTR", "FOT"),
            (_at_least("inner_diameter_mm", "least_inner_diameter_mm"),),
        ),
        Kind("cloth_tape", "cloth tape", ("MTR", "FOT"), (_number("tape_width_mm"),)),
        Kind(
            "heat_shrink",
            "heat shrink",
            ("MTR", "FOT"),
            (
                _at_least("supplied_diameter_mm", "slides_over_mm"),
                _at_most("recovered_diameter_mm", "grips_mm"),
            ),
        ),
        Kind(
            "cable_tie",
            "cable tie",
            _PIECES,
            (_at_least("greatest_bundle_mm", "bundle_diameter_mm"),),
        ),
        Kind("cable_marker", "cable marker", _PIECES, _CABLE),
        Kind("fuse_label", "fuse label", _PIECES, (_text("place"),)),
        Kind(
            "signal_lead",
            "signal lead",
            (*_PIECES, "PR", "SET"),
            (_text("form"), _at_least("length_m", "length_m")),
        ),
        Kind(
            "remote_lead",
            "remote turn-on lead",
            ("MTR", "FOT"),
            (_at_least("cross_section_mm2", "cross_section_mm2"),),
        ),
        Kind(
            "remote_lead_ends",
            "ends of a remote turn-on lead",
            ("SET",),
            (_at_least("greatest_cross_section_mm2", "cross_section_mm2"),),
        ),
        Kind("tap", "tap", (*_PIECES, "SET"), (_text("use"),)),
        Kind("fixing_set", "fixing set", (*_PIECES, "SET"), (_text("use"),)),
    )
}
