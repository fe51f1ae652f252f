"""Numbers written with a comma, which are refused with what to write instead and never guessed.

``41,25`` is forty-one and a quarter in some countries, ``1,234`` is 1234 in others: nothing in the
text tells which is meant.
"""

import re

# Sign, digits with points, commas and the spaces and apostrophes that group thousands, and a unit.
_SPACES = " '\u00a0\u2009\u202f\u2019"
_NUMBER = re.compile(rf"\s*([+-]?)([0-9](?:[0-9.,{_SPACES}]*[0-9])?)(\s?[^0-9.,\s{_SPACES}]*)\s*")
_LONGEST = 40


def comma_advice(value: object) -> str | None:
    """Return what to write instead of a number with a comma.

    Parameters
    ----------
    value
        What was given for a number.

    Returns
    -------
    str or None
        Words that go on after a semicolon, or none where the value is no text of a number with a
        comma.
    """
    if not isinstance(value, str) or len(value) > _LONGEST or "," not in value:
        return None
    match = _NUMBER.fullmatch(value)
    if match is None or "," not in match[2]:
        return None
    sign, digits, unit = match[1], re.sub(f"[{_SPACES}]", "", match[2]), match[3]
    readings = " or ".join(f"{sign}{reading}{unit}" for reading in _readings(digits))
    return f"a comma is not read, write {readings}" if readings else "a comma is not read"


def _readings(digits: str) -> list[str]:
    """Return the numbers that digits with commas may mean, the likelier first."""
    last = max(digits.rfind(","), digits.rfind("."))
    mark, whole, rest = digits[last], digits[:last], digits[last + 1 :]
    bare = re.sub("[.,]", "", whole)
    if mark in whole:
        # The same mark twice groups thousands; then nothing stands for the decimals.
        return [] if "." in digits and "," in digits else [bare + rest]
    if mark == "," and len(rest) == 3 and len(whole) <= 3 and "." not in whole and whole[0] != "0":
        return [f"{whole}.{rest}", whole + rest]
    return [f"{bare}.{rest}"]
