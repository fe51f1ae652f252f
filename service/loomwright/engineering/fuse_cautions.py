"""What an installer must be told beside the figures of a fuse."""

from loomwright.engineering.fuse_answer import Caution, FuseTypeAnswer
from loomwright.engineering.fuse_request import BOAT_RULES, FuseRequest

NOTICEABLE_FACTOR_CHANGE = 0.005

CURVE_FROM_MEMORY = Caution(
    "opening_times_from_memory",
    "The opening times are recalled, not seen on a page: compare them with the published curve of "
    "the fuse at hand before relying on a margin.",
)
FUSE_AT_SOURCE = Caution(
    "fuse_at_source",
    "Isolate the battery before work. Mount the fuse as near to the source as practicable; the "
    "conductor before it is unprotected and needs a sheath and support.",
)
AMBIENT_FACTOR = Caution(
    "ambient_factor_low_confidence",
    "The re-rating of a fuse with ambient is a typical slope; no standard prints a figure.",
)
VOLTAGE_VARIANT = Caution(
    "higher_voltage_variant",
    "Fit the variant with the rated voltage stated; the common one of the same shape is rated too "
    "low for this system.",
)
WARM_BATTERY = Caution(
    "warm_battery",
    "The internal resistance follows from the cold-cranking test at -18 C; a warm battery has "
    "about half and delivers about twice the near-source fault.",
)
CYCLIC_LOAD = Caution(
    "cyclic_load",
    "Opening times hold from cold; repeated peaks age a fuse, so allow margin above the bound.",
)
ABOVE_AMPACITY = Caution(
    "rating_above_ampacity",
    "Ratings above the ampacity were looked at; the load itself must stay at or below the "
    "ampacity.",
)
PARALLEL_CONDUCTORS = Caution(
    "parallel_conductors",
    "A fault in one of several parallel conductors is fed from both ends; the currents are taken "
    "as equally shared.",
)
BREAKING_CAPACITY_EXCEEDED = Caution(
    "breaking_capacity_exceeded",
    "A dead short at the fuse can exceed the breaking capacity of a type listed as fitting; such a "
    "fuse may fail to quench the arc.",
)
ROAD_POSITION = Caution(
    "road_vehicle_position",
    "The lengths given are rules for boats; for road vehicles they are no more than guidance.",
)


def cautions_of(
    request: FuseRequest, types: tuple[FuseTypeAnswer, ...], ambient_factor: float
) -> tuple[Caution, ...]:
    """Return the cautions that go with one answer.

    Parameters
    ----------
    request
        The circuit.
    types
        Answers by type.
    ambient_factor
        Capacity of the fuse at the ambient over that at 23 C [1].

    Returns
    -------
    tuple of Caution
        Always with the one on the place of the fuse.
    """
    from_memory = any(
        answer.curve_provenance is not None and answer.curve_provenance.checked == "memory"
        for answer in types
    )
    applies = (
        (FUSE_AT_SOURCE, True),
        (CURVE_FROM_MEMORY, from_memory),
        (AMBIENT_FACTOR, abs(ambient_factor - 1.0) > NOTICEABLE_FACTOR_CHANGE),
        (VOLTAGE_VARIANT, any(answer.is_higher_voltage_variant for answer in types)),
        (WARM_BATTERY, request.source.internal_resistance_is_cold),
        (CYCLIC_LOAD, request.load.on_time_s is not None),
        (ABOVE_AMPACITY, request.options.rating_may_exceed_ampacity),
        (PARALLEL_CONDUCTORS, request.conductor.parallel_conductors > 1),
        (
            BREAKING_CAPACITY_EXCEEDED,
            any(
                answer.rated_current_a is not None
                and answer.lacking_resistance_before_fuse_ohm is not None
                for answer in types
            ),
        ),
        (ROAD_POSITION, request.placement.rules not in BOAT_RULES),
    )
    return tuple(caution for caution, holds in applies if holds)
