"""Texts of the steps of a work order in the language of a document.

The engine writes them in English, from a few forms. Here each form is known with placeholders, a
text is read back by them, and what stood in a placeholder is set anew: a length in the units of the
document, a place in its language, a name as the job states it. A text of no known form stays as it
is; a test holds all that the engine writes to the forms.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from functools import cache
from typing import Any

from loomwright.documents.vocabulary import ENDS, TERMINALS, ZONES
from loomwright.documents.words import TIMES, Words
from loomwright.marked import marked
from loomwright.tables.fuse_words import FUSE_TYPE_TEXTS, FUSE_TYPES, fuse_standard

# Forms by kind of step, without the circuit that a text begins with.
FORMS: Mapping[str, tuple[str, ...]] = {
    "make_safe": (
        marked(
            "Park {name}: secured against rolling, not ready, unplugged; note faults that show"
            " and settings that isolating will clear."
        ),
        marked(
            "Park {name}: secured against rolling, engine and ignition off; note faults that show"
            " and settings that isolating will clear."
        ),
    ),
    "isolate": (
        marked(
            "Disconnect {name}, negative first, and cover its terminals; if it is not fitted yet,"
            " leave it unconnected."
        ),
        marked("Disconnect {name}, negative first, and cover its terminals."),
        marked("Isolate {name} at the battery behind it, negative first, and cover the post."),
        marked("Isolate {name}: switch the converter off and isolate what feeds it."),
        marked("Isolate {name} at the battery or isolator behind it, and cover it."),
    ),
    "prove_dead": (
        marked("Prove that every feeding point is dead, with a meter proven on a live source."),
    ),
    "uncover": (
        marked(
            "Raise the vehicle and support it. Take off trim and covers along the routes, and keep"
            " their fixings together: {place}."
        ),
        marked(
            "Take off trim and covers along the routes, and keep their fixings together: {place}."
        ),
    ),
    "protect": (
        marked(
            "open the panel between {place} and {other_place}, where both sides are seen, deburr"
            " and coat the edge, fit the grommet for a bundle of {diameter}."
        ),
        marked(
            "open the panel within {place}, where both sides are seen, deburr and coat the edge,"
            " fit the grommet for a bundle of {diameter}."
        ),
    ),
    "cut": (
        marked(
            "cut {size} for the feed in one piece ({name}) and for the return ({other_name}),"
            " slack included; mark them."
        ),
        marked(
            "cut {size} for the feed in one piece ({name}) and for the ground lead"
            " ({other_name}), slack included; mark them."
        ),
        marked(
            "cut {size} for the feed in {count} pieces ({name}) and for the return"
            " ({other_name}), slack included; mark them."
        ),
        marked(
            "cut {size} for the feed in {count} pieces ({name}) and for the ground lead"
            " ({other_name}), slack included; mark them."
        ),
    ),
    "lay": (
        marked("lay {length} of {size}, in loom, tied: {place}."),
        marked("lay {length} of {size}, wrapped in tape, tied: {place}."),
        marked("lay {length} of {size}, open, tied: {place}."),
    ),
    "terminate": (
        marked("make off the ends of {size}: {ends}."),
        marked("strip and mark the ends; the equipment takes them bare."),
    ),
    "ground": (
        marked(
            "make the ground point {name} on bare, clean metal, bolt the ground lead down, seal it."
        ),
    ),
    "fit_holder": (
        marked("fix the empty fuse holder near {name}, on the feeding point itself; label it."),
        marked("fix the empty fuse holder near {name}, {length} of it away; label it."),
    ),
    "fit_block": (marked("fix the distribution block, empty; label its ways."),),
    "mount": (
        marked("Mount {count} x {name}, so that it holds in a crash."),
        marked("Mount {name}, so that it holds in a crash."),
    ),
    "connect_load": (
        marked("connect the distribution block, return first."),
        marked("connect {name}, return first."),
        marked("insulate and fix the free end; no branch of it is built."),
    ),
    "signal": (
        marked("lay and connect the signal leads, away from the power conductor: {leads}."),
    ),
    "remote": (marked("lay and connect the remote leads: {leads}."),),
    "tap": (marked("connect to the vehicle's own wiring: {name}."),),
    "connect_feed": (
        marked("with no fuse in place, connect the feed at its way of the distribution block."),
        marked("with no fuse in place, connect the feed at {name}."),
    ),
    "test_dead": (marked("test the dead circuit with its fuse out."),),
    "clear": (
        marked(
            "Count the tools, clear the vehicle and tell all who are near that it becomes live."
        ),
    ),
    "fuse": (
        marked("fit the fuse of {rating} ({fuse_type}), while the source is still isolated."),
        marked("fit the fuse of {rating} ({fuse_type}), as the last connection."),
    ),
    "reconnect": (
        marked("Reconnect the battery behind {name}, negative last, and close the post."),
        marked("Reconnect what feeds {name}, then switch the converter on."),
        marked("Reconnect {name}, negative last."),
        marked("Connect {name}, negative last."),
        marked("Bring {name} back at the battery or isolator behind it."),
    ),
    "test_load": (
        marked("test under load; note voltage, current and drop."),
        marked("no load hangs on it yet; note the voltage at its free end."),
    ),
    "cover": (
        marked("Refit trim and covers, with all their fixings: {place}. Lower the vehicle."),
        marked("Refit trim and covers, with all their fixings: {place}."),
    ),
    "hand_over": (
        marked(
            "Test every function old and new, read out the faults, enter the readings and hand"
            " the vehicle over with the equipment's manuals."
        ),
    ),
}
# The shop's own words: an operation of its price book, and the reasons that the job gives.
OF_THE_SHOP = frozenset({"other"})
CHECKS: tuple[str, ...] = (
    marked("Keys are put away from the vehicle."),
    marked("The data bus is at rest."),
    marked("No voltage between {name} and the body."),
    marked("Nowhere beside the power conductor; crossings at right angles."),
    marked("Continuity from end to end, and none to the body."),
    marked("The wire is the right one by the maker's diagram, and no airbag circuit."),
    marked("It does not move, and nothing lies pinched beneath it."),
    marked("Every holder and every way is empty, every load is switched off."),
    marked("{voltage} and the right polarity at every fuse that it feeds."),
    marked("Nothing is pinched, and no clip pierces a conductor."),
    marked("No warning lamp stays on."),
    marked("The customer was shown where the fuses are."),
    marked("From the free end of the lead to the body there is no resistance to speak of."),
    marked("The holder is empty."),
    marked("No way holds a fuse."),
    marked("Feed on the positive, return on the negative terminal."),
    marked("No bare metal is left at the free end."),
    marked("The holder is still empty."),
    marked("The way is still empty."),
    marked("Continuity of feed and return from end to end."),
    marked("Polarity at the equipment: feed to positive, return to negative."),
    marked("Insulation: behind the empty fuse the feed has no short to the body or the return."),
    marked("The fuse says {rating} and the equipment is switched off."),
    marked("Current under full load: {current} expected."),
    marked("Drop of the wiring there and back: {drop} expected, no more than {greatest_drop}."),
    marked("No connection grows warmer than its conductor."),
    marked("The voltage at the free end is that of the source."),
    marked("Both sides of the panel are seen before it is opened."),
    marked("No bare edge is left and no chip lies behind it."),
    marked("Clear of moving, hot and sharp parts; nothing pulls at it."),
    marked("Each end holds when it is pulled."),
    marked("Unconnected, the feed has no contact with the body or with the return."),
)
_PLACES_BY_NAME: Mapping[str, str] = {name: name for name in ZONES.values()}
_FUSE_TYPES_BY_TEXT: Mapping[str, str] = {text: key for key, text in FUSE_TYPE_TEXTS.items()}
_PLACEHOLDER = re.compile(r"\{(\w+)\}")
# From the start of a figure only, so that a long one is not read again from each of its digits.
_LENGTH = re.compile(r"(?<![0-9.])([0-9.]+) m")


def step_text(words: Words, step: Mapping[str, Any], circuits: Mapping[str, str]) -> str:
    """Return the text of a step in the language of a document.

    Parameters
    ----------
    words
        Of the document.
    step
        Of the work order of an answer.
    circuits
        Descriptions of the circuits by key.

    Returns
    -------
    str
        Plain text.
    """
    text: str = step["text"]
    if step["kind"] in OF_THE_SHOP:
        return text
    start = f"{circuits.get(step['circuit'], '')}: "
    if len(start) == len(": ") or not text.startswith(start):
        start = ""
    return start + (set_anew(words, text.removeprefix(start), FORMS[step["kind"]]) or text)


def check_text(words: Words, text: str) -> str:
    """Return what is checked in a step in the language of a document."""
    return set_anew(words, text, CHECKS) or text


def set_anew(words: Words, text: str, forms: tuple[str, ...]) -> str | None:
    """Return a text of the engine in the language of a document.

    Parameters
    ----------
    words
        Of the document.
    text
        English.
    forms
        What it can be; the first that fits is taken.

    Returns
    -------
    str or None
        None where no form fits.
    """
    for form in forms:
        match = _matcher(form).fullmatch(text)
        if match is not None:
            found = match.groupdict()
            stated = {name: _setter(name)(words, value) for name, value in found.items()}
            return words.say(form, **stated)
    return None


@cache
def _matcher(form: str) -> re.Pattern[str]:
    pieces = _PLACEHOLDER.split(form)
    # Every other piece is the name of a placeholder. Names are free text of the job.
    return re.compile(
        "".join(
            f"(?P<{piece}>{_SHAPES.get(piece, '.+')})" if place % 2 else re.escape(piece)
            for place, piece in enumerate(pieces)
        ),
        re.DOTALL,
    )


def _one_of(texts: Iterable[str]) -> str:
    return "|".join(map(re.escape, texts))


_SHAPES: Mapping[str, str] = {
    "length": r"[0-9.]+ m",
    "diameter": r"[0-9.]+ mm",
    "count": "[0-9]+",
    "rating": "[0-9.e+]+ A",
    "current": "[0-9.]+ A",
    "voltage": "[0-9.e+]+ V",
    "drop": "[0-9.]+ V",
    "greatest_drop": "[0-9.]+ V",
    "fuse_type": _one_of(_FUSE_TYPES_BY_TEXT),
    "place": _one_of(_PLACES_BY_NAME),
    "other_place": _one_of(_PLACES_BY_NAME),
}


def _figure(text: str) -> float:
    return float(text.rpartition(" ")[0])


def _length(words: Words, text: str) -> str:
    return words.length(_figure(text))


def _leads(words: Words, text: str) -> str:
    """Return a list of leads with its lengths set anew; what kind each is, the job says."""
    return _LENGTH.sub(lambda found: _length(words, found[0]), text)


def _ends(words: Words, text: str) -> str:
    return "; ".join(_end(words, entry) for entry in text.split("; "))


def _end(words: Words, text: str) -> str:
    count, _, rest = text.partition(" x ")
    for terminal in sorted(TERMINALS, key=len, reverse=True):
        place = rest.removeprefix(f"{terminal} ")
        if place != rest and place in ENDS:
            return f"{count} {TIMES} {words.say(terminal)} {words.say(place)}"
    return text


def fuse_type_text(words: Words, fuse_type: str) -> str:
    """Return the name of a fuse type with its standard, in signs that stay together."""
    standard = fuse_standard(fuse_type).replace("-", "\u2011").replace(" ", "\u00a0")
    return f"{words.say(FUSE_TYPES[fuse_type])}, {standard}"


def _voltage(words: Words, text: str) -> str:
    return words.voltage(_figure(text), 1.0)


def _as_stated(words: Words, text: str) -> str:
    del words
    return text


_SETTERS: Mapping[str, Callable[[Words, str], str]] = {
    "length": _length,
    "diameter": lambda words, text: words.small_length(1e-3 * _figure(text)),
    "size": lambda words, text: words.section(text),
    "place": lambda words, text: words.say(text),
    "other_place": lambda words, text: words.say(text),
    "rating": lambda words, text: words.rating(_figure(text)),
    "current": lambda words, text: words.current(_figure(text)),
    "voltage": lambda words, text: f"{words.quantity(text.rpartition(' ')[0])}\u00a0V",
    "drop": _voltage,
    "greatest_drop": _voltage,
    "fuse_type": lambda words, text: fuse_type_text(words, _FUSE_TYPES_BY_TEXT[text]),
    "ends": _ends,
    "leads": _leads,
    "count": lambda words, text: words.exact(Decimal(text)),
}


def _setter(name: str) -> Callable[[Words, str], str]:
    return _SETTERS.get(name, _as_stated)
