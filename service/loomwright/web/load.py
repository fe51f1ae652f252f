"""The operation match-load-impedance."""

from functools import lru_cache
from typing import Any

import orjson
from flask import Blueprint

from loomwright.engineering.audio.driver_wiring import notation_of, words_of
from loomwright.engineering.audio.load_fault import (
    CoilFault,
    faults_by_effect,
    least_load_with_a_short_ohm,
    worst_open_coil,
)
from loomwright.engineering.audio.load_match import (
    JudgedLoad,
    LoadMatch,
    Wiring,
    dc_resistances_ohm,
    faults_of,
    is_load_permitted,
    load_match,
    output_after,
)
from loomwright.engineering.audio.load_request import LoadDriver, LoadMatchRequest
from loomwright.engineering.audio.load_words import BASES, VERDICTS
from loomwright.engineering.audio.load_working import load_working
from loomwright.engineering.audio.stated_output import StatedOutput
from loomwright.figures import six_digits
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance
from loomwright.web.answers import ENGINE_VERSION, cautions_of, sources_of, working_of
from loomwright.web.calculators import calculator
from loomwright.web.route import request_fields
from loomwright.web.schemas.load import MatchLoadImpedanceRequest

blueprint = Blueprint("load", __name__)


@calculator(blueprint, "match-load-impedance", MatchLoadImpedanceRequest())
def match_load_impedance_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of match-load-impedance to loaded values."""
    # The engineering names no field but drivers, which the request has too.
    with request_fields(values, {}):
        match = load_match(load_request(values))
    return load_document(values, match)


def load_request(values: dict[str, Any]) -> LoadMatchRequest:
    """Return the engineering request of loaded values.

    Parameters
    ----------
    values
        Loaded under ``MatchLoadImpedanceRequest``.

    Returns
    -------
    LoadMatchRequest
        In coherent SI.
    """
    return LoadMatchRequest(
        drivers=tuple(
            LoadDriver(
                quantity=entry["quantity"],
                coils=entry["voice_coils"],
                coil_impedance_ohm=entry["coil_impedance"],
                coil_dc_resistance_ohm=entry.get("coil_dc_resistance"),
                power_limit_w=entry.get("power_limit"),
            )
            for entry in values["drivers"]
        ),
        least_load_impedance_ohm=values["least_load_impedance"],
        least_bridged_load_impedance_ohm=values.get("least_load_impedance_bridged"),
        bridged=values["bridged"],
        channels=values["channels"],
        outputs=tuple(
            StatedOutput(entry["load_impedance"], entry["output"], entry["bridged"])
            for entry in values.get("outputs", ())
        ),
        coils_of_a_driver_together=values["coils_of_a_driver_together"],
    )


def load_document(values: dict[str, Any], match: LoadMatch) -> dict[str, Any]:
    """Return the answer of match-load-impedance as a JSON document.

    Parameters
    ----------
    values
        Loaded request.
    match
        The engineering answer.

    Returns
    -------
    dict
        As the schema ``MatchLoadImpedanceAnswer`` describes.
    """
    load, best = match.load, match.recommended
    names = tuple(coil.name for coil in load.coils)
    document: dict[str, Any] = {
        "verdict": match.verdict,
        "reason": VERDICTS[match.verdict],
        "least_load_impedance_ohm": six_digits(load.least_load_impedance_ohm),
        "coil_count": len(load.coils),
        "wiring_count": len(match.wirings),
        "within_limits_count": sum(wiring.verdict == "within_limits" for wiring in match.wirings),
        "drivers": [
            {
                "name": driver.name,
                "entry": driver.entry,
                "coils": [names[place] for place in driver.coils],
                "coil_impedance_ohm": six_digits(driver.of.coil_impedance_ohm),
                "power_limit_w": six_digits(driver.of.power_limit_w),
            }
            for driver in load.drivers
        ],
        "recommended": None if best is None else _recommended(best, load, names),
        "wirings": [
            _wiring(wiring, load, names) for wiring in match.wirings[: values["greatest_listed"]]
        ],
        "cautions": cautions_of(match.cautions),
        "sources": _sources(match.provenances),
        "engine_version": ENGINE_VERSION,
    }
    if values["explain"]:
        document["working"] = working_of(load_working(match))
    return document


def _wiring(wiring: Wiring, load: JudgedLoad, names: tuple[str, ...]) -> dict[str, Any]:
    impedance = wiring.power.impedance_ohm
    low, high = dc_resistances_ohm(wiring.network, load)
    faults = faults_of(wiring, load)
    worst, least = worst_open_coil(faults), least_load_with_a_short_ohm(faults)
    return {
        "notation": notation_of(wiring.network, names),
        "words": words_of(wiring.network, names),
        "verdict": wiring.verdict,
        "load_impedance_ohm": six_digits(impedance),
        "channel_load_impedance_ohm": six_digits(impedance / 2.0 if load.bridged else impedance),
        "output_w": six_digits(wiring.output_w),
        "output_basis": wiring.output_basis,
        "power_limit_w": six_digits(wiring.power_limit_w),
        "equal_per_driver": wiring.equal_per_driver,
        "equal_per_coil": wiring.equal_per_coil,
        "least_driver_power_share": six_digits(min(wiring.driver_shares)),
        "greatest_driver_power_share": six_digits(max(wiring.driver_shares)),
        "overloaded_drivers": wiring.overloaded,
        "dc_resistance_low_ohm": six_digits(low),
        "dc_resistance_high_ohm": six_digits(high),
        "open_coil": {
            "silent_coils": worst.silent_coils,
            "greatest_load_impedance_ohm": six_digits(worst.greatest_load_impedance_ohm),
            "power_change_db": six_digits(worst.power_change_db),
            "coil_power_rise_db": six_digits(worst.coil_power_rise_db),
        },
        "shorted_coil": {
            "least_load_impedance_ohm": six_digits(least),
            "is_load_permitted": is_load_permitted(least, load),
        },
    }


def _recommended(wiring: Wiring, load: JudgedLoad, names: tuple[str, ...]) -> dict[str, Any]:
    output = wiring.output_w
    shares = wiring.power.shares
    return {
        **_wiring(wiring, load, names),
        "output_reason": None if wiring.output_basis is None else BASES[wiring.output_basis],
        "total_output_w": None if output is None else six_digits(load.channels * output),
        "drivers": [
            {
                "name": driver.name,
                "power_share": six_digits(share),
                "power_w": None if output is None else six_digits(share * output),
                "power_limit_w": six_digits(driver.of.power_limit_w),
            }
            for driver, share in zip(load.drivers, wiring.driver_shares, strict=True)
        ],
        "coils": [
            {
                "name": name,
                "power_share": six_digits(shares[place]),
                "power_w": None if output is None else six_digits(shares[place] * output),
            }
            for place, name in enumerate(names)
        ],
        "faults": [
            _fault(cases, load, names) for cases in faults_by_effect(faults_of(wiring, load))
        ],
    }


def _fault(cases: list[CoilFault], load: JudgedLoad, names: tuple[str, ...]) -> dict[str, Any]:
    case = cases[0]
    left = case.load_impedance_ohm
    # Where nothing plays, an ohm-meter shows a short or nothing.
    low = high = left
    if case.left is not None:
        low, high = dc_resistances_ohm(case.left, load)
    output, overloaded = output_after(case, load)
    return {
        "fault": case.fault,
        "coils": [names[each.coil] for each in cases],
        "silent_coils": [names[place] for place in case.silent_coils],
        "load_impedance_ohm": six_digits(left),
        "is_load_permitted": is_load_permitted(left, load),
        "output_w": six_digits(output),
        "overloaded_drivers": overloaded,
        "power_change_db": six_digits(case.power_change_db),
        "coil_power_rise_db": six_digits(case.coil_power_rise_db),
        "dc_resistance_low_ohm": six_digits(low),
        "dc_resistance_high_ohm": six_digits(high),
    }


@lru_cache(maxsize=16)
def _sources(provenances: tuple[Provenance, ...]) -> orjson.Fragment:
    return sources_of(provenances, tables())
