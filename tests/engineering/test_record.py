"""A record has the values that it names, and no others."""

import pytest

from loomwright.engineering.record import record


def test_a_record_takes_no_value_that_it_does_not_name():
    @record
    class Cell:
        voltage_v: float

    cell = Cell(2.1)
    assert cell == Cell(voltage_v=2.1)
    with pytest.raises(AttributeError):
        cell.votlage_v = 2.0
