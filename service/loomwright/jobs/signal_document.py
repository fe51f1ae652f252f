"""Reading of signal paths from plain JSON documents, with every fault listed."""

from collections.abc import Collection, Sequence

from loomwright.engineering.signal.path import (
    DEVICE,
    DIFFERENTIAL,
    LINE_LEVEL,
    RESISTOR,
    RESISTORS,
    Connection,
    DeviceGround,
    Relay,
    SignalInput,
    SignalPath,
    SignalSum,
    TakeOff,
    TurnOn,
)
from loomwright.jobs.signal_members import SIGNAL_RECORD
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.pricing.stated_numbers import QuantityText

# Members of a take-off that only an output for loudspeakers has.
OF_SPEAKER_LEVEL = ("bridged", "detects_open_load", "loudspeaker_stays", "load_resistance")


def signal_path_from_document(
    document: object, quantity_text: QuantityText | None = None
) -> SignalPath:
    """Return the signal path that a plain JSON document states.

    Parameters
    ----------
    document
        The path as plain JSON values; numbers in the units of the members.
    quantity_text
        Reader of quantities such as ``"200 mA"``; without it only numbers are read.

    Returns
    -------
    SignalPath
        Checked; its keys refer to one another.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` lists all of it by JSON pointer.
    """
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, SIGNAL_RECORD.members, quantity_text)
    path = signal_path(reader, None)
    if faults:
        raise DocumentError("signal", faults)
    return path


def signal_path(reader: ObjectReader, equipment: Collection[str] | None) -> SignalPath:
    """Return the signal path that an object states; faults are noted at its reader.

    Parameters
    ----------
    reader
        Of the object.
    equipment
        Keys of the equipment that it may name; ``None`` where there is no job around it.

    Returns
    -------
    SignalPath
        Of use only if no fault was noted.
    """
    take_offs, sums = reader.objects("take_offs"), reader.objects("sums")
    inputs, connections = reader.objects("inputs"), reader.objects("connections")
    read_take_offs = [_take_off(item) for item in take_offs]
    read_sums = [_sum(item) for item in sums]
    read_inputs = [_input(item) for item in inputs]
    read_connections = [_connection(item) for item in connections]
    turn_on = _turn_on(reader.object("turn_on")) if reader.has("turn_on") else None
    _check_sums(sums, read_sums, {entry.key for entry in read_take_offs})
    _check_connections(
        connections,
        read_connections,
        {entry.key for entry in read_take_offs} | {entry.key for entry in read_sums},
        {entry.key for entry in read_inputs},
    )
    if connections:
        _check_inputs(inputs, read_inputs, read_connections)
    if equipment is not None:
        _check_equipment((*take_offs, *inputs), equipment)
    return SignalPath(
        take_offs={entry.key: entry for entry in read_take_offs},
        sums={entry.key: entry for entry in read_sums},
        inputs={entry.key: entry for entry in read_inputs},
        connections=tuple(read_connections),
        turn_on=turn_on,
    )


def _one_of(reader: ObjectReader, first: str, second: str) -> None:
    if reader.has(first) == reader.has(second):
        reader.fault(first, f"State either {first} or {second}, not both and not neither.")


def _together(reader: ObjectReader, first: str, second: str) -> None:
    if reader.has(first) != reader.has(second):
        lacking = second if reader.has(first) else first
        reader.fault(lacking, f"State {first} and {second} together.")


def _only(reader: ObjectReader, names: Sequence[str], applies: bool, where: str) -> None:
    if not applies:
        for name in names:
            if reader.has(name):
                reader.fault(name, f"Only {where} has this member.")


def _ground(reader: ObjectReader) -> DeviceGround | None:
    if not reader.has("ground"):
        return None
    ground = reader.object("ground")
    _one_of(ground, "potential", "return_current")
    _together(ground, "return_current", "path_resistance")
    return DeviceGround(
        potential_v=ground.optional_number("potential"),
        current_a=ground.optional_number("return_current"),
        path_resistance_ohm=ground.optional_number("path_resistance"),
    )


def _take_off(reader: ObjectReader) -> TakeOff:
    level_kind = reader.choice("level_kind")
    _one_of(reader, "greatest_voltage", "greatest_power")
    _together(reader, "greatest_power", "load_impedance")
    is_line = level_kind == LINE_LEVEL
    _only(reader, OF_SPEAKER_LEVEL, not is_line, "an output at speaker level")
    lower, upper = reader.optional_number("lower_corner"), reader.optional_number("upper_corner")
    if lower is not None and upper is not None and not lower < upper:
        reader.fault("upper_corner", "The band ends above where it begins.")
    return TakeOff(
        key=reader.text("key"),
        description=reader.text("description"),
        level_kind=level_kind,
        greatest_voltage_v=reader.optional_number("greatest_voltage"),
        greatest_power_w=reader.optional_number("greatest_power"),
        load_impedance_ohm=reader.optional_number("load_impedance"),
        output_impedance_ohm=reader.optional_number("output_impedance"),
        least_load_ohm=reader.optional_number("least_load_impedance"),
        bridged=reader.truth("bridged") and not is_line,
        inverted=reader.truth("inverted"),
        lower_corner_hz=lower,
        upper_corner_hz=upper,
        detects_open_load=reader.truth("detects_open_load"),
        loudspeaker_stays=reader.truth("loudspeaker_stays"),
        load_resistance_ohm=reader.optional_number("load_resistance"),
        ground=_ground(reader),
        equipment=reader.optional_text("equipment"),
    )


