"""Marshmallow fields of quantities, and their JSON Schema."""

import math
from typing import Any, TypeVar

from marshmallow import ValidationError, fields

from loomwright.decimal_comma import comma_advice
from loomwright.units import GREATEST_TEXT_LENGTH, QuantityKind

# Digits of a kelvin, or of another unit with its own zero, that a sum of two numbers still holds.
OFFSET_DIGITS = 9

T = TypeVar("T")


class RequestField(fields.Field[T]):
    """A field of a request that checks all there is to check in ``loaded``.

    No field has hooks or validators beside it, and going through those takes as long as the check.
    """

    def loaded(self, value: Any) -> Any:
        """Return the loaded value.

        Parameters
        ----------
        value
            JSON value other than null.

        Returns
        -------
        object
            What the field stands for.

        Raises
        ------
        ValidationError
            What is wrong and what would be accepted.
        """
        raise NotImplementedError


class Quantity(RequestField[float]):
    """A number in the stated unit, or ``"<number> <unit>"``, loaded as coherent SI.

    Parameters
    ----------
    kind
        The quantity with its units.
    least
        Least number in the stated unit.
    greatest
        Greatest number in the stated unit.
    kwargs
        Of the marshmallow field.
    """

    def __init__(self, kind: QuantityKind, least: float, greatest: float, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.kind = kind
        self.least = least
        self.greatest = greatest
        self._least_si = kind.si_of_number(least)
        self._greatest_si = kind.si_of_number(greatest)
        # The bounds are compared in SI, so that each unit meets the same bound.
        slack = 1e-12 * max(abs(self._least_si), abs(self._greatest_si))
        self._least_si -= slack
        self._greatest_si += slack
        self._scale, self._offset = kind.line_of_number
        self._has_offset = self._offset != 0.0
        units = ", ".join(kind.units)
        self._accepted = (
            f"give a number in {kind.stated_unit} from {least:g} to {greatest:g}, "
            f"or text such as '{max(least, min(greatest, 5)):g} {kind.units[0]}' "
            f"with one of the units {units}"
        )

    def loaded(self, value: Any) -> float:
        """Return the loaded value."""
        if isinstance(value, float):
            si = value * self._scale + self._offset
        elif isinstance(value, int):
            if isinstance(value, bool):
                raise ValidationError(f"a truth value is not a quantity; {self._accepted}")
            # An integer too long for a float is out of range, not a fault of the server.
            si = self.kind.si_of_number(float(value)) if abs(value) < 10**300 else math.inf
        elif isinstance(value, str):
            # The length is limited so that no text costs more than a glance.
            parsed = self.kind.si_of_text(value) if len(value) <= GREATEST_TEXT_LENGTH else None
            if parsed is None:
                raise ValidationError(
                    f"{comma_advice(value) or 'not a quantity'}; {self._accepted}"
                )
            si = parsed
        else:
            raise ValidationError(f"not a quantity; {self._accepted}")
        if not self._least_si <= si <= self._greatest_si:
            raise ValidationError(f"out of range; {self._accepted}")
        # The sum of -40 and 273.15 is 233.14999999999998, which a model that starts at 233.15
        # would refuse.
        return round(si, OFFSET_DIGITS) if self._has_offset else si

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field, both forms."""
        return {
            "anyOf": [
                {"type": "number", "minimum": self.least, "maximum": self.greatest},
                {"type": "string", "pattern": self.kind.pattern, "maxLength": GREATEST_TEXT_LENGTH},
            ],
            "x-unit": self.kind.stated_unit,
            "x-accepted-units": list(self.kind.units),
        }


class PlainNumber(RequestField[float]):
    """A JSON number without unit inside a closed range; truth values and text are refused."""

    def __init__(self, least: float, greatest: float, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least = least
        self.greatest = greatest

    def loaded(self, value: Any) -> float:
        """Return the loaded value."""
        if (
            isinstance(value, bool)
            or not isinstance(value, (int, float))
            or not self.least <= value <= self.greatest
        ):
            advice = comma_advice(value)
            raise ValidationError(
                f"{f'{advice}; ' if advice else ''}"
                f"give a number from {self.least:g} to {self.greatest:g}"
            )
        return float(value)

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {"type": "number", "minimum": self.least, "maximum": self.greatest}


class WholeNumber(RequestField[int]):
    """A JSON integer inside a closed range; truth values and text are refused."""

    def __init__(self, least: int, greatest: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least = least
        self.greatest = greatest

    def loaded(self, value: Any) -> int:
        """Return the loaded value."""
        whole = isinstance(value, int) or (isinstance(value, float) and value.is_integer())
        if isinstance(value, bool) or not whole or not self.least <= value <= self.greatest:
            advice = comma_advice(value)
            raise ValidationError(
                f"{f'{advice}; ' if advice else ''}"
                f"give a whole number from {self.least} to {self.greatest}"
            )
        return int(value)

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {"type": "integer", "minimum": self.least, "maximum": self.greatest}


class Key(RequestField[str]):
    """One key out of a closed list."""

    def __init__(self, keys: tuple[str, ...], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.keys = keys
        self._known = frozenset(keys)

    def loaded(self, value: Any) -> str:
        """Return the loaded value."""
        if not isinstance(value, str) or value not in self._known:
            raise ValidationError(f"give one of: {', '.join(self.keys)}")
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {"type": "string", "enum": list(self.keys)}


class Flag(RequestField[bool]):
    """``true`` or ``false``; numbers and other words are refused."""

    def loaded(self, value: Any) -> bool:
        """Return the loaded value."""
        if not isinstance(value, bool):
            raise ValidationError("give true or false")
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {"type": "boolean"}


class Text(RequestField[str]):
    """Plain text of limited length without control characters."""

    def __init__(self, greatest_length: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.greatest_length = greatest_length

    def loaded(self, value: Any) -> str:
        """Return the loaded value."""
        if (
            not isinstance(value, str)
            or not 1 <= len(value) <= self.greatest_length
            or not value.isprintable()
        ):
            raise ValidationError(f"give printable text of 1 to {self.greatest_length} characters")
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {"type": "string", "minLength": 1, "maxLength": self.greatest_length}


class QuantityList(Quantity):
    """A list of quantities of one kind and range.

    Parameters
    ----------
    kind
        The quantity with its units.
    least
        Least of each, in the stated unit.
    greatest
        Greatest of each, in the stated unit.
    greatest_count
        Most quantities in the list; the least is one.
    kwargs
        Of the marshmallow field.
    """

    def __init__(
        self,
        kind: QuantityKind,
        least: float,
        greatest: float,
        greatest_count: int,
        **kwargs: Any,
    ) -> None:
        super().__init__(kind, least, greatest, **kwargs)
        self.greatest_count = greatest_count

    def loaded(self, value: Any) -> Any:
        """Return the loaded value."""
        if not isinstance(value, list) or not 1 <= len(value) <= self.greatest_count:
            raise ValidationError(f"give a list of 1 to {self.greatest_count} quantities")
        loaded = []
        faults: dict[int, Any] = {}
        for index, entry in enumerate(value):
            try:
                loaded.append(super().loaded(entry))
            except ValidationError as error:
                faults[index] = error.messages
        if faults:
            raise ValidationError(faults)
        return loaded

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {
            "type": "array",
            "minItems": 1,
            "maxItems": self.greatest_count,
            "items": super().json_schema(),
        }


class KeyList(Key):
    """A list of keys out of a closed list, each at most once."""

    def loaded(self, value: Any) -> Any:
        """Return the loaded value."""
        if (
            not isinstance(value, list)
            or not value
            or not all(isinstance(entry, str) and entry in self._known for entry in value)
            or len(set(value)) < len(value)
        ):
            raise ValidationError(
                f"give a list of one or more, each once, of: {', '.join(self.keys)}"
            )
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {
            "type": "array",
            "minItems": 1,
            "maxItems": len(self.keys),
            "uniqueItems": True,
            "items": super().json_schema(),
        }
