"""Texts of cells that no spreadsheet takes for formulas."""

import re

# What starts a formula: the signs, also as full-width forms, which some programs take for the same.
# Tabs and line ends in front of them are control characters and become spaces first.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_STARTS_FORMULA = re.compile(rf"[{_SIGNS}'\t\r\n]")
# A program of another country takes a semicolon for the end of a cell, even within the quotes of a
# cell that does not start with one; what follows must not start a formula either.
_FORMULA_BEHIND_SEPARATOR = re.compile(rf"([;|][\s\"]*)(?=[{_SIGNS}])")
_CONTROLS = "\\x00-\\x1f\\x7f-\\x9f\u2028\u2029\ufeff"
_CONTROL = re.compile(f"[{_CONTROLS}]")
# Matches every text that ``harmless`` changes, and few that it does not, in expressions without
# backtracking.
SUSPICIOUS = rf"^[ \x{{a0}}]*[{_SIGNS}']|[;|]|[{_CONTROLS}]".replace("\\x7f-\\x9f", "\\x7f-\\x{9f}")


def harmless(text: str) -> str:
    """Return the text of a cell that no program takes for a formula.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        With spaces for control characters and, where it starts as a formula or with an apostrophe,
        an apostrophe in front.

    References
    ----------
    CWE-1236; the apostrophe is the common remedy, no source for the rest.
    """
    marked = "'" if _STARTS_FORMULA.match(text.lstrip(" \u00a0")) else ""
    return marked + _FORMULA_BEHIND_SEPARATOR.sub(r"\1'", _CONTROL.sub(" ", text))
