"""The signal path of a request or of a job, judged by the tables."""

from collections.abc import Mapping

from loomwright.engineering.signal.path import SignalPath
from loomwright.engineering.signal.plan import SignalPlan, signal_plan
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.signal_records import SignalFactor


def planned_signal(
    path: SignalPath,
    system_voltage_v: float,
    fuse_tables: FuseTables,
    factors: Mapping[str, SignalFactor],
    solved_potentials_v: Mapping[str, float] | None = None,
) -> SignalPlan:
    """Return a signal path judged in a vehicle of a nominal voltage.

    Parameters
    ----------
    path
        The path.
    system_voltage_v
        Nominal voltage, one of the tables [V].
    fuse_tables
        Hold the greatest voltage in operation and the loading of fuses.
    factors
        Figures on signal paths by key.
    solved_potentials_v
        Ground potential by key of the job's equipment [V], where a network was solved.

    Returns
    -------
    SignalPlan
        A path that cannot work as stated is a verdict.
    """
    (system,) = (
        entry for entry in fuse_tables.system_voltages if entry.nominal_v == system_voltage_v
    )
    loading = fuse_tables.factors["loading_factor"]
    return signal_plan(path, system, factors, loading, solved_potentials_v)
