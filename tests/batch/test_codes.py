"""Codes of distinct cases are those that telling them apart by hand gives."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from loomwright.batch.codes import coded_numbers, coded_rows

SMALL = st.integers(-3, 3)
# So far apart that three columns together pass 64 bits.
WIDE = st.sampled_from((0, 1, 2**40, -(2**40)))


def test_numbers_have_a_code_each() -> None:
    codes, numbers = coded_numbers(np.array([30.0, 7.5, 30.0, 0.0]))
    assert [numbers[code] for code in codes.tolist()] == [30.0, 7.5, 30.0, 0.0]
    assert sorted(numbers) == [0.0, 7.5, 30.0]


@given(
    st.sampled_from((SMALL, WIDE)).flatmap(
        lambda numbers: st.lists(st.tuples(numbers, numbers, numbers), min_size=1, max_size=30)
    )
)
def test_rows_have_one_code_where_they_are_alike(rows: list[tuple[int, int, int]]) -> None:
    codes, found = coded_rows([np.array(column, np.int64) for column in zip(*rows, strict=True)])
    assert [found[code] for code in codes.tolist()] == rows
    assert len(found) == len(set(rows))