def _sum(reader: ObjectReader) -> SignalSum:
    method = reader.choice("method")
    _only(reader, ("summing_resistance",), method in (RESISTORS, ""), "the method resistors")
    _only(reader, ("device_gain",), method in (DEVICE, ""), "the method device")
    gain = reader.optional_number("device_gain")
    return SignalSum(
        key=reader.text("key"),
        take_offs=reader.texts("take_offs"),
        relation=reader.choice("relation"),
        method=method,
        resistance_ohm=reader.optional_number("summing_resistance"),
        gain=1.0 if gain is None else gain,
    )


def _input(reader: ObjectReader) -> SignalInput:
    level_kind, reference = reader.choice("level_kind"), reader.choice("reference")
    _together(reader, "least_voltage", "greatest_voltage")
    least, greatest = (reader.optional_number(f"{end}_voltage") for end in ("least", "greatest"))
    if least is not None and greatest is not None and least > greatest:
        reader.fault("greatest_voltage", "The range ends where it begins or above.")
    rejection = ("common_mode_rejection_db",)
    _only(reader, rejection, reference in (DIFFERENTIAL, ""), "a differential input")
    _only(reader, ("senses_signal",), level_kind != LINE_LEVEL, "an input at speaker level")
    return SignalInput(
        key=reader.text("key"),
        description=reader.text("description"),
        level_kind=level_kind,
        least_voltage_v=least,
        greatest_voltage_v=greatest,
        overload_voltage_v=reader.optional_number("overload_voltage"),
        impedance_ohm=reader.optional_number("input_impedance"),
        reference=reference,
        common_mode_rejection_db=reader.optional_number("common_mode_rejection_db"),
        turn_on_current_a=reader.number("turn_on_current"),
        senses_signal=reader.truth("senses_signal"),
        ground=_ground(reader),
        equipment=reader.optional_text("equipment"),
    )


def _connection(reader: ObjectReader) -> Connection:
    isolated = reader.truth("isolated")
    _only(reader, ("isolation_rejection_db",), isolated, "an isolated connection")
    return Connection(
        feed=reader.text("fed_from"),
        input=reader.text("input"),
        converter_ratio=reader.optional_number("converter_ratio"),
        isolated=isolated,
        isolation_rejection_db=reader.optional_number("isolation_rejection_db"),
        shield_resistance_ohm=reader.number("shield_resistance"),
        gain_overlap_db=reader.number("gain_overlap_db"),
    )


def _turn_on(reader: ObjectReader) -> TurnOn:
    _one_of(reader, "greatest_current", "fuse_rating")
    return TurnOn(
        greatest_current_a=reader.optional_number("greatest_current"),
        fuse_rating_a=reader.optional_number("fuse_rating"),
        present_current_a=reader.number("present_current"),
        relay=_relay(reader.object("relay")) if reader.has("relay") else None,
    )


def _relay(reader: ObjectReader) -> Relay:
    suppression = reader.choice("suppression")
    beside = "suppression_resistance"
    _only(reader, (beside,), suppression in (RESISTOR, ""), "a coil with a resistor across it")
    if suppression == RESISTOR and not reader.has(beside):
        reader.fault(beside, "Missing; a resistor across the coil needs it.")
    return Relay(
        coil_resistance_ohm=reader.number("coil_resistance"),
        coil_inductance_h=reader.optional_number("coil_inductance"),
        stray_capacitance_f=reader.optional_number("stray_capacitance"),
        contact_rating_a=reader.number("contact_rating"),
        suppression=suppression,
        suppression_resistance_ohm=reader.optional_number(beside),
    )


def _check_sums(
    readers: Sequence[ObjectReader], sums: Sequence[SignalSum], take_offs: set[str]
) -> None:
    for reader, entry in zip(readers, sums, strict=True):
        if entry.key in take_offs:
            reader.fault("key", "A take-off has the same key; take-offs and sums are one set.")
        for index, key in enumerate(entry.take_offs):
            if key not in take_offs:
                reader.fault_at("take_offs", index, "No take-off has this key.")


def _check_connections(
    readers: Sequence[ObjectReader],
    connections: Sequence[Connection],
    feeds: set[str],
    inputs: set[str],
) -> None:
    taken: set[str] = set()
    for reader, entry in zip(readers, connections, strict=True):
        # A missing key is a fault of its own.
        if entry.feed and entry.feed not in feeds:
            reader.fault("fed_from", "No take-off and no sum has this key.")
        if entry.input and entry.input not in inputs:
            reader.fault("input", "No input has this key.")
        elif entry.input in taken:
            reader.fault("input", "This input has a connection already; join the signals in a sum.")
        taken.add(entry.input)


def _check_inputs(
    readers: Sequence[ObjectReader],
    inputs: Sequence[SignalInput],
    connections: Sequence[Connection],
) -> None:
    connected = {entry.input for entry in connections}
    for reader, entry in zip(readers, inputs, strict=True):
        if entry.key and entry.key not in connected:
            reader.fault(None, "No connection leads to this input.")


def _check_equipment(readers: Sequence[ObjectReader], equipment: Collection[str]) -> None:
    for reader in readers:
        stated = reader.stated("equipment")
        if isinstance(stated, str) and stated not in equipment:
            reader.fault("equipment", "No equipment of the job has this key.")
