"""Records: quick to make, with nothing but their fields."""

from loomwright.engineering.record import record


@record
class Point:
    x_m: float
    y_m: float = 2.0


def test_a_record_is_made_shown_and_compared_by_its_fields():
    assert Point(1.0) == Point(1.0, 2.0) != Point(1.0, 3.0)
    assert repr(Point(1.0)) == "Point(x_m=1.0, y_m=2.0)"


def test_a_record_has_no_dictionary():
    # Half a million of them in a batch would each carry one.
    assert not hasattr(Point(1.0), "__dict__")
