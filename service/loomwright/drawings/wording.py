"""The words and figures of a drawing in the language of the document that it stands in."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

# What is meant where a drawing says nothing of the material of a conductor.
PLAIN_COPPER = "copper"


def metres(length_m: float) -> str:
    """Return a length [m] to the centimetre, without zeros at its end."""
    return f"{length_m:.2f}".rstrip("0").rstrip(".") + " m"


@dataclass(frozen=True, slots=True)
class Wording:
    """How a drawing says what it shows.

    Parameters
    ----------
    texts
        What stands for an English text; one that is not among them stays as it is.
    decimal_sign
        Between the units and the tenths of a figure.
    length
        Sets a length [m].
    """

    texts: Mapping[str, str] = field(default_factory=dict)
    decimal_sign: str = "."
    length: Callable[[float], str] = metres

    def say(self, text: str, **values: str) -> str:
        """Return an English text in the language of the drawing.

        Parameters
        ----------
        text
            Such as ``"gives {current}"``.
        **values
            What stands in its placeholders.

        Returns
        -------
        str
            Plain text.
        """
        found = self.texts.get(text, text)
        return found.format(**values) if values else found

    def figure(self, text: str) -> str:
        """Return a decimal figure without groups, such as ``"11.2 A"``, with the right sign."""
        return text.replace(".", self.decimal_sign)


ENGLISH = Wording()
