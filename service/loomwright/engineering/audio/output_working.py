"""The working of an output estimate, step by step."""

from collections.abc import Iterator

from loomwright.engineering.audio.amplifiers import (
    CTA_2006_LOAD_IMPEDANCE_OHM,
    CTA_2006_SUPPLY_VOLTAGE_V,
)
from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.audio.output_request import OutputRequest, source_of_request
from loomwright.engineering.working import WorkingStep, seven_digits

STEADY_SINE = "Ohm's law, steady sine"


def output_working(request: OutputRequest, estimate: OutputEstimate) -> tuple[WorkingStep, ...]:
    """Return the working of one estimate.

    For a request of plain numbers; an estimate of arrays has no single working.

    Parameters
    ----------
    request
        What was asked.
    estimate
        The answer to it.

    Returns
    -------
    tuple of WorkingStep
        In the order in which a technician would follow them.
    """
    return (
        *_limit_steps(request, estimate),
        *_claim_steps(estimate),
        *_draw_steps(request, estimate),
        *_use_steps(request, estimate),
    )


def _limit_steps(request: OutputRequest, estimate: OutputEstimate) -> Iterator[WorkingStep]:
    emf, resistance = source_of_request(request)
    kind = request.amplifier_class
    loading = {"F_a": seven_digits(estimate.fuse_rating_total_a), "E_v": seven_digits(emf)}
    yield WorkingStep(
        text="Input at the summed fuse rating, or the greatest power of source and route",
        formula="min(F, E / (2 x R)) x (E - min(F, E / (2 x R)) x R)" if resistance else "F x E",
        inputs={**loading, **({"R_ohm": seven_digits(resistance)} if resistance else {})},
        result=seven_digits(estimate.input_ceiling_w),
        unit="W",
        source="power balance; ISO 8820-3: rated current for good",
    )
    if estimate.likely_bound in ("fuse_and_efficiency", "supply_and_efficiency"):
        current = "min(k x F, E / (2 x R))" if resistance else "k x F"
        yield WorkingStep(
            text="Likely output: the fuse loaded as makers usually load it, times the efficiency",
            formula=f"eta x {current} x (E - {current} x R)" if resistance else "eta x k x F x E",
            inputs={
                **loading,
                "k": kind.fuse_loading_likely,
                "eta": seven_digits(estimate.efficiency_likely),
                **({"R_ohm": seven_digits(resistance)} if resistance else {}),
            },
            result=seven_digits(estimate.output_likely_w),
            unit="W",
            source=kind.practice_provenance.source,
        )
    if estimate.likely_bound == "rail_voltage":
        yield WorkingStep(
            text="Likely output of all channels: the supply as a rail, used to a usual share",
            formula="n x (u x U)^2 / (s x Z)",
            inputs={
                "n": seven_digits(request.channels),
                "u": kind.rail_utilisation_likely,
                "U_v": seven_digits(estimate.supply_voltage_v),
                "s": 2.0 if request.bridged else 8.0,
                "Z_ohm": seven_digits(request.load_impedance_ohm),
            },
            result=seven_digits(estimate.output_likely_w),
            unit="W",
            source=STEADY_SINE,
        )


def _claim_steps(estimate: OutputEstimate) -> Iterator[WorkingStep]:
    if estimate.claimed_output_here_w is None or estimate.claim_above_likely_db is None:
        return
    yield WorkingStep(
        text="Claim at these conditions over likely output",
        formula="10 x log10(C / P)",
        inputs={
            "C_w": seven_digits(estimate.claimed_output_here_w),
            "P_w": seven_digits(estimate.output_likely_w),
        },
        result=seven_digits(estimate.claim_above_likely_db),
        unit="dB",
        source="IEC 60027-3",
    )


