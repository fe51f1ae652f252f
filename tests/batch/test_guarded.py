"""A pair on which the service fails is a row of its own; every other pair keeps its row."""

from decimal import Decimal

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from loomwright.batch.engine import Batch, Pairs, batches
from loomwright.batch.guarded import GuardedEngine
from loomwright.batch.pair import Package, Vehicle
from loomwright.batch.quote import Amounts, Pricing, Quote, QuotedCircuit, Refusal
from loomwright.batch.rows import rows_of_quotes
from loomwright.jobs.demo_library import demo_book

SIZES = ("4 mm2", "6 mm2", "10 mm2")
REFUSED = Refusal("invalid_pair", "made up")


def batch_of(packages, vehicles):
    """Return a batch of made-up keys and empty documents."""
    return Batch(
        [Package(f"p{number}", {}, {}) for number in range(packages)],
        [Vehicle(f"v{number}", {}, {}) for number in range(vehicles)],
        Pricing(demo_book(), {}),
    )


def quoted(number):
    """Return a made-up quote that tells its number, or a refusal for each fifth."""
    if number % 5 == 4:
        return REFUSED
    total = Decimal(number)
    amounts = Amounts(**dict.fromkeys(Amounts._fields, total))
    circuit = QuotedCircuit("feed", "sized", SIZES[number % len(SIZES)], "iso_8820_3_c", 20.0)
    return Quote("complete", (circuit,), 1.0, 2.0, 3.0, amounts, total, 0, None)


class MadeUp:
    """Quotes vehicles by their index, and raises if asked for one that is wrong."""

    def __init__(self, batch, wrong=()):
        self.batch = batch
        self.wrong = set(wrong)
        self.asked = []

    def rows(self, package, vehicles):
        indices = vehicles.tolist()
        self.asked.append((package, indices))
        if any((package, vehicle) in self.wrong for vehicle in indices):
            raise ZeroDivisionError("the secret of the house")
        keys = [self.batch.vehicles[vehicle].key for vehicle in indices]
        quotes = [quoted(vehicle) for vehicle in indices]
        return rows_of_quotes([self.batch.packages[package].key] * len(keys), keys, quotes, "EUR")


def told(rows):
    """Return rows as plain values, circuits within."""
    return rows.nested().to_pylist()


def by_pair(row):
    return row["package"], row["vehicle"]


@given(st.data(), st.integers(1, 3), st.integers(1, 20), st.integers(1, 7))
def test_only_the_pairs_that_fail_have_other_rows(data, packages, vehicles, at_once):
    batch = batch_of(packages, vehicles)
    pairs = [(package, vehicle) for package in range(packages) for vehicle in range(vehicles)]
    wrong = data.draw(st.sets(st.sampled_from(pairs), max_size=5))
    failures = []
    guarded = GuardedEngine(
        MadeUp(batch, wrong), batch, lambda package, vehicle, _: failures.append((package, vehicle))
    )
    found = [row for rows in batches(guarded, batch, None, at_once) for row in told(rows)]
    right = [row for rows in batches(MadeUp(batch), batch, None, at_once) for row in told(rows)]
    names = [(f"p{package}", f"v{vehicle}") for package, vehicle in sorted(wrong)]
    assert failures == names
    assert [by_pair(row) for row in found] == [by_pair(row) for row in right]
    for row, expected in zip(found, right, strict=True):
        if by_pair(row) not in names:
            assert row == expected
        else:
            stated = {name: value for name, value in row.items() if value is not None}
            assert stated == {
                "package": row["package"],
                "vehicle": row["vehicle"],
                "code": "internal_error",
                "detail": "The service failed on this pair.",
            }


def test_rows_that_fail_together_are_asked_for_by_halves():
    batch = batch_of(1, 64)
    engine = MadeUp(batch, {(0, 37)})
    GuardedEngine(engine, batch, lambda *_: None).rows(0, np.arange(64))
    # 64 and its halves down to the pair: six times two below the first.
    assert len(engine.asked) == 1 + 2 * 6
    assert engine.asked[0] == (0, list(range(64)))
    assert (0, [37]) in engine.asked


# --- how many rows come together ---


def test_rows_come_few_at_first_and_never_more_than_are_wanted():
    batch = batch_of(2, 50)
    engine = MadeUp(batch)
    rows = list(batches(engine, batch, None, 16, 2))
    # Doubled each time up to 16, and cut where the package changes: 2 + 4 + 8 + 16 + 16 + 4 = 50.
    assert [len(vehicles) for _, vehicles in engine.asked] == [2, 4, 8, 16, 16, 4, 16, 16, 16, 2]
    assert [each.flat.num_rows for each in rows] == [2, 4, 8, 16, 16, 4, 16, 16, 16, 2]
    assert [vehicle for package, some in engine.asked for vehicle in some] == [*range(50)] * 2


@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 4)), max_size=30),
    st.integers(1, 8),
    st.integers(1, 8),
)
def test_listed_pairs_come_in_their_order(listed, at_once, at_first):
    batch = batch_of(3, 5)
    engine = MadeUp(batch)
    packages, vehicles = np.array(listed, np.int64).reshape(-1, 2).T
    pairs = Pairs(packages, vehicles)
    some = [told(rows) for rows in batches(engine, batch, pairs, at_once, at_first)]
    found = [by_pair(row) for rows in some for row in rows]
    assert found == [(f"p{package}", f"v{vehicle}") for package, vehicle in listed]
    assert all(1 <= len(rows) <= at_once for rows in some)
    if listed:
        assert len(some[0]) == min(at_first, at_once, len(listed))


def test_nothing_is_worked_on_before_it_is_asked_for():
    batch = batch_of(3, 10)
    engine = MadeUp(batch)
    rows = batches(engine, batch, None, 5)
    assert engine.asked == []
    next(rows)
    rows.close()
    assert engine.asked == [(0, [0, 1, 2, 3, 4])]
