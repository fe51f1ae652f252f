"""The work order for the workshop: what is fitted, in which order, and what a meter has to show."""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
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
        sections.append(Section(words.say("Readings"), tuple(_readings(words, answer))))
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
    # What few steps tell stands there, where it is needed.
    few = told - set(_of_most(order["steps"]))
    of_job = [entry["key"] for entry in answer["cautions"] if entry["key"] not in few]
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
    return Table(
        words.say("Parts"),
        (
            Column(words.say("Taken"), share=0.4, is_tick=True),
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
            for (key, description, unit), quantity in _summed(order["steps"]).items()
        ),
    )


def _summed(steps: Sequence[Entry]) -> Mapping[tuple[str | None, str, str], Decimal]:
    """Return the quantity of each part of steps, by its key, description and unit."""
    found: dict[tuple[str | None, str, str], Decimal] = {}
    for step in steps:
        for part in step["parts"]:
            place = part["key"], part["description"], part["unit"]
            found[place] = found.get(place, Decimal(0)) + Decimal(part["quantity"])
    return found


# --- steps ---


def _steps(words: Words, answer: Answer) -> Iterator[Section]:
    circuits = {entry["key"]: entry["description"] for entry in answer["circuits"]}
    for heading, kinds in STAGES:
        steps = [step for step in answer["work_order"]["steps"] if step["kind"] in kinds]
        if not steps:
            continue
        shared = _of_most(steps)
        block = Steps(
            tuple(_step(words, step, answer, circuits, shared) for step in steps),
            tuple(_shared_cautions(words, answer, shared, steps)),
        )
        yield Section(words.say(heading), (block,))


def _of_most(steps: Sequence[Entry]) -> tuple[str, ...]:
    """Return the cautions that more than half of several steps bear, in the order of the steps."""
    count = Counter(key for step in steps for key in step["cautions"])
    return tuple(key for key, times in count.items() if times > max(1.0, 0.5 * len(steps)))


def _shared_cautions(
    words: Words, answer: Answer, keys: Collection[str], steps: Sequence[Entry]
) -> Iterator[str]:
    """Yield each caution with the numbers of those of the steps that bear it."""
    for key in keys:
        numbers = _ranges([step["number"] for step in steps if key in step["cautions"]])
        for text in caution_texts(words, answer, (key,)):
            yield words.say("Steps {numbers}: {caution}", numbers=numbers, caution=text)


def _ranges(numbers: Sequence[int]) -> str:
    """Return rising numbers with those that follow one another joined by a dash."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}\u2013{run[-1]}" for run in runs)


def _step(
    words: Words,
    step: Entry,
    answer: Answer,
    circuits: Mapping[str, str],
    shared: Collection[str],
) -> Step:
    own = [key for key in step["cautions"] if key not in shared]
    return Step(
        number=step["number"],
        text=step_text(words, step, circuits),
        facts=tuple(_step_facts(words, step)),
        parts=tuple(
            (quantity_text(words, format(quantity, "f"), unit), description)
            for (_, description, unit), quantity in _summed((step,)).items()
        ),
        checks=tuple(check_text(words, text) for text in step["checks"]),
        cautions=caution_texts(words, answer, own),
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
                Column(words.say("Where"), share=2.3),
                Column(words.say("What"), share=2.5),
                Column(words.say("Expected"), is_figure=True, share=0.1),
                Column(words.say("Range"), is_figure=True, share=0.1),
                Column(words.say("Measured"), share=0.8),
                Column(words.say("Pass"), share=0.5, is_tick=True),
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
