"""Whether a reading agrees with what was expected."""

from loomwright.engineering.measurement.expected import Expectation

PASS, DOUBTFUL, FAIL = "pass", "doubtful", "fail"
NOTHING_MEASURED = "nothing_measured"
# Of the half-width of the 95 % interval: 3.2905 over 1.9600, which is 99.9 % of a normal one.
DOUBTFUL_UP_TO = 1.6789


def normalised_error(reading: float, expectation: Expectation) -> float:
    """Return how far a reading lies off, in half-widths of the interval on its side.

    Parameters
    ----------
    reading
        In the unit of the expectation.
    expectation
        With an interval that holds its mean.

    Returns
    -------
    float
        -1 at the lower limit, 0 as expected, 1 at the upper limit.

    References
    ----------
    The E_n of ISO 13528:2022, 9.7, from memory, with the interval's own half-width on each side.
    """
    off = reading - expectation.expected
    side = expectation.high if off > 0.0 else expectation.low
    return off / abs(side - expectation.expected)


def verdict_of(error: float, *, only_above: bool = False) -> str:
    """Return the verdict on a normalised error.

    Parameters
    ----------
    error
        Normalised error [1].
    only_above
        Whether a reading below what was expected is as good.

    Returns
    -------
    str
        ``pass`` within the 95 % interval; ``doubtful`` up to 1.68 times as far, which is 99.9 % of
        a normal distribution; ``fail`` beyond.
    """
    far = error if only_above else abs(error)
    if far <= 1.0:
        return PASS
    return DOUBTFUL if far <= DOUBTFUL_UP_TO else FAIL


def overall_verdict(verdicts: list[str]) -> str:
    """Return the worst of verdicts, ``nothing_measured`` for none."""
    for verdict in (FAIL, DOUBTFUL, PASS):
        if verdict in verdicts:
            return verdict
    return NOTHING_MEASURED
