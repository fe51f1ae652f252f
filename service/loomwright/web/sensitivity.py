"""Sensitivity of the calculators: changed requests, asked again, as a JSON document.

A changed input is put into the loaded request, which is then converted and calculated as ever: what
stands at an end of a tolerance is the answer to the request with that input.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import OutputRequest
from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.protection.fuse_answer import FuseAnswer
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.record import record
from loomwright.engineering.sensitivity.bands import (
    UNCERTAINTY,
    InputSensitivity,
    Outcome,
    Sensitivity,
    TolerancedInput,
    sensitivity_of,
    toleranced_input,
)
from loomwright.engineering.sensitivity.conductors import (
    CONDUCTOR_RESISTANCE,
    chosen_candidate,
    conductor_outcome,
    conductor_resistance_tolerance,
    tables_with_resistance,
)
from loomwright.engineering.sensitivity.fuses import fuse_outcome, watched_type
from loomwright.engineering.sensitivity.outputs import (
    class_inputs,
    output_outcome,
    with_class_inputs,
)
from loomwright.figures import KELVIN_AT_0_C, six_digits
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.records import Tables
from loomwright.tables.tolerance_load import tolerances
from loomwright.tables.tolerance_records import Tolerance
from loomwright.web.answers import sources_of
from loomwright.web.route import segments_of
from loomwright.web.schemas.sensitivity import (
    CELSIUS,
    CONDUCTOR_INPUTS,
    FUSE_INPUTS,
    OUTPUT_INPUTS,
)

Values = dict[str, Any]


@record
class _Form:
    """Names of results, with their units, and of the parts of the choice in one operation."""

    units: Mapping[str, str]
    results: tuple[tuple[str, str], ...]
    choice: tuple[str, ...]


CONDUCTOR_FORM = _Form(
    units=CONDUCTOR_INPUTS,
    results=(("voltage_drop", "V"), ("conductor_temperature", CELSIUS)),
    choice=("verdict", "size", "parallel_runs"),
)
FUSE_FORM = _Form(
    units=FUSE_INPUTS,
    results=(("lower", "A"), ("upper", "A"), ("far_end_fault", "A"), ("near_source_fault", "A")),
    choice=("verdict", "fuse_type", "rated_current_a"),
)
OUTPUT_FORM = _Form(units=OUTPUT_INPUTS, results=(("likely_output", "W"),), choice=("verdict",))


def conductor_sensitivity(
    values: Values,
    answer: ConductorAnswer,
    known: Tables,
    ask: Callable[[Values, Tables], ConductorRequest],
) -> dict[str, Any]:
    """Return the sensitivity of an answer of size-conductor as a JSON document.

    Parameters
    ----------
    values
        Loaded request.
    answer
        Its answer.
    known
        The tables.
    ask
        Makes the engineering request of loaded values.

    Returns
    -------
    dict
        As the schema ``ConductorSensitivityAnswer`` describes.
    """
    watched = chosen_candidate(answer)
    cable = _cable(values, known)

    def evaluate(changes: Mapping[str, float]) -> Outcome:
        asked = ask(changed_values(values, changes, known), others := cable(changes))
        return conductor_outcome(size_conductor(asked, others), watched)

    inputs = _stated_inputs(CONDUCTOR_INPUTS, _conductor_nominals(values, known), values, known)
    return _document(CONDUCTOR_FORM, sensitivity_of(inputs, evaluate), known)


def fuse_sensitivity(
    values: Values,
    answer: FuseAnswer,
    known: Tables,
    ask: Callable[[Values, Tables], FuseRequest],
) -> dict[str, Any]:
    """Return the sensitivity of an answer of size-fuse as a JSON document.

    Parameters
    ----------
    values
        Loaded request.
    answer
        Its answer.
    known
        The tables.
    ask
        Makes the engineering request of loaded values.

    Returns
    -------
    dict
        As the schema ``FuseSensitivityAnswer`` describes.
    """
    watched = watched_type(answer)
    cable = _cable(values, known)

    def evaluate(changes: Mapping[str, float]) -> Outcome:
        asked = ask(changed_values(values, changes, known), cable(changes))
        return fuse_outcome(size_fuse(asked, fuse_tables()), watched)

    nominals = _conductor_nominals(values, known)
    if "fuse_zone" in values:
        # Where neither is stated, the air around the fuse follows the route.
        zone = known.zones[values["fuse_zone"]]
        nominals = {"fuse_ambient_temperature": zone.ambient_temperature_k} | nominals
    # A factor that the caller states is a choice of theirs, not an assumption.
    nominals["loading_factor"] = None if "loading_factor" in values else answer.loading_factor
    inputs = _stated_inputs(FUSE_INPUTS, nominals, values, known)
    return _document(FUSE_FORM, sensitivity_of(inputs, evaluate), known)


def output_sensitivity(
    values: Values, asked: OutputRequest, known: Tables, ask: Callable[[Values], OutputRequest]
) -> dict[str, Any]:
    """Return the sensitivity of an answer of estimate-real-output as a JSON document.

    Parameters
    ----------
    values
        Loaded request.
    asked
        The engineering request.
    known
        The tables.
    ask
        Makes the engineering request of loaded values.

    Returns
    -------
    dict
        As the schema ``OutputSensitivityAnswer`` describes.
    """

    def evaluate(changes: Mapping[str, float]) -> Outcome:
        changed = ask(changed_values(values, changes, known))
        return output_outcome(output_estimate(with_class_inputs(changed, changes)))

    own = _own_tolerances(values)
    stated = _stated_inputs(OUTPUT_INPUTS, values, values, known)
    classed = [
        entry
        if (tolerance := own.get(entry.name)) is None
        else toleranced_input(entry.name, entry.nominal, tolerance, 1.0)
        for entry in class_inputs(asked)
    ]
    return _document(OUTPUT_FORM, sensitivity_of([*stated, *classed], evaluate), known)


def changed_values(values: Values, changes: Mapping[str, float], known: Tables) -> Values:
    """Return a loaded request with some inputs at other values.

    Parameters
    ----------
    values
        Loaded request.
    changes
        Values in coherent SI by field; what is no field is left to others.
    known
        Holds the zones.

    Returns
    -------
    dict
        A route of several segments is stretched in proportion, and its ambients shift alike.
    """
    changed = {**values, **changes}
    if "route" in values and not changes.keys().isdisjoint(("length", "ambient_temperature")):
        segments = segments_of(values, known)
        length, ambient = _length_m(values, known), _ambient_k(values, known)
        share = changes.get("length", length) / length
        shift = changes.get("ambient_temperature", ambient) - ambient
        changed["route"] = [
            {
                **entry,
                "length": segment.length_m * share,
                "ambient_temperature": segment.ambient_temperature_k + shift,
            }
            for entry, segment in zip(values["route"], segments, strict=True)
        ]
    return changed


def _length_m(values: Values, known: Tables) -> float:
    return sum(segment.length_m for segment in segments_of(values, known))


def _ambient_k(values: Values, known: Tables) -> float:
    return max(segment.ambient_temperature_k for segment in segments_of(values, known))


def _cable(values: Values, known: Tables) -> Callable[[Mapping[str, float]], Tables]:
    """Return what gives the tables with the cable of the request at its changed resistance."""
    series, material = values["series"], known.materials[values["material"]]

    def changed(changes: Mapping[str, float]) -> Tables:
        share = changes.get(CONDUCTOR_RESISTANCE)
        return known if share is None else tables_with_resistance(known, series, material, share)

    return changed


def _conductor_nominals(values: Values, known: Tables) -> Values:
    """Return the inputs of a request about a conductor by name, in coherent SI."""
    nominals = {
        **values,
        "length": _length_m(values, known),
        "ambient_temperature": _ambient_k(values, known),
        CONDUCTOR_RESISTANCE: 1.0,
    }
    if values.get("joints") == 0:
        del nominals["joint_resistance"]
    return nominals


def _own_tolerances(values: Values) -> dict[str, Tolerance]:
    """Return the tolerances that the request states."""
    usual = tolerances()
    found = {}
    for entry in values.get("tolerances", ()):
        key = entry["input"]
        is_share = usual[key].is_share if key in usual else True
        width = entry["tolerance"] * (0.01 if is_share else 1.0)
        found[key] = Tolerance(key, is_share, width, width, None)
    return found


def _stated_inputs(
    names: Iterable[str], nominals: Mapping[str, Any], values: Values, known: Tables
) -> list[TolerancedInput]:
    """Return the inputs that the request has, but for those of nought, with their tolerances."""
    usual, own = tolerances(), _own_tolerances(values)
    found = []
    for name in names:
        nominal = nominals.get(name)
        if not nominal:
            continue
        tolerance = own.get(name)
        if tolerance is None:
            tolerance = (
                conductor_resistance_tolerance(
                    values["series"], known.materials[values["material"]], usual
                )
                if name == CONDUCTOR_RESISTANCE
                else usual[name]
            )
        greatest = 1.0 if name in ("loading_factor", "measured_efficiency") else math.inf
        found.append(toleranced_input(name, nominal, tolerance, greatest))
    return found


def _document(form: _Form, found: Sensitivity, known: Tables) -> dict[str, Any]:
    provenances = {UNCERTAINTY, *(row.given.provenance for row in found.inputs)} - {None}
    return {
        "results": [
            {
                "result": name,
                "unit": unit,
                "nominal": _in_unit(band.nominal, unit),
                "low": _in_unit(band.low, unit),
                "high": _in_unit(band.high, unit),
                "standard_uncertainty": _figure(band.standard_uncertainty),
            }
            for (name, unit), band in zip(form.results, found.bands, strict=True)
        ],
        "choice_changes": found.choice_changes,
        "inputs": [_input(form, row) for row in found.inputs],
        "worst_case": _outcome(form, found.worst_case),
        "sources": sources_of((row for row in provenances if row is not None), known),
    }


def _input(form: _Form, row: InputSensitivity) -> dict[str, Any]:
    given = row.given
    unit, provenance = form.units[given.name], given.provenance
    return {
        "input": given.name,
        "unit": unit,
        "nominal": _in_unit(given.nominal, unit),
        "low": _in_unit(given.low, unit),
        "high": _in_unit(given.high, unit),
        "source": None if provenance is None else provenance.source,
        "locator": None if provenance is None else provenance.locator,
        "choice_changes": row.choice_changes,
        "at_low": _outcome(form, row.at_low),
        "at_high": _outcome(form, row.at_high),
        **dict(_effects(form, row)),
    }


def _effects(form: _Form, row: InputSensitivity) -> Iterator[tuple[str, float | None]]:
    for place, (name, unit) in enumerate(form.results):
        suffix = "k" if unit == CELSIUS else unit.lower()
        if unit == CELSIUS:
            yield f"{name}_by_one_percent_k", _figure(row.changes_by_one_percent[place])
        else:
            yield f"{name}_elasticity", _figure(row.elasticities[place])
        uncertainty = _figure(row.standard_uncertainties[place])
        yield f"{name}_standard_uncertainty_{suffix}", uncertainty


def _outcome(form: _Form, outcome: Outcome) -> dict[str, Any]:
    numbers = {
        f"{name}_{'c' if unit == CELSIUS else unit.lower()}": _in_unit(value, unit)
        for (name, unit), value in zip(form.results, outcome.results, strict=True)
    }
    return {**numbers, **dict(zip(form.choice, outcome.choice, strict=True))}


def _in_unit(value: float, unit: str) -> float | None:
    return _figure(value - KELVIN_AT_0_C if unit == CELSIUS else value)


def _figure(value: float) -> float | None:
    return None if math.isnan(value) else six_digits(value)
