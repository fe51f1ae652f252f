"""Marks texts that are said in the language of whoever reads them."""


def marked(text: str) -> str:
    """Return a text that is translated later, as it is.

    Marks it for those who look for texts without translation.
    """
    return text
