"""Texts as they may be set: without controls, and with points to break what is too long.

Lengths are in em, the type size.
"""

import re

ZERO_WIDTH_SPACE = "\u200b"
# No character is wider, whatever font of Typst's it is taken from.
GREATEST_EM = 1.25
# Widest of Libertinus Serif in regular and bold, rounded up to the next 0.05 em (measured by Typst;
# a test holds them). The usual Latin letters; any other counts as ``GREATEST_EM``.
_LETTERS = {
    0.25: " \u00a0',.|·",
    0.30: "!:;¡°\u2018\u2019",
    0.35: "()/\\ijl{}ª²³\u00b4¹ìíîï",
    0.40: '"-IJ[]`ft¯ºÌÍÎÏ•',
    0.45: "*?rs¨¿š“”„",
    0.50: "_cez§çèéêëćčęěźżž",
    0.55: "#$+0123456789<>FS^abgv£±àáâãäå÷ąğśŚŠ€≈≤≥\u00d7\u2013\u2212",
    0.60: "=Ldopquxy«µ»ðòóôõöøùúûüýłŁőůűμ",
    0.65: "%EPYZhkn¶ÈÉÊËßñńňřŹŻŽ",
    0.70: "BTV©®¼½¾Ý",
    0.75: "&ACDGKNOQRUXÀÁÂÃÄÅÇÐÑÒÓÔÕÖØÙÚÛÜæ—Ω",
    0.80: "w",
    0.85: "Hœ…",
    0.90: "M",
    0.95: "m",
    1.05: "@ÆW",
}
_WIDTHS = {letter: width for width, letters in _LETTERS.items() for letter in letters}
_LEAST_LENGTH = 4
_LONG_WORD = re.compile(rf"[^\s]{{{_LEAST_LENGTH},}}")
# Control characters become spaces; marks that turn the direction of what follows are dropped, as
# they could make a text read otherwise than it is (Unicode Technical Report 36).
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_DIRECTION = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u206f\ufeff\ufff9-\ufffb]")
# Half of a pair by itself is no character, and no encoding of it exists.
_HALF = re.compile("[\ud800-\udfff]")
_AFTER_JOINT = re.compile(r"(?<=[_./:,;=+|&\-])(?=[^\s])")
# A word that the rules of a language can divide: letters alone, a capital only in front, never five
# vowels or seven consonants in a row.
_NATURAL = re.compile(
    r"\W*[^\W\d_](?:(?![aeiouyäöüáéíóúñ]{5}|[^aeiouyäöüáéíóú]{7})[a-zß-ÿ]){0,40}\W*"
)


def width_em(text: str) -> float:
    """Return an upper bound of the width of a text in one line.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    float
        Width [em] without kerning, which sets few pairs apart; a tenth too much for usual texts.
    """
    width = _WIDTHS.get
    return sum([width(letter, GREATEST_EM) for letter in text])


def fits(text: str, room_em: float) -> bool:
    """Return whether a text surely stands in one line.

    Parameters
    ----------
    text
        Any.
    room_em
        Width of the line [em].

    Returns
    -------
    bool
        True by its length alone or by ``width_em``.
    """
    return len(text) * GREATEST_EM <= room_em or width_em(text) <= room_em


def harmless_text(text: str) -> str:
    """Return a text without what is no character of a line.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        With spaces for control characters and without marks of direction.
    """
    if text.isprintable():
        return text
    return _HALF.sub("\ufffd", _DIRECTION.sub("", _CONTROL.sub(" ", text)))


class Fitting:
    """Texts made to fit in their columns.

    ``hyphenates`` is true once a word has to be divided by the rules of its language. Division is
    wanted only then, as the setter would divide many a word that fits on the next line.
    """

    __slots__ = ("hyphenates",)

    def __init__(self) -> None:
        self.hyphenates = False

    def text(self, text: str, room_em: float) -> str:
        """Return a text that is harmless and does not run out of its column.

        Parameters
        ----------
        text
            Any.
        room_em
            Width of the column [em].

        Returns
        -------
        str
            With zero-width spaces at which a word may break that is too long for the column and
            that no rules of a language divide.
        """
        clean = harmless_text(text)
        if fits(clean, room_em):
            return clean
        return _LONG_WORD.sub(lambda found: self._fitted(found[0], room_em), clean)

    def _fitted(self, word: str, room_em: float) -> str:
        if fits(word, room_em):
            return word
        if _NATURAL.fullmatch(word):
            self.hyphenates = True
            return word
        return ZERO_WIDTH_SPACE.join(
            piece if fits(piece, room_em) else ZERO_WIDTH_SPACE.join(piece)
            for piece in _AFTER_JOINT.split(word)
        )