def _draw_steps(request: OutputRequest, estimate: OutputEstimate) -> Iterator[WorkingStep]:
    emf, resistance = source_of_request(request)
    full = seven_digits(estimate.output_likely_w)
    yield WorkingStep(
        text="Power drawn on a full sine",
        formula="P / eta",
        inputs={"P_w": full, "eta": seven_digits(estimate.efficiency_likely)},
        result=seven_digits(estimate.full_sine_input_w),
        unit="W",
        source="definition of the efficiency",
    )
    yield WorkingStep(
        text="Mean power of the programme over that of the full sine",
        formula="10^((3.0103 - CF) / 10)",
        inputs={"CF_db": seven_digits(estimate.crest_factor_db)},
        result=seven_digits(estimate.programme_power_fraction),
        unit="1",
        source="definition of the crest factor",
    )
    model = estimate.loss_model
    yield WorkingStep(
        text="Power drawn on the programme, idle draw included, by the loss model",
        formula="P x (i + a x f^0.5 + (1 + b) x f)",
        inputs={
            "P_w": full,
            "i": seven_digits(model.idle),
            "a": seven_digits(model.square_root),
            "b": seven_digits(model.proportional),
            "f": seven_digits(estimate.programme_power_fraction),
        },
        result=seven_digits(estimate.programme_input_w),
        unit="W",
        source=request.amplifier_class.practice_provenance.source,
    )
    for text, power, current in (
        ("a full sine", estimate.full_sine_input_w, estimate.full_sine_current_a),
        ("the programme", estimate.programme_input_w, estimate.programme_current_a),
    ):
        yield WorkingStep(
            text=f"Supply current on {text}",
            formula="2 x P / (E + (E^2 - 4 x R x P)^0.5)" if resistance else "P / E",
            inputs={
                "P_w": seven_digits(power),
                "E_v": seven_digits(emf),
                **({"R_ohm": seven_digits(resistance)} if resistance else {}),
            },
            result=seven_digits(current),
            unit="A",
            source="Ohm's law; stable root of P = (E - I R) I",
        )
    for text, power, output, heat in (
        ("a full sine", estimate.full_sine_input_w, full, estimate.full_sine_heat_w),
        (
            "the programme",
            estimate.programme_input_w,
            estimate.programme_output_w,
            estimate.programme_heat_w,
        ),
    ):
        yield WorkingStep(
            text=f"Heat on {text}",
            formula="Pin - Pout",
            inputs={"Pin_w": seven_digits(power), "Pout_w": seven_digits(output)},
            result=seven_digits(heat),
            unit="W",
            source="power balance",
        )


def _use_steps(request: OutputRequest, estimate: OutputEstimate) -> Iterator[WorkingStep]:
    per_channel = seven_digits(estimate.output_likely_per_channel_w)
    yield WorkingStep(
        text="Voltage across one load when the gain is set",
        formula="(P x Z)^0.5",
        inputs={"P_w": per_channel, "Z_ohm": seven_digits(request.load_impedance_ohm)},
        result=seven_digits(estimate.gain_setting_voltage_v),
        unit="V",
        source=STEADY_SINE,
    )
    if estimate.cta_2006_bound == "rail_voltage":
        follows = request.converter != "regulated"
        yield WorkingStep(
            text="Output of one channel at 14.4 V into 4 ohm at the same clipping",
            formula="P x (Uref / U)^2 x Z / Zref" if follows else "P x Z / Zref",
            inputs={
                "P_w": per_channel,
                **(
                    {
                        "Uref_v": CTA_2006_SUPPLY_VOLTAGE_V,
                        "U_v": seven_digits(estimate.supply_voltage_v),
                    }
                    if follows
                    else {}
                ),
                "Z_ohm": seven_digits(request.load_impedance_ohm),
                "Zref_ohm": CTA_2006_LOAD_IMPEDANCE_OHM,
            },
            result=seven_digits(estimate.cta_2006_output_per_channel_w),
            unit="W",
            source="cta_2006",
        )
    else:
        yield WorkingStep(
            text="Output of one channel at 14.4 V, held by the fuse",
            formula="eta x k x F x Uref / n",
            inputs={
                "eta": seven_digits(estimate.efficiency_likely),
                "k": request.amplifier_class.fuse_loading_likely,
                "F_a": seven_digits(estimate.fuse_rating_total_a),
                "Uref_v": CTA_2006_SUPPLY_VOLTAGE_V,
                "n": seven_digits(request.channels),
            },
            result=seven_digits(estimate.cta_2006_output_per_channel_w),
            unit="W",
            source="cta_2006",
        )
    if estimate.sound_pressure_level_db is not None:
        assert request.loudspeaker_sensitivity_db is not None  # the level rests on it
        yield WorkingStep(
            text="Sound pressure level on a full sine in a free field",
            formula="S + 10 x log10(P) - 20 x log10(d)",
            inputs={
                "S_db": seven_digits(request.loudspeaker_sensitivity_db),
                "P_w": seven_digits(estimate.output_likely_w),
                "d_m": seven_digits(request.listening_distance_m),
            },
            result=seven_digits(estimate.sound_pressure_level_db),
            unit="dB",
            source="IEC 60268-5 characteristic sensitivity; spherical spreading",
        )
