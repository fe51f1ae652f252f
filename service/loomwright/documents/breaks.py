"""Texts as a printer may set them: without controls, and with points to break what is too long."""

import re

ZERO_WIDTH_SPACE = "\u200b"
# A type size of 9 to 10 pt: the width of a usual letter and what capitals and the like have more.
_LETTER_MM, _WIDER_MM, _WIDEST_MM = 1.7, 0.8, 1.8
_LEAST_LENGTH = 5
# Control characters become spaces; marks that turn the direction of what follows are dropped, as
# they could make a text read otherwise than it is (Unicode Technical Report 36, 3.1).
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_DIRECTION = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u206f\ufeff\ufff9-\ufffb]")
# Half of a pair by itself is no character, and no encoding of it exists.
_HALF = re.compile("[\ud800-\udfff]")
_LONG_WORD = re.compile(rf"[^\s]{{{_LEAST_LENGTH},}}")
_WIDER = re.compile("[A-Z%&@_mw0-9]")
_WIDEST = re.compile("[^\x00-\u024f]")
_AFTER_JOINT = re.compile(r"(?<=[_./:,;=+|&\-])(?=[^\s])")
# A word that the rules of a language can divide: letters alone, never five vowels or seven
# consonants in a row, a capital only in front.
_NATURAL = re.compile(
    r"\W*[^\W\d_](?:(?![aeiouyäöüáéíóúñ]{5}|[^aeiouyäöüáéíóú]{7})[a-zß-ÿ]){0,40}\W*"
)


def set_text(text: str, width_mm: float) -> str:
    """Return a text that is harmless and does not run out of its column.

    Parameters
    ----------
    text
        Any.
    width_mm
        Of the column [mm]; without end for a text that is not set but read out.

    Returns
    -------
    str
        With spaces for control characters, without marks of direction, and with zero-width spaces
        at which a word may break that is too long and that no rules of a language divide.
    """
    if not text.isprintable():
        text = _HALF.sub("\ufffd", _DIRECTION.sub("", _CONTROL.sub(" ", text)))
    if len(text) * _WIDEST_TOTAL_MM <= width_mm:
        return text
    return _LONG_WORD.sub(lambda found: _broken(found[0], width_mm), text)


_WIDEST_TOTAL_MM = _LETTER_MM + _WIDEST_MM


def _broken(word: str, width_mm: float) -> str:
    if _width_mm(word) <= width_mm or _NATURAL.fullmatch(word):
        return word
    pieces = _AFTER_JOINT.split(word)
    return ZERO_WIDTH_SPACE.join(
        piece if _width_mm(piece) <= width_mm else ZERO_WIDTH_SPACE.join(piece)
        for piece in pieces
    )


def _width_mm(word: str) -> float:
    return (
        len(word) * _LETTER_MM
        + len(_WIDER.findall(word)) * _WIDER_MM
        + len(_WIDEST.findall(word)) * _WIDEST_MM
    )
