"""Supplies for tests, simple enough to count by hand."""

from dataclasses import replace

from loomwright.engineering.supply.alternator import Alternator
from loomwright.engineering.supply.battery import Battery
from loomwright.engineering.supply.converter import Converter
from loomwright.engineering.supply.request import (
    ExistingLoads,
    SupplyLoad,
    SupplyRequest,
    VehicleSupply,
)

HOUR_S, DAY_S = 3600.0, 86_400.0
# 12 V when empty, 13 V when full, so that 1 % of charge is 0.01 V.
BATTERY = Battery(
    capacity_as=100.0 * HOUR_S,
    rated_time_s=20.0 * HOUR_S,
    peukert_exponent=1.25,
    internal_resistance_ohm=0.01,
    state_of_charge=0.8,
    start_state_of_charge=0.5,
    cut_off_voltage_v=10.0,
    self_discharge_per_s=0.0,
    open_circuit_voltages_v=((0.0, 12.0), (0.5, 12.5), (1.0, 13.0)),
)
# 40 A at 1500 1/min and 100 A at 6000 1/min, which are 600 and 2400 1/min of the engine.
ALTERNATOR = Alternator(
    curve=((25.0, 40.0), (100.0, 100.0)),
    pulley_ratio=2.5,
    hot_output_share=0.8,
    set_voltage_v=14.0,
    idle_speed_per_s=14.0,
    cruise_speed_per_s=30.0,
    greatest_idle_speed_per_s=20.0,
)
CONVERTER = Converter(
    rated_current_a=100.0, available_share=0.6, efficiency=0.9, set_voltage_v=14.0
)
EXISTING = ExistingLoads(idle_a=20.0, driving_a=30.0, engine_off_a=2.0, key_off_a=0.03)
SUPPLY = VehicleSupply(
    system_voltage_v=12.0,
    battery=BATTERY,
    alternator=ALTERNATOR,
    converter=None,
    existing=EXISTING,
    wanted_engine_off_s=None,
    wanted_standing_s=None,
)
HYBRID = replace(SUPPLY, alternator=None, converter=CONVERTER)
UNCHARGED = replace(SUPPLY, alternator=None)


def load(key="lamp", current_a=5.0, **changes):
    """Return a load that draws a steady current unless told otherwise."""
    stated = {"power_w": None, "average_current_a": current_a, "loop_resistance_ohm": 0.0}
    return SupplyLoad(key=key, current_a=current_a, **(stated | changes))


def power_load(key="heater", power_w=120.0, **changes):
    """Return a load of constant power; its average is that at 12 V unless told otherwise."""
    stated = {"average_current_a": power_w / 12.0, "loop_resistance_ohm": 0.0}
    return SupplyLoad(key=key, current_a=None, power_w=power_w, **(stated | changes))


def request_of(*loads, supply=SUPPLY, **changes):
    """Return a request, with some values of its supply changed."""
    return SupplyRequest(replace(supply, **changes), loads)
