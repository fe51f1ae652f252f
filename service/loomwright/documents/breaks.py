"""Texts as they may be set: in one line, and with points to break what is too long.

Lengths are in em, the type size.
"""

import re

from loomwright.harmless import one_line

ZERO_WIDTH_SPACE = "\u200b"
# No character is wider, whatever font of Typst's it is taken from.
GREATEST_EM = 1.25
# Advances of Libertinus Serif with its figures of equal width, rounded up to the next 0.02 em
# (measured by Typst; a test holds them). The usual Latin letters; any other counts as
# ``GREATEST_EM``.
_LETTERS = {
    0.20: "'",
    0.22: ",.|",
    0.24: ":;",
    0.26: " \u00a0·",
    0.28: "ijl{}°ìíîïł\u2018\u2019",
    0.30: "!()I\\¡ÌÍÎÏ",
    0.32: "ftª²³¹",
    0.34: '"-/J',
    0.36: "[]\u00b4º•",
    0.38: "*r¨ř“”„",
    0.40: "`s¯śš",
    0.44: "?cz¿çćčźżž",
    0.46: "aeàáâãäåèéêëąęě",
    0.48: "#$0123456789£§€",
    0.50: "FS_bgvxðğŚŠμ",
    0.52: "^dkopqyµòóôõöøýő",
    0.54: "LhuùúûüŁůű≈≤≥",
    0.56: "+<=>EPn«±»ÈÉÊË\u00d7ßñ÷ńň\u2013\u2212",
    0.58: "YÝ",
    0.60: "BRT",
    0.62: "Z¶ŹŻŽ",
    0.64: "%K",
    0.66: "CVX¼½¾Ç",
    0.68: "UÙÚÛÜ",
    0.70: "AGN©®ÀÁÂÃÄÅÑæΩ",
    0.72: "&DOQÐÒÓÔÕÖØ",
    0.74: "H",
    0.76: "w—…",
    0.78: "œ",
    0.80: "m",
    0.84: "M",
    0.88: "Æ",
    0.90: "@",
    0.96: "W",
}
# No letter is so much wider in bold, and no pair of letters is kerned so far apart.
BOLD = 1.27
_KERNED = 1.042


class _Widths(dict[str, float]):
    """Widths by letter; a letter that is not among them takes the greatest."""

    def __missing__(self, letter: str) -> float:
        return GREATEST_EM


_WIDTHS = _Widths({letter: width for width, letters in _LETTERS.items() for letter in letters})
_LEAST_LENGTH = 4
_LONG_WORD = re.compile(rf"[^\s]{{{_LEAST_LENGTH},}}")
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
        Width [em] in regular weight; without kerning, which sets few pairs apart.
    """
    return sum(map(_WIDTHS.__getitem__, text))


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
    return len(text) * GREATEST_EM <= room_em or _KERNED * width_em(text) <= room_em


class Fitting:
    """Texts made to fit in their columns.

    ``hyphenates`` is true once a word has to be divided by the rules of its language. Division is
    wanted only then, as the setter would divide many a word that fits on the next line.
    """

    __slots__ = ("hyphenates",)

    def __init__(self) -> None:
        self.hyphenates = False

    def text(self, text: str, room_em: float, *, bold: bool = False) -> str:
        """Return a text that is harmless and does not run out of its column.

        Parameters
        ----------
        text
            Any.
        room_em
            Width of the column [em].
        bold
            Whether it is set in bold.

        Returns
        -------
        str
            With zero-width spaces at which a word may break that is too long for the column and
            that no rules of a language divide.
        """
        clean = one_line(text)
        if bold:
            room_em /= BOLD
        if max(map(len, clean.split()), default=0) * GREATEST_EM <= room_em or fits(clean, room_em):
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
