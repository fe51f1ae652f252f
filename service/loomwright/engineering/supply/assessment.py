"""A supply assessed: its figures, where it falls short and what would mend that."""

from collections.abc import Mapping
from decimal import Decimal

from loomwright.engineering.record import record
from loomwright.engineering.supply.alternator import BELOW_CURVE, BEYOND_CURVE
from loomwright.engineering.supply.checks import Figures, shortfalls, supply_figures
from loomwright.engineering.supply.converter import converter_input_w
from loomwright.engineering.supply.remedies import (
    RAISE_IDLE,
    SECOND_BATTERY,
    MendedShortfall,
    mended,
)
from loomwright.engineering.supply.request import DRIVING, SupplyRequest
from loomwright.tables.records import Provenance

SUFFICIENT, INSUFFICIENT = "supply_sufficient", "supply_insufficient"
VERDICTS = (SUFFICIENT, INSUFFICIENT)


@record
class SupplyAssessment:
    """The answer of ``supply_assessment``.

    Parameters
    ----------
    verdict
        One of ``VERDICTS``.
    figures
        Charging, discharge, drain and voltages.
    shortfalls
        Each with its remedies; empty where the supply is sufficient.
    converter_input_w
        What the converter takes from the high-voltage battery on average while driving [W].
    cautions
        Keys of ``CAUTIONS``.
    provenances
        What the answer rests on.
    """

    verdict: str
    figures: Figures
    shortfalls: tuple[MendedShortfall, ...]
    converter_input_w: float | None
    cautions: tuple[str, ...]
    provenances: tuple[Provenance, ...]


def supply_assessment(
    request: SupplyRequest, prices: Mapping[str, Decimal] | None = None
) -> SupplyAssessment:
    """Assess a supply with the loads that are to hang on it.

    Parameters
    ----------
    request
        Supply and loads; keys of loads are unique.
    prices
        Of remedies by key, as far as known, all in one currency.

    Returns
    -------
    SupplyAssessment
        Verdict, figures, shortfalls with remedies.

    Raises
    ------
    EngineeringError
        ``operating_point_not_converged``.
    """
    figures = supply_figures(request)
    short = tuple(mended(request, entry, prices or {}) for entry in shortfalls(request, figures))
    return SupplyAssessment(
        verdict=INSUFFICIENT if short else SUFFICIENT,
        figures=figures,
        shortfalls=short,
        converter_input_w=_converter_input_w(request, figures),
        cautions=_cautions(request, figures, short),
        provenances=(*request.supply.provenances, *request.provenances),
    )


def _converter_input_w(request: SupplyRequest, figures: Figures) -> float | None:
    converter = request.supply.converter
    if converter is None:
        return None
    (driving,) = (entry for entry in figures.charging if entry.state == DRIVING)
    return converter_input_w(converter, driving.existing_a + driving.average_a)


def _cautions(
    request: SupplyRequest, figures: Figures, short: tuple[MendedShortfall, ...]
) -> tuple[str, ...]:
    supply = request.supply
    offered = {remedy.key for entry in short for remedy in entry.remedies if remedy.closes}
    bounds = {entry.bound for entry in figures.charging}
    drawn = figures.discharge
    facts = {
        "isolate_battery": True,
        "high_voltage": supply.converter is not None,
        "converter_never_overloaded": supply.converter is not None,
        "fuse_at_source": True,
        "second_battery_protection": SECOND_BATTERY in offered,
        "battery_gas": True,
        "battery_in_series": supply.system_voltage_v > 12.0,
        "deep_discharge": drawn.current_a > 0.0,
        "raised_idle": RAISE_IDLE in offered,
        "cold_battery_resistance": supply.resistance_is_cold,
        "hot_alternator": supply.share_is_practice,
        "outside_output_curve": bool(bounds & {BELOW_CURVE, BEYOND_CURVE}),
        "below_rated_current": drawn.current_a > 0.0 and drawn.below_rated_current,
        "defer_to_maker": True,
    }
    return tuple(key for key, applies in facts.items() if applies)
