"""An id of its own for each test: of two with one id, one may not run."""

from collections import Counter
from collections.abc import Sequence

import pytest
from schemathesis.pytest.plugin import SchemathesisFunction


def give_own_ids(items: Sequence[pytest.Item]) -> None:
    """Put the operation into the ids of schemathesis' tests, and refuse what has one id still.

    Schemathesis puts the operation into the name of a test; pytest (9.2) makes the id of the
    function's name and parameters, so that all operations have one. Where files are dealt out to
    processes, pytest-xdist takes tests of one id for one test: it runs the first and no other.
    """
    for item in items:
        if isinstance(item, SchemathesisFunction) and item.id.params is None:
            item._id = item.id.with_params(item.operation_label)
    ids = Counter(item.nodeid for item in items)
    if twice := [name for name, times in ids.items() if times > 1]:
        raise pytest.UsageError(f"tests with one id, of which some would not run: {twice}")
