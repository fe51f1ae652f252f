"""The cautions that answers carry, by key; each text stands alone."""

from types import MappingProxyType

CAUTIONS = MappingProxyType(
    {
        "defer_to_maker": (
            "The vehicle maker's instructions, the equipment's manual, local codes and licensed "
            "practice come before these figures."
        ),
        "isolate_battery": (
            "Isolate the battery as the vehicle maker describes before work; fit the fuse last."
        ),
        "fuse_at_source": (
            "Fuse the positive conductor as near the source as practicable; what lies before the "
            "fuse is unprotected and needs a sheath and support. The fuse protects the conductor, "
            "not the equipment."
        ),
        "fuse_not_above_conductor": "Never fit a fuse larger than the conductor can bear.",
        "high_voltage": (
            "Keep away from orange high-voltage cables and their connectors; only trained people "
            "may open a high-voltage system."
        ),
        "airbag": "Keep conductors and probes away from airbag and seat-belt tensioner circuits.",
        "moving_and_hot_parts": (
            "Route clear of exhaust, moving and sharp parts; protect every pass through metal."
        ),
        "engine_bay_heat": (
            "A conductor in the engine compartment meets heat and fluids: use insulation made for "
            "it and keep clear of the exhaust."
        ),
        "copper_clad": (
            "Copper-clad aluminium has more resistance than copper of equal section and needs "
            "terminals made for it; never take its gauge number for a copper one."
        ),
        "aluminium": (
            "Aluminium needs terminals, compound and torque made for it; keep it out of wet places."
        ),
        "parallel_runs": (
            "Parallel runs must be equal in length, size and terminal; a fault in one of them is "
            "fed from both ends, so each needs protection that clears it."
        ),
        "soldered_joint": (
            "Strands stiffened by solder break where they bend: support a soldered joint on both "
            "sides, cover it, and never solder a terminal that a screw clamps."
        ),
        "chassis_return": (
            "Ground to bare, clean metal at a point the vehicle maker allows; measure the drop of "
            "the return under load."
        ),
        "near_collapse": (
            "The load takes more than half of what the circuit can deliver at all; small faults "
            "will let the voltage collapse."
        ),
        "current_above_ampacity": (
            "A conductor carries more than its ampacity: fit a larger one or spread the loads, and "
            "see that its fuse opens before it is damaged."
        ),
        "source_at_limit": (
            "A source gives its greatest current: whatever is switched on besides falls on the "
            "other sources, or lets the voltage collapse."
        ),
        # The price book.
        "stock_out_of_date": (
            "The shop's stock was counted too long ago and is left out of account: see that all is "
            "there before a bay is booked."
        ),
        # The fuse and what is known of it.
        "opening_times_from_memory": (
            "The opening times are recalled, not seen on a page: compare them with the published "
            "curve of the fuse at hand before relying on a margin."
        ),
        "outside_published_curve": (
            "The fault exceeds the last published point of the time-current curve; from there on "
            "the let-through of that point is assumed (common practice, no source)."
        ),
        "ambient_factor_low_confidence": (
            "The re-rating of a fuse with ambient is a typical slope; no standard prints a figure."
        ),
        "higher_voltage_variant": (
            "Fit the variant with the rated voltage stated; the common one of the same shape is "
            "rated too low for this system."
        ),
        "warm_battery": (
            "The internal resistance follows from the cold-cranking test at -18 C; a warm battery "
            "has about half and delivers about twice the near-source fault."
        ),
        "cyclic_load": (
            "Opening times hold from cold; repeated peaks age a fuse, so allow margin above the "
            "bound."
        ),
        "rating_above_ampacity": (
            "Ratings above the ampacity were looked at; the load itself must stay at or below the "
            "ampacity."
        ),
        "breaking_capacity_exceeded": (
            "A dead short at the fuse can exceed the breaking capacity of a type listed as "
            "fitting; such a fuse may fail to quench the arc."
        ),
        "road_vehicle_position": (
            "The lengths given are rules for boats; for road vehicles they are no more than "
            "guidance."
        ),
        # Amplifiers and loudspeakers.
        "hearing": (
            "Sound above 85 dB damages hearing: set gains with ear protection, keep within the "
            "permitted exposure and inform the customer."
        ),
        "amplifier_heat": "Leave free air around the amplifier for the heat stated.",
        "free_field_level": (
            "The level holds in a free field; a cabin raises the bass and heat in the voice coil "
            "lowers the level."
        ),
        "common_practice_factors": (
            "Fuse loading, rail utilisation and idle draw are common practice without a source; a "
            "measurement outweighs them."
        ),
        "claim_conditions_unknown": (
            "The claim names no supply voltage or load impedance and is taken as printed."
        ),
        "claim_in_bursts_only": (
            "The claim is out of reach on a sustained sine; bursts of music shorter than 0.15 s "
            "can reach it."
        ),
        "source_limits_output": (
            "The source and its route cannot deliver the rated current of the fuse."
        ),
        "outside_cta_2006_scope": (
            "CTA-2006 is written for 12 V systems and outputs above 5 W; the normalised figure is "
            "for comparison only."
        ),
        # Drivers wired to an amplifier.
        "nominal_impedance": (
            "The impedances are nominal: that of a loudspeaker changes with frequency and may fall "
            "to 80 % of it."
        ),
        "unlike_drivers": (
            "Unlike drivers in one load share the power otherwise at each frequency; the shares "
            "stated hold on the average of a programme at best."
        ),
        "unequal_power": (
            "The first way gives some driver or coil more power than another: it is the loudest "
            "and the first to fail."
        ),
        "output_below_stated_load": (
            "No output is stated for so low a load; the figure is the most that the voltage gives, "
            "and the amplifier may give less."
        ),
        "stated_outputs_disagree": (
            "A stated output more than doubles where the load is halved, which no amplifier does: "
            "check the statements."
        ),
        "driver_overload": (
            "At full output a driver takes more than its power limit: limit the gain, or choose "
            "another driver or wiring."
        ),
        # A signal path.
        "signal_wires": (
            "Identify each wire from the vehicle's diagram and with a meter: never tap or probe "
            "airbag or data-bus wires for signal or turn-on."
        ),
        "bridged_outputs": (
            "Neither terminal of a bridged output may touch ground or another output, not even "
            "through a probe whose lead is grounded."
        ),
        "input_range_assumed": (
            "The equipment states no input range; that of IEC 61938 is taken from memory. Look it "
            "up before the gain is set."
        ),
        "ground_noise_bound": (
            "Which part of a ground potential alternates, and when noise is heard, is common "
            "practice without a source: measure with the engine running and loads on."
        ),
        # A whole job.
        "jump_start_post": (
            "Use the jump-start post only as the vehicle maker allows, within the current he "
            "states; some posts are for starting aid alone."
        ),
        "two_sources": (
            "The vehicle has more than one source: isolate each one, and fuse a conductor between "
            "two batteries at both ends."
        ),
        "battery_in_series": (
            "Never feed a 12 V load from one battery of a 24 V pair; it drives the pair out of "
            "balance. Use a converter."
        ),
        "battery_in_living_space": (
            "A battery in a closed space needs secure fixing, covered terminals and the venting "
            "that its maker asks for."
        ),
        "mains_output": (
            "The output of an inverter is lethal mains voltage: its wiring and protection are "
            "licensed electrical work."
        ),
        "combustion_heater": (
            "Exhaust gas kills: lead the heater's exhaust and intake outside as its maker says, "
            "and fit a carbon monoxide alarm."
        ),
        # Charging and batteries.
        "converter_never_overloaded": (
            "The converter of a hybrid or electric vehicle also feeds brakes, steering and "
            "controllers: never load it beyond what the vehicle maker leaves for equipment."
        ),
        "second_battery_protection": (
            "Fuse the conductor of a second battery at both ends, isolate it from the starter "
            "battery while the engine is off, and join only batteries of one kind and age."
        ),
        "battery_gas": (
            "A charging lead-acid battery gives off hydrogen: ventilate it, keep sparks and flames "
            "away, and make the last connection away from the battery."
        ),
        "deep_discharge": (
            "Each deep discharge ages a starter battery; charge it again within a day."
        ),
        "raised_idle": (
            "Raise the idle only as the vehicle maker allows, in the open air and never "
            "unattended: exhaust gas kills."
        ),
        "cold_battery_resistance": (
            "Voltages rest on the internal resistance at -18 C of the cold-cranking test; a warm "
            "battery has about half and sags less."
        ),
        "hot_alternator": (
            "The output of the hot alternator is taken as a usual share of its rating, which no "
            "standard prints; measure it hot."
        ),
        "outside_output_curve": (
            "A speed lies outside the rating points: nothing is counted below the first, and no "
            "more than the last one gives beyond it."
        ),
        "below_rated_current": (
            "The current is below that of the battery's rating, so the rated capacity was taken: "
            "Peukert's law would promise more than the battery holds."
        ),
        "measure_under_load": (
            "A drop shows only while current flows: switch on what the state names, hold the "
            "probes to the metal on both sides, and let the readings settle."
        ),
        "meter_leads": (
            "Use fused test leads. Never put a meter that is set to current across a source: use "
            "a clamp, or put it in series within its range."
        ),
        # Hazards of a vehicle, and the steps of a work order.
        "airbag_wait": (
            "After isolating, wait as long as the vehicle maker says before work near airbags and "
            "tensioners; never lean, measure or fix anything in their way."
        ),
        "battery_sensor": (
            "Connect grounds to the body behind the battery's current sensor, never to the post, "
            "or the vehicle misreads its charge."
        ),
        "converter_feeds_low_voltage": (
            "A hybrid or electric vehicle that is ready or charges feeds its low-voltage system "
            "from the high-voltage battery: switch it off, unplug it, then isolate its low-voltage "
            "battery."
        ),
        "fuel_lines": (
            "Fuel lines lie near: no drilling, soldering or spark there, and no conductor tied to "
            "a line; keep an extinguisher at hand."
        ),
        "keyless_wake_up": (
            "Keep every key of a keyless vehicle out of its range, leave the doors as they are and "
            "wait until the data bus sleeps; a key near by wakes what was dead."
        ),
        "service_disconnect": (
            "Leave the service disconnect of the high-voltage system to people trained for it; "
            "this work needs nothing beyond the low-voltage side."
        ),
        "start_stop": (
            "A vehicle with start-stop can start by itself: switch it off, and after reconnecting "
            "teach in the battery as its maker says."
        ),
        "behind_the_panel": (
            "Look behind a panel before drilling: harnesses, pipes, fuel lines and airbags."
        ),
    }
)
