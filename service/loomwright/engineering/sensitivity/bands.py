"""Results and choice at the ends of tolerances: one input at a time, combined, and all adverse.

The calculation itself is asked again with each changed input, so that no formula stands here twice
and a step, as from one size to the next, is found where it is. Inputs are taken as independent.
"""

import math
from collections.abc import Callable, Mapping, Sequence

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.record import record
from loomwright.tables.records import Provenance
from loomwright.tables.tolerance_records import Tolerance

# What differs from the stated case by less is rounding, and no effect of an input.
ROUNDING = 1e-10
UNCERTAINTY = Provenance("jcgm_100", "4.3.7, 4.3.8 and 5.1.2, equation (10)", "memory")


@record
class TolerancedInput:
    """An input with the ends of its tolerance, all in one coherent unit.

    ``has_zero`` says whether the scale has a zero, so that a share of the input means something; a
    temperature has none here. ``provenance`` is that of the tolerance, ``None`` where the request
    states it.
    """

    name: str
    nominal: float
    low: float
    high: float
    has_zero: bool
    provenance: Provenance | None


@record
class Outcome:
    """What one calculation gives.

    ``results`` are numbers, NaN where the model has none. ``choice`` starts with the verdict.
    ``strain`` orders outcomes from easy to hard: the requirement nearest to its limit first, each
    as what is asked over what is allowed [1].
    """

    results: tuple[float, ...]
    choice: tuple[str | float | None, ...]
    strain: tuple[float, ...]


Evaluate = Callable[[Mapping[str, float]], Outcome]


@record
class InputSensitivity:
    """One input: both outcomes, and what the input does to each result.

    ``changes_by_one_percent`` are in the units of the results, for those that have no zero.
    """

    given: TolerancedInput
    at_low: Outcome
    at_high: Outcome
    elasticities: tuple[float, ...]
    changes_by_one_percent: tuple[float, ...]
    standard_uncertainties: tuple[float, ...]
    choice_changes: bool


@record
class ResultBand:
    """One result: as stated, least and greatest over the tolerances, combined uncertainty."""

    nominal: float
    low: float
    high: float
    standard_uncertainty: float


@record
class Sensitivity:
    """All inputs, the band of each result, and the outcome with every input adverse."""

    nominal: Outcome
    inputs: tuple[InputSensitivity, ...]
    bands: tuple[ResultBand, ...]
    worst_case: Outcome
    choice_changes: bool


def toleranced_input(
    name: str, nominal: float, tolerance: Tolerance, greatest: float = math.inf
) -> TolerancedInput:
    """Return an input with the ends of a tolerance.

    Parameters
    ----------
    name
        Of the input.
    nominal
        As stated, in a coherent unit, above 0.
    tolerance
        Share of it below and above [1], or difference of temperature [K].
    greatest
        Beyond which no such input lies, in the same unit.

    Returns
    -------
    TolerancedInput
        With both ends.
    """
    step = nominal if tolerance.is_share else 1.0
    return TolerancedInput(
        name=name,
        nominal=nominal,
        low=nominal - step * tolerance.below,
        high=min(nominal + step * tolerance.above, greatest),
        has_zero=tolerance.is_share,
        provenance=tolerance.provenance,
    )


def rectangular_standard_uncertainty(low: float, high: float) -> float:
    """Return the standard uncertainty of a value that may lie anywhere between two ends.

    Every value between the ends is equally likely, and none lies beyond them. The ends need not lie
    alike around the stated value.

    Parameters
    ----------
    low
        One end, in any unit.
    high
        The other end, in the same unit.

    Returns
    -------
    float
        Standard deviation in that unit, 0 or more.

    Notes
    -----
    ``a / sqrt(3)`` with half the width ``a``, which is ``(high - low) / sqrt(12)``.

    References
    ----------
    JCGM 100:2008, 4.3.7, equation (7), and 4.3.8, equation (9b).
    """
    return abs(high - low) / math.sqrt(12.0)


def combined_standard_uncertainty(contributions: Sequence[float]) -> float:
    """Return the standard uncertainty of a result from those that each input brings about.

    Inputs are independent, and the result is straight enough between the ends of each.

    Parameters
    ----------
    contributions
        Standard uncertainty of the result by each input alone, in any one unit.

    Returns
    -------
    float
        Root of the sum of squares in that unit; 0 for no input.

    References
    ----------
    JCGM 100:2008, 5.1.2, equation (10); each contribution by the difference of the result at both
    ends, as in 5.1.3, note 2.
    """
    return math.hypot(*contributions)


def change_for_itself(given: TolerancedInput, low_result: float, high_result: float) -> float:
    """Return the change of a result for the whole of an input, on the slope over its tolerance.

    Between both ends of the tolerance, hence a mean slope where the result is curved.

    Parameters
    ----------
    given
        The input with its ends.
    low_result
        Result at the low end of the input, in any unit.
    high_result
        Result at the high end of the input, in the same unit.

    Returns
    -------
    float
        In that unit; a hundredth of it is the change for one percent, and it over the result is the
        elasticity. NaN where the input has no zero to be relative to, or no tolerance.

    Notes
    -----
    ``x (y_high - y_low) / (x_high - x_low)``.
    """
    width = given.high - given.low
    if not given.has_zero or width == 0.0:
        return math.nan
    return given.nominal * (high_result - low_result) / width


