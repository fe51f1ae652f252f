"""Sensitivity of the output estimate: its outcome, and the bands that its class brings along."""

from collections.abc import Mapping
from dataclasses import replace

from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.audio.output_request import OutputRequest, efficiencies_of_request
from loomwright.engineering.sensitivity.bands import Outcome, TolerancedInput

ESTIMATED = "output_estimated"
EFFICIENCY = "efficiency"
FUSE_LOADING = "fuse_loading"
RAIL_UTILISATION = "rail_utilisation"


def output_outcome(estimate: OutputEstimate) -> Outcome:
    """Return the outcome of one estimate, of single numbers.

    Parameters
    ----------
    estimate
        Of ``output_estimate``.

    Returns
    -------
    Outcome
        Result: likely output [W]. Choice: verdict on the claim. Strain: claim over high output
        where there is a claim, then less likely output.
    """
    likely = float(estimate.output_likely_w)
    claim = estimate.claimed_output_here_w
    strain = (-likely,) if claim is None else (float(claim / estimate.output_high_w), -likely)
    return Outcome(
        results=(likely,),
        choice=(ESTIMATED if estimate.claim_verdict is None else str(estimate.claim_verdict),),
        strain=strain,
    )


def class_inputs(request: OutputRequest) -> list[TolerancedInput]:
    """Return what the class of the amplifier gives as a band, between its own ends.

    The verdict takes the high ends of these bands already; the likely output rests on their middle.

    Parameters
    ----------
    request
        Of single numbers.

    Returns
    -------
    list of TolerancedInput
        Efficiency unless it was measured, fuse loading up to the rated current, and without a
        converter the rail utilisation.
    """
    kind = request.amplifier_class
    bands = []
    if request.measured_efficiency is None:
        low, likely, high, _ = map(float, efficiencies_of_request(request))
        bands.append((EFFICIENCY, low, likely, high, kind.provenance))
    bands.append(
        (
            FUSE_LOADING,
            kind.fuse_loading_low,
            kind.fuse_loading_likely,
            1.0,
            kind.practice_provenance,
        )
    )
    if request.converter == "none":
        bands.append(
            (
                RAIL_UTILISATION,
                kind.rail_utilisation_low,
                kind.rail_utilisation_likely,
                kind.rail_utilisation_high,
                kind.practice_provenance,
            )
        )
    return [
        TolerancedInput(name, likely, low, high, True, provenance)
        for name, low, likely, high, provenance in bands
    ]


def with_class_inputs(request: OutputRequest, changes: Mapping[str, float]) -> OutputRequest:
    """Return a request with other values of what its class gives, others left out of account.

    Parameters
    ----------
    request
        Of single numbers.
    changes
        By name of the input.

    Returns
    -------
    OutputRequest
        Whose likely output rests on them; low, high and limit stay.
    """
    kind = request.amplifier_class
    return replace(
        request,
        likely_efficiency=changes.get(EFFICIENCY),
        amplifier_class=replace(
            kind,
            fuse_loading_likely=changes.get(FUSE_LOADING, kind.fuse_loading_likely),
            rail_utilisation_likely=changes.get(RAIL_UTILISATION, kind.rail_utilisation_likely),
        ),
    )
