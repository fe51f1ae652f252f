"""The answer of an output estimate."""

from dataclasses import dataclass

from loomwright.engineering.audio.amplifiers import LossModel
from loomwright.engineering.elementwise import Key
from loomwright.engineering.network.operating_point import Number
from loomwright.tables.records import Provenance


@dataclass(frozen=True, slots=True)
class OutputEstimate:
    """The answer of ``output_estimate``; each number in the unit that ends its name.

    Outputs, inputs and heat are totals over all channels unless the name says ``per_channel``;
    figures of the draw, the heat, the gain and the level are at the likely output unless the name
    says otherwise. ``None`` stands where the request left out what the figure needs.

    Parameters
    ----------
    fuse_rating_total_a
        Fuses in the equipment, summed.
    supply_voltage_v
        At the amplifier on a full sine at the likely output.
    input_ceiling_w, input_ceiling_overload_w, input_ceiling_burst_w
        At the rated current (sustained sine), at 110 % of it (at least 100 h) and at 200 % of it
        (bursts shorter than 0.15 s).
    efficiency_low, efficiency_likely, efficiency_high, efficiency_limit
        At full sine output; the limit is the theoretical maximum, or the measured efficiency.
    output_low_w, output_likely_w, output_high_w
        Sustained sine at the onset of clipping.
    output_limit_w
        Above it a claim of sustained power is impossible.
    output_burst_w
        Sine-equivalent output in bursts shorter than 0.15 s on the programme.
    output_likely_per_channel_w
        Likely output shared equally.
    low_bound, likely_bound, high_bound, burst_bound
        What ends each: keys of ``BOUNDS``, and of ``BURST_BOUNDS`` for the burst.
    rail_limited_output_w, rail_limited_output_per_channel_w
        Lossless sine output that the supply as a rail allows, with its sag; none with a converter.
    rail_limited_square_wave_output_per_channel_w
        The same for a square wave, without sag.
    claimed_output_w, claimed_output_here_w
        As printed, and re-rated to the supply and load of the request.
    claim_verdict
        Key of ``VERDICTS``.
    claim_above_likely_db, claim_above_high_db
        Claim here over likely and over high output; above 0 where the claim exceeds it.
    crest_factor_db, programme_power_fraction
        Of what is played, and its mean power over that of the full sine.
    full_sine_input_w, programme_input_w, programme_output_w
        Power drawn on a full sine and on the programme, and mean output on the programme.
    full_sine_heat_w, programme_heat_w
        Input less output, from the loss model.
    full_sine_route_loss_w
        Lost in source and route on a full sine.
    full_sine_current_a, full_sine_current_at_high_a
        Peak draw for sizing: full sine at the likely and at the high output.
    programme_current_a, eighth_power_current_a, third_power_current_a, idle_current_a
        Average draw, idle draw included.
    gain_setting_voltage_v
        Across one channel's load at the likely output, root mean square.
    cta_2006_output_per_channel_w, cta_2006_claim_per_channel_w
        Likely output and claim at 14.4 V into 4 ohm; the claim only where it names its supply
        voltage and load impedance.
    cta_2006_rerating, cta_2006_bound
        How the voltage was re-rated (key of ``RERATINGS``), and what ends the normalised output
        (key of ``CTA_2006_BOUNDS``).
    sound_pressure_level_db, programme_sound_pressure_level_db
        On the axis in a free field at the listening distance, on a full sine and on the programme.
    permitted_exposure_s
        Time per day at the programme level.
    loss_model
        Loss over drive level at the likely efficiency.
    cautions
        Keys of ``CAUTIONS``.
    provenances
        What the answer rests on.
    """

    fuse_rating_total_a: Number
    supply_voltage_v: Number
    input_ceiling_w: Number
    input_ceiling_overload_w: Number
    input_ceiling_burst_w: Number
    efficiency_low: Number
    efficiency_likely: Number
    efficiency_high: Number
    efficiency_limit: Number
    output_low_w: Number
    output_likely_w: Number
    output_high_w: Number
    output_limit_w: Number
    output_burst_w: Number
    output_likely_per_channel_w: Number
    low_bound: Key
    likely_bound: Key
    high_bound: Key
    burst_bound: Key
    rail_limited_output_w: Number | None
    rail_limited_output_per_channel_w: Number | None
    rail_limited_square_wave_output_per_channel_w: Number | None
    claimed_output_w: Number | None
    claimed_output_here_w: Number | None
    claim_verdict: Key | None
    claim_above_likely_db: Number | None
    claim_above_high_db: Number | None
    crest_factor_db: Number
    programme_power_fraction: Number
    full_sine_input_w: Number
    programme_input_w: Number
    programme_output_w: Number
    full_sine_heat_w: Number
    programme_heat_w: Number
    full_sine_route_loss_w: Number
    full_sine_current_a: Number
    full_sine_current_at_high_a: Number
    programme_current_a: Number
    eighth_power_current_a: Number
    third_power_current_a: Number
    idle_current_a: Number
    gain_setting_voltage_v: Number
    cta_2006_output_per_channel_w: Number
    cta_2006_claim_per_channel_w: Number | None
    cta_2006_rerating: str
    cta_2006_bound: Key
    sound_pressure_level_db: Number | None
    programme_sound_pressure_level_db: Number | None
    permitted_exposure_s: Number | None
    loss_model: LossModel
    cautions: tuple[str, ...]
    provenances: tuple[Provenance, ...]
