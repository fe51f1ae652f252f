"""The work order for the workshop: what is fitted, in which order, and what a meter has to show."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from loomwright.documents.heads import (
    Answer,
    caution_texts,
    circuits_table,
    named_sources,
    sheet_of,
)
from loomwright.documents.options import DocumentOptions
from loomwright.documents.paperwork import paperwork_of_answer
from loomwright.documents.quote import quantity_text
from loomwright.documents.sheet import (
    BLANK,
    Block,
    Cautions,
    Column,
    Facts,
    Figure,
    Paragraph,
    Section,
    Sheet,
    Step,
    Steps,
    Table,
)
from loomwright.documents.step_words import check_text, step_text
from loomwright.documents.vocabulary import ENDS, READINGS, STAGES, STATES, TOOLS, ZONES
from loomwright.documents.words import Words
from loomwright.drawings.drawing import Drawing

Entry = Mapping[str, Any]


def work_order_sheet(
    answer: Answer, options: DocumentOptions, drawings: Sequence[Drawing] = ()
) -> Sheet:
    """Return the work order of one plan.

    Parameters
    ----------
    answer
        Document of one plan, with ``paperwork``.
    options
        Language and units.
    drawings
        Of the installation.

    Returns
    -------
    Sheet
        With boxes to tick and blanks to fill in.
    """
    words = Words(options)
    order = answer["work_order"]
    sections = [
        Section(words.say("Before the work"), tuple(_before(words, answer))),
        Section(words.say("Circuits"), tuple(_circuits(words, answer, drawings))),
        Section(words.say("Parts to take out"), (_parts(words, order),)),
        *_steps(words, answer),
    ]
    if answer["expected_measurements"]:
        sections.append(
            Section(words.say("Readings"), tuple(_readings(words, answer)), starts_page=True)
        )
    sections.append(Section(words.say("Signed off"), (_signed(words),)))
    return sheet_of(words, answer, words.say("Work order"), tuple(_facts(words, answer)), sections)


def _facts(words: Words, answer: Answer) -> Iterator[tuple[str, str]]:
    order, booking = answer["work_order"], paperwork_of_answer(answer).booking
    if booking is not None:
        yield words.say("Vehicle handed over"), words.instant(booking.start.isoformat())
        if booking.bay is not None:
            yield words.say("Bay"), booking.bay
    yield words.say("Steps"), words.quantity(str(len(order["steps"])))
    yield words.say("Working time"), words.duration(order["labour_duration"])


def _before(words: Words, answer: Answer) -> Iterator[Block]:
    order = answer["work_order"]
    told = {key for step in order["steps"] for key in step["cautions"]}
    # What a step tells stands there, where it is needed.
    of_job = [entry["key"] for entry in answer["cautions"] if entry["key"] not in told]
    texts = caution_texts(words, answer, of_job)
    if texts:
        yield Cautions(words.say("For the whole job"), texts)
    tools = dict.fromkeys(entry["tool"] for entry in order["tools"])
    yield Facts(
        (
            (words.say("Tools"), ", ".join(words.say(TOOLS[tool]) for tool in tools)),
            (words.say("Zones"), "; ".join(words.say(ZONES[zone]) for zone in order["zones"])),
        )
    )


def _circuits(words: Words, answer: Answer, drawings: Sequence[Drawing]) -> Iterator[Block]:
    yield circuits_table(words, answer, with_figures=True)
    for drawing in drawings:
        yield Figure(drawing, drawing.title)


def _parts(words: Words, order: Entry) -> Table:
    """Return the parts of all steps, each once, to be taken out of the store."""
    found: dict[tuple[str | None, str, str], Decimal] = {}
    for step in order["steps"]:
        for part in step["parts"]:
            place = part["key"], part["description"], part["unit"]
            found[place] = found.get(place, Decimal(0)) + Decimal(part["quantity"])
    return Table(
        words.say("Parts"),
        (
            Column(words.say("Taken"), share=0.4),
            Column(words.say("Quantity"), is_figure=True, share=0.7),
            Column(words.say("Part"), share=3.0),
            Column(words.say("Key"), share=1.4),
        ),
        tuple(
            (
                BLANK,
                quantity_text(words, format(quantity, "f"), unit),
                description,
                key or words.say("not in the price book"),
            )
            for (key, description, unit), quantity in found.items()
        ),
    )


# --- steps ---


def _steps(words: Words, answer: Answer) -> Iterator[Section]:
    circuits = {entry["key"]: entry["description"] for entry in answer["circuits"]}
    steps = answer["work_order"]["steps"]
    for heading, kinds in STAGES:
        of_stage = [_step(words, step, answer, circuits) for step in steps if step["kind"] in kinds]
        if of_stage:
            yield Section(words.say(heading), (Steps(tuple(of_stage)),))


def _step(words: Words, step: Entry, answer: Answer, circuits: Mapping[str, str]) -> Step:
    return Step(
        number=step["number"],
        text=step_text(words, step, circuits),
        facts=tuple(_step_facts(words, step)),
        parts=tuple(
            (quantity_text(words, part["quantity"], part["unit"]), part["description"])
            for part in step["parts"]
        ),
        checks=tuple(check_text(words, text) for text in step["checks"]),
        cautions=caution_texts(words, answer, step["cautions"]),
    )


def _step_facts(words: Words, step: Entry) -> Iterator[tuple[str, str]]:
    if step["zone"] is not None:
        yield words.say("Where"), words.say(ZONES[step["zone"]])
    tools = dict.fromkeys(entry["tool"] for entry in step["tools"])
    if tools:
        yield words.say("With"), ", ".join(words.say(TOOLS[tool]) for tool in tools)
    if step["torques"]:
        texts = [_torque(words, torque) for torque in step["torques"]]
        yield words.say("Torque"), "; ".join(texts)
    if Decimal(step["hours"]):
        yield words.say("Time"), words.duration(step["duration"])


def _torque(words: Words, torque: Entry) -> str:
    place = words.say(ENDS[torque["place"]])
    if torque["stud"] is not None:
        place = f"{place}, {torque['stud']}"
    if torque["torque_n_m"] is None:
        return words.say("{place}: as its maker states", place=place)
    stated = words.torque(torque["torque_n_m"])
    if torque["greatest_torque_n_m"] is None:
        return words.say("{place}: {torque}", place=place, torque=stated)
    return words.say(
        "{place}: {torque}, the bolt bears {greatest}",
        place=place,
        torque=stated,
        greatest=words.torque(torque["greatest_torque_n_m"]),
    )


# --- readings ---


def _readings(words: Words, answer: Answer) -> Iterator[Block]:
    names = named_sources(answer)
    yield Paragraph(
        words.say(
            "A reading outside its range calls for a look at that place before the vehicle is"
            " handed over."
        )
    )
    by_state: dict[str, list[Entry]] = {}
    for entry in answer["expected_measurements"]:
        by_state.setdefault(entry["state"], []).append(entry)
    for state, entries in by_state.items():
        yield Table(
            words.say("Readings, {state}", state=words.say(STATES[state])),
            (
                Column(words.say("Where"), share=2.2),
                Column(words.say("What"), share=1.7),
                Column(words.say("Expected"), is_figure=True, share=0.9),
                Column(words.say("Range"), is_figure=True, share=1.7),
                Column(words.say("Measured"), share=1.0),
                Column(words.say("Pass"), share=0.5),
            ),
            tuple(_reading(words, entry, names) for entry in entries),
        )


def _reading(words: Words, entry: Entry, names: Mapping[str, str]) -> tuple[str, ...]:
    expected, low, high = (entry[name] for name in ("expected", "low", "high"))
    if entry["unit"] == "A":
        figures = [words.current(value, expected) for value in (expected, low, high)]
    else:
        figures = [words.voltage(value, expected) for value in (expected, low, high)]
    return (
        names[entry["source"] or entry["circuit"]],
        words.say(READINGS[entry["what"]]),
        figures[0],
        words.say("{low} to {high}", low=figures[1], high=figures[2]),
        BLANK,
        BLANK,
    )


def _signed(words: Words) -> Facts:
    return Facts(
        (
            (words.say("Done by"), BLANK),
            (words.say("Date"), BLANK),
            (words.say("Checked by"), BLANK),
        )
    )
