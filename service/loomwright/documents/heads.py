"""What the documents for people have in common: head, verdict, cautions, circuits."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from loomwright.documents.paperwork import Paperwork, paperwork_of_answer
from loomwright.documents.sheet import PAGE_OF, Cautions, Column, Facts, Section, Sheet, Table
from loomwright.documents.step_words import fuse_type_text
from loomwright.documents.vocabulary import PLANS, UNSIZED, VERDICTS
from loomwright.documents.words import NOTHING, Words
from loomwright.jobs.priced_job import COMPLETE
from loomwright.jobs.sized_circuit import SIZED
from loomwright.tables.conductor_words import MATERIALS

Answer = Mapping[str, Any]


def sheet_of(
    words: Words, answer: Answer, title: str, pairs: Iterable[tuple[str, str]], body: list[Section]
) -> Sheet:
    """Return a document with its head and foot.

    Parameters
    ----------
    words
        Of the document.
    answer
        What it is made of.
    title
        Of a document that binds; one of a job that is not complete is marked as a draft.
    pairs
        Facts of this kind of document, which stand behind number and parties.
    body
        Its sections.

    Returns
    -------
    Sheet
        Ready to be printed.
    """
    paperwork = paperwork_of_answer(answer)
    complete = answer["verdict"] == COMPLETE
    return Sheet(
        language=words.language,
        paper=words.paper,
        title=title if complete else words.say("Draft: {title}", title=title),
        subtitle=answer["title"],
        facts=Facts((*_parties(words, answer, paperwork), *pairs)),
        sections=tuple(body if complete else [_open_points(words, answer), *body]),
        page_of=words.say(PAGE_OF),
        footer=_footer(words, answer, paperwork),
    )


def _parties(words: Words, answer: Answer, paperwork: Paperwork) -> Iterable[tuple[str, str]]:
    stated = {
        words.say("Number"): paperwork.number,
        words.say("From"): paperwork.seller,
        words.say("For"): paperwork.customer,
        words.say("Vehicle"): answer["vehicle"]["description"],
        words.say("Plan"): _plan_name(words, answer),
    }
    return ((name, text) for name, text in stated.items() if text)


def _plan_name(words: Words, answer: Answer) -> str:
    plan = answer.get("plan")
    return words.say(PLANS[plan["name"]]) if plan is not None else ""


def _footer(words: Words, answer: Answer, paperwork: Paperwork) -> str:
    book = answer["price_book"]
    prices = words.say("Prices: {name}, {digest}", name=book["name"], digest=book["digest"][:12])
    return " · ".join(text for text in (paperwork.seller, paperwork.number, prices) if text)


def _open_points(words: Words, answer: Answer) -> Section:
    """Return what stands above everything else where a job is not complete."""
    texts = [words.say(VERDICTS[answer["verdict"]])]
    texts += [
        words.say(
            "{circuit}: {verdict}.",
            circuit=circuit["description"],
            verdict=words.say(UNSIZED[circuit["verdict"]]),
        )
        for circuit in answer["circuits"]
        if circuit["verdict"] != SIZED
    ]
    if answer["unpriced"]:
        count = words.quantity(str(len(answer["unpriced"])))
        texts.append(words.say("Lines without a price: {count}.", count=count))
    heading = words.say("Not to be offered or built as it stands")
    return Section(heading, (Cautions(words.say("What is open"), tuple(texts)),))


def caution_texts(words: Words, answer: Answer, keys: Iterable[str]) -> tuple[str, ...]:
    """Return the texts of cautions of an answer, in the language of a document.

    Parameters
    ----------
    words
        Of the document.
    answer
        Has ``cautions`` with key and English text.
    keys
        Those that are wanted; one that the answer lacks is left out.

    Returns
    -------
    tuple of str
        In the order of the keys.
    """
    texts = {entry["key"]: entry["text"] for entry in answer["cautions"]}
    return tuple(words.say(texts[key]) for key in keys if key in texts)


def conductor_text(words: Words, conductor: Mapping[str, Any] | None) -> str:
    """Return a conductor as size and material, a dash where there is none."""
    if conductor is None:
        return NOTHING
    material = words.say(MATERIALS[conductor["material"]])
    return f"{words.section(conductor['size'])} {material}"


def fuse_text(words: Words, fuse: Mapping[str, Any] | None) -> str:
    """Return a fuse as rating and type, a dash where there is none."""
    if fuse is None:
        return NOTHING
    return f"{words.rating(fuse['rated_current_a'])} {fuse_type_text(words, fuse['fuse_type'])}"


def circuits_table(words: Words, answer: Answer, *, with_figures: bool) -> Table:
    """Return the circuits of a job as a table.

    Parameters
    ----------
    words
        Of the document.
    answer
        Has ``circuits``.
    with_figures
        Whether current and drop stand in it, for those who build.

    Returns
    -------
    Table
        A row for each circuit.
    """
    columns = [
        Column(words.say("Circuit"), share=2.4),
        Column(words.say("Conductor"), share=1.3),
        Column(words.say("Length one way"), is_figure=True),
        Column(words.say("Fuse"), share=2.4),
    ]
    if with_figures:
        columns += [
            Column(words.say("Sized for"), is_figure=True),
            Column(words.say("Voltage drop"), is_figure=True, share=1.1),
        ]
    rows = [_circuit(words, entry, with_figures=with_figures) for entry in answer["circuits"]]
    return Table(words.say("Circuits"), tuple(columns), tuple(rows))


def _circuit(words: Words, entry: Mapping[str, Any], *, with_figures: bool) -> tuple[str, ...]:
    stated = (
        entry["description"],
        conductor_text(words, entry["conductor"]),
        words.length(entry["route_length_m"]),
        fuse_text(words, entry["fuse"]),
    )
    if not with_figures:
        return stated
    load_a, drop_v = entry["load_current_a"], entry["voltage_drop_v"]
    drop = NOTHING
    if drop_v is not None:
        percent = words.percent(f"{entry['voltage_drop_percent']:.1f}")
        drop = f"{words.voltage(drop_v, 1.0)} ({percent})"
    return (*stated, NOTHING if load_a is None else words.current(load_a), drop)


def named_sources(answer: Answer) -> Mapping[str, str]:
    """Return what feeds a circuit, sources and other circuits, in words by key."""
    entries: Sequence[Mapping[str, Any]] = (*answer["power_sources"], *answer["circuits"])
    return {entry["key"]: entry["description"] for entry in entries}
