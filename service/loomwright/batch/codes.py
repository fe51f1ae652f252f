"""Small numbers for the distinct cases of columns."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pyarrow as pa

Codes = npt.NDArray[np.int64]
# Code of one row without columns, and that row.
ONE_ROW: tuple[Codes, list[tuple[int, ...]]] = np.zeros(1, np.int64), [()]
# Up to here cases are counted in a table, above it they are hashed.
_GREATEST_TABLE = 1 << 20


def coded_numbers(numbers: npt.NDArray[np.float64]) -> tuple[Codes, list[float]]:
    """Return a code for each distinct number, and the numbers by their code.

    Parameters
    ----------
    numbers
        Without NaN.

    Returns
    -------
    tuple of ndarray and list
        Codes from 0.
    """
    encoded = pa.array(numbers).dictionary_encode()
    return encoded.indices.to_numpy().astype(np.int64), encoded.dictionary.to_pylist()


def coded_rows(columns: Sequence[Codes]) -> tuple[Codes, list[tuple[int, ...]]]:
    """Return a code for each distinct row of some columns, and the rows by their code.

    Parameters
    ----------
    columns
        Whole numbers, one column or more.

    Returns
    -------
    tuple of ndarray and list
        Codes from 0.
    """
    lowest = [int(column.min()) for column in columns]
    counts = [int(column.max()) - low + 1 for column, low in zip(columns, lowest, strict=True)]
    joined, greatest = columns[0] - lowest[0], counts[0]
    for column, low, count in zip(columns[1:], lowest[1:], counts[1:], strict=True):
        if greatest * count >= 1 << 62:
            joined, greatest = _dense(joined)
        joined, greatest = joined * count + (column - low), greatest * count
    codes, first = _first_rows(joined, greatest)
    return codes, list(zip(*(column[first].tolist() for column in columns), strict=True))


def _dense(joined: Codes) -> tuple[Codes, int]:
    found, codes = np.unique(joined, return_inverse=True)
    return codes.astype(np.int64), len(found)


def _first_rows(joined: Codes, greatest: int) -> tuple[Codes, Codes]:
    """Return a code for each distinct number, and the place of one with each code."""
    if greatest > _GREATEST_TABLE:
        encoded = pa.array(joined).dictionary_encode()
        codes, count = encoded.indices.to_numpy().astype(np.int64), len(encoded.dictionary)
    else:
        is_there = np.zeros(greatest, np.int64)
        is_there[joined] = 1
        codes, count = (np.cumsum(is_there) - 1)[joined], int(is_there.sum())
    first = np.empty(count, np.int64)
    first[codes] = np.arange(codes.size)
    return codes, first