def sensitivity_of(inputs: Sequence[TolerancedInput], evaluate: Evaluate) -> Sensitivity:
    """Return what the tolerances of some inputs do to results and choice.

    Parameters
    ----------
    inputs
        With both ends, independent of each other.
    evaluate
        Gives the outcome with some inputs, by name, at other values.

    Returns
    -------
    Sensitivity
        A calculation beyond its models gives its error's code as verdict and NaN as results.

    Raises
    ------
    EngineeringError
        As stated, without any change, the calculation fails already.

    Notes
    -----
    Worst case: each input at the end that brings the requirement nearest to its limit nearer. Band:
    over the stated inputs, each end alone, and all ends together that raise, or lower, the result;
    that is exact where the result rises or falls steadily in each input whatever the others are.
    """
    nominal = evaluate({})
    once = _kept(evaluate, nominal)
    rows = tuple(_row(given, nominal, once) for given in inputs)
    worst = once(_ends(rows, lambda outcome: outcome.strain))
    return Sensitivity(
        nominal=nominal,
        inputs=rows,
        bands=tuple(_band(place, nominal, rows, once) for place in range(len(nominal.results))),
        worst_case=worst,
        choice_changes=worst.choice != nominal.choice or any(row.choice_changes for row in rows),
    )


def _kept(evaluate: Evaluate, nominal: Outcome) -> Evaluate:
    """Return a calculation that answers the same changes once, and an error by its code."""
    known: dict[tuple[tuple[str, float], ...], Outcome] = {(): nominal}

    def once(changes: Mapping[str, float]) -> Outcome:
        key = tuple(changes.items())
        if key not in known:
            try:
                known[key] = _without_rounding(evaluate(changes), nominal)
            except EngineeringError as error:
                # Beyond the models nothing is chosen, and nothing is harder to meet.
                known[key] = Outcome(
                    results=(math.nan,) * len(nominal.results),
                    choice=(error.code, *(None for _ in nominal.choice[1:])),
                    strain=(math.inf,),
                )
        return known[key]

    return once


def _without_rounding(outcome: Outcome, nominal: Outcome) -> Outcome:
    """Return an outcome with the stated numbers where they differ by rounding alone.

    Rounding must not say which end of an input is the harder one.
    """

    def settled(values: tuple[float, ...], stated: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(
            told if math.isclose(value, told, rel_tol=ROUNDING) else value
            for value, told in zip(values, stated, strict=True)
        )

    return Outcome(
        results=settled(outcome.results, nominal.results),
        choice=outcome.choice,
        strain=settled(outcome.strain, nominal.strain),
    )


def _row(given: TolerancedInput, nominal: Outcome, evaluate: Evaluate) -> InputSensitivity:
    low = nominal if given.low == given.nominal else evaluate({given.name: given.low})
    high = nominal if given.high == given.nominal else evaluate({given.name: given.high})
    ends = tuple(zip(low.results, high.results, strict=True))
    changes = tuple(change_for_itself(given, *both) for both in ends)
    return InputSensitivity(
        given=given,
        at_low=low,
        at_high=high,
        elasticities=tuple(
            change / result if result else math.nan
            for change, result in zip(changes, nominal.results, strict=True)
        ),
        changes_by_one_percent=tuple(0.01 * change for change in changes),
        standard_uncertainties=tuple(rectangular_standard_uncertainty(*both) for both in ends),
        choice_changes=not low.choice == nominal.choice == high.choice,
    )


def _ends(
    rows: Sequence[InputSensitivity], hardness: Callable[[Outcome], tuple[float, ...]]
) -> dict[str, float]:
    """Return each input at its harder end; one that makes no difference stays as stated."""
    ends = {}
    for row in rows:
        at_low, at_high = hardness(row.at_low), hardness(row.at_high)
        if at_low != at_high:
            ends[row.given.name] = row.given.high if at_high > at_low else row.given.low
    return ends


def _band(
    place: int, nominal: Outcome, rows: Sequence[InputSensitivity], evaluate: Evaluate
) -> ResultBand:
    combined = combined_standard_uncertainty([row.standard_uncertainties[place] for row in rows])
    corners = (
        evaluate(_ends(rows, lambda outcome: (-outcome.results[place],))),
        evaluate(_ends(rows, lambda outcome: (outcome.results[place],))),
    )
    alone = [outcome for row in rows for outcome in (row.at_low, row.at_high)]
    found = [outcome.results[place] for outcome in (nominal, *alone, *corners)]
    # A band of which an end is beyond the models has no known end there.
    known = not any(math.isnan(value) for value in found)
    return ResultBand(
        nominal=nominal.results[place],
        low=min(found) if known else math.nan,
        high=max(found) if known else math.nan,
        standard_uncertainty=combined,
    )
