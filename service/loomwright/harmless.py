"""Texts that are what they look like, and texts of cells that no spreadsheet takes for formulas."""

import re

# What ends a line or is no part of one: C0, DEL and C1, line and paragraph separator.
_CONTROLS = (("\x00", "\x1f"), ("\x7f", "\x9f"), ("\u2028", "\u2029"))
# What nobody sees and what turns the direction of the text behind it, so that one text can look
# like another (Unicode Technical Report 36, 2.5 and 3.1): format characters and tags.
_UNSEEN = (
    ("\u00ad", "\u00ad"),
    ("\u034f", "\u034f"),
    ("\u061c", "\u061c"),
    ("\u180e", "\u180e"),
    ("\u200b", "\u200f"),
    ("\u202a", "\u202e"),
    ("\u2060", "\u206f"),
    ("\ufeff", "\ufeff"),
    ("\ufff9", "\ufffb"),
    ("\U000e0000", "\U000e0fff"),
)
# What no font knows or no document may hold: private use and what is no character at all (XML 1.0,
# production 2; Unicode, 23.6 and 23.7).
_NOBODYS = (
    ("\ue000", "\uf8ff"),
    ("\ufdd0", "\ufdef"),
    ("\ufffc", "\ufffc"),
    ("\ufffe", "\uffff"),
    *((chr(plane << 16 | 0xFFFE), chr(plane << 16 | 0xFFFF)) for plane in range(1, 15)),
    ("\U000f0000", "\U0010ffff"),
)
# Half of a pair by itself, of which no encoding exists.
_HALVES = (("\ud800", "\udfff"),)


def _class(*ranges: tuple[tuple[str, str], ...]) -> str:
    """Return the inner part of a character class, as Python and RE2 both read it."""
    return "".join(f"{first}-{last}" for group in ranges for first, last in group)


# Those of them that Python takes for printable; a class of all would take ten times as long.
_PRINTABLE_YET = re.compile("[\u034f\ufffc\U000e0100-\U000e01ef]")
_CONTROL = re.compile(f"[{_class(_CONTROLS)}]")
_WITHOUT_A_PLACE = re.compile(f"[{_class(_UNSEEN)}]+")
_WITHOUT_A_LOOK = re.compile(f"[{_class(_NOBODYS, _HALVES)}]")
_REPLACEMENT = "\ufffd"

# What starts a formula: the signs, also as full-width forms, which some programs take for the same.
# Tabs and line ends in front of them are control characters and become spaces first.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_STARTS_FORMULA = re.compile(rf"[{_SIGNS}'\t\r\n]")
# A program of another country takes a semicolon for the end of a cell, even within the quotes of a
# cell that does not start with one; what follows must not start a formula either.
_FORMULA_BEHIND_SEPARATOR = re.compile(rf"([;|][\s\"]*)(?=[{_SIGNS}])")
# Matches every text that ``harmless`` changes, and few that it does not, in expressions without
# backtracking. No column of texts holds half of a pair, and RE2 knows none.
SUSPICIOUS = rf"^[ \x{{a0}}]*[{_SIGNS}']|[;|]|[\x00-\x1f{_class(_CONTROLS[1:], _UNSEEN, _NOBODYS)}]"


def one_line(text: str) -> str:
    """Return a text as one line in which nothing is hidden.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        With a space for each control character and line end, without characters that nobody sees or
        that turn the direction of text, and with U+FFFD for what is no character: halves of pairs,
        noncharacters and characters for private use.

    References
    ----------
    Unicode Technical Report 36; XML 1.0, production 2.
    """
    if text.isprintable() and (text.isascii() or _PRINTABLE_YET.search(text) is None):
        return text
    seen = _WITHOUT_A_PLACE.sub("", _CONTROL.sub(" ", text))
    return _WITHOUT_A_LOOK.sub(_REPLACEMENT, seen)


def harmless(text: str) -> str:
    """Return the text of a cell that no program takes for a formula.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        In one line (``one_line``) and, where it starts as a formula or with an apostrophe, an
        apostrophe in front.

    References
    ----------
    CWE-1236; the apostrophe is the common remedy, no source for the rest.
    """
    line = one_line(text)
    marked = "'" if _STARTS_FORMULA.match(line.lstrip(" \u00a0")) else ""
    return marked + _FORMULA_BEHIND_SEPARATOR.sub(r"\1'", line)
