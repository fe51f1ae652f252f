"""A sheet of labels, one for each fuse that is fitted, to cut out and stick beside it."""

from collections.abc import Iterator, Mapping
from typing import Any

from loomwright.documents.heads import Answer, conductor_text, named_sources, sheet_of
from loomwright.documents.options import DocumentOptions
from loomwright.documents.sheet import Label, Labels, Paragraph, Section, Sheet
from loomwright.documents.step_words import fuse_type_text
from loomwright.documents.words import Words

WIDTH_MM, HEIGHT_MM = 60.0, 26.0


def fuse_labels_sheet(answer: Answer, options: DocumentOptions) -> Sheet:
    """Return the labels of the fuses of a job.

    Parameters
    ----------
    answer
        Answer document of a priced job; that of one plan has ``equipment`` besides.
    options
        Language and units.

    Returns
    -------
    Sheet
        With one label for each circuit that has a fuse, in the order of the circuits.
    """
    words = Words(options)
    labels = tuple(
        _label(words, circuit, answer) for circuit in answer["circuits"] if circuit["fuse"]
    )
    wide, high = (words.small_length(1e-3 * side) for side in (WIDTH_MM, HEIGHT_MM))
    told = words.say(
        "Print at full size and cut along the lines;"
        " one label is {width} wide and at least {height} high.",
        width=wide,
        height=high,
    )
    section = Section(words.say("Labels"), (Paragraph(told), Labels(labels, WIDTH_MM, HEIGHT_MM)))
    return sheet_of(words, answer, words.say("Fuse labels"), (), [section])


def _label(words: Words, circuit: Mapping[str, Any], answer: Answer) -> Label:
    fuse = circuit["fuse"]
    return Label(
        head=words.rating(fuse["rated_current_a"]),
        lines=(
            circuit["description"],
            fuse_type_text(words, fuse["fuse_type"]),
            words.say("Conductor: {size}", size=conductor_text(words, circuit["conductor"])),
            *(
                words.say("Feeds: {name}", name=name)
                for name in [", ".join(fed_by(answer, circuit["key"]))]
                if name
            ),
            words.say("From: {name}", name=named_sources(answer)[circuit["fed_from"]]),
        ),
    )


def fed_by(answer: Answer, circuit: str) -> Iterator[str]:
    """Yield what hangs on a circuit in words: its equipment, then the circuits that it feeds."""
    for item in answer.get("equipment", ()):
        if item["circuit"] == circuit:
            yield item["description"]
    for other in answer["circuits"]:
        if other["fed_from"] == circuit:
            yield other["description"]
