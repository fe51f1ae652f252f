"""Quotes and refusals drawn beside the columns that they stand in, whatever their sense."""

from datetime import date
from decimal import Decimal

from hypothesis import strategies as st

from loomwright.batch.quote import Amounts, Quote, QuotedCircuit, Refusal
from loomwright.jobs.priced_job import VERDICTS

CURRENCY = "EUR"
# With all that CSV, JSON or a spreadsheet might stumble over.
texts = st.text(
    st.sampled_from(list("ab07 =+-@'\",;|\\\t\r\n\0\u00a0\u00e4\u2028\uff1d\U0001f600")),
    max_size=12,
) | st.sampled_from(("=1+2", "007", "a;=b", '"', "null", "true", "\ufeffx"))
money = st.decimals(-(10**9), 10**9, places=2)
figures = st.none() | st.floats(allow_nan=False, allow_infinity=False)

circuits = st.builds(
    QuotedCircuit,
    key=texts,
    verdict=st.sampled_from(("sized", "no_conductor")),
    conductor=st.none() | texts,
    fuse_type=st.none() | texts,
    rated_current_a=figures,
)
amounts = st.builds(
    Amounts, **dict.fromkeys(Amounts._fields, money) | {"deposit": st.none() | money}
)
quotes = st.builds(
    Quote,
    verdict=st.sampled_from(VERDICTS),
    circuits=st.lists(circuits, max_size=3).map(tuple),
    load_current_a=figures.filter(lambda value: value is not None),
    voltage_drop_percent=figures,
    conductor_temperature_c=figures,
    amounts=amounts,
    labour_hours=st.decimals(0, 1000, places=6),
    unpriced=st.integers(0, 1000),
    valid_until=st.none() | st.dates(date(2000, 1, 1)),
)
refusals = st.builds(Refusal, code=st.just("invalid_pair"), detail=texts)
# Keys of package and vehicle with the answer.
pairs = st.lists(st.tuples(texts, texts, quotes | refusals), max_size=5)


def total_of(answer: Quote | Refusal) -> Decimal | None:
    """The total that counts in a summary."""
    if isinstance(answer, Refusal) or answer.verdict != "complete":
        return None
    return answer.amounts.total
