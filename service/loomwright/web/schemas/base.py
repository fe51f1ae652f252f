"""Base classes of requests and answers, and rules between fields.

A rule between fields stands twice, as JSON Schema for clients and as a check that names the fault;
both are made from the same field names.
"""

from functools import cached_property
from typing import Any, ClassVar, cast

from marshmallow import RAISE, Schema, ValidationError, missing

from loomwright.web.quantities import RequestField

# Messages by field, for a field that holds others by their names or places in turn. None, which no
# JSON name can be, stands for the field as a whole.
Faults = dict[str | int | None, Any]


class Request(Schema):
    """Base of request schemas.

    ``json_schema_rules`` are rules between fields in JSON Schema; ``faults_between`` finds their
    faults.
    """

    json_schema_rules: ClassVar[tuple[dict[str, Any], ...]] = ()

    class Meta:
        """Refuse unknown fields."""

        unknown = RAISE

    def load_document(self, document: Any) -> dict[str, Any]:
        """Return the values of a document, defaults included, quantities in coherent SI.

        The fields that are there are looked at, where ``Schema.load`` looks at each that could be:
        requests give a fifth of them, and the rest took two thirds of the time.

        Parameters
        ----------
        document
            JSON value.

        Returns
        -------
        dict
            Values by field name.

        Raises
        ------
        ValidationError
            With every fault by field.
        """
        if not isinstance(document, dict):
            raise ValidationError("give an object")
        known, required, defaults = self._known_required_and_defaults
        values: dict[str, Any] = {}
        faults: Faults = {}
        for name, value in document.items():
            field = known.get(name)
            if field is None:
                faults[name] = [f"unknown; the fields are {', '.join(known)}"]
                continue
            if value is None:
                faults[name] = ["null is not a value; leave the field out"]
                continue
            try:
                values[name] = field.loaded(value)
            except ValidationError as error:
                faults[name] = error.messages
        for name in required:
            if name not in document:
                faults[name] = ["give it; it is required"]
        for name, message in self.faults_between(values, document):
            own = faults.setdefault(name, [])
            (own.setdefault(None, []) if isinstance(own, dict) else own).append(message)
        if faults:
            raise ValidationError(faults)
        return defaults | values

    def faults_between(
        self, values: dict[str, Any], document: dict[str, Any]
    ) -> list[tuple[str, str]]:
        """Return the faults between fields, as pairs of field and message.

        Parameters
        ----------
        values
            Fields that passed their own check.
        document
            Fields as sent; one that failed its own check is in it.

        Returns
        -------
        list of tuple
            Empty if there are none.
        """
        del values, document
        return []

    @cached_property
    def _known_required_and_defaults(
        self,
    ) -> tuple[dict[str, RequestField[Any]], tuple[str, ...], dict[str, Any]]:
        known = cast(dict[str, RequestField[Any]], self.fields)
        return (
            known,
            tuple(name for name, field in known.items() if field.required),
            {
                name: field.load_default
                for name, field in known.items()
                if field.load_default is not missing
            },
        )


class Answer(Schema):
    """Base of answer schemas, which describe answers and load nothing."""

    class Meta:
        """Answers carry the listed fields and no others."""

        unknown = RAISE


class ObjectList(RequestField[list[dict[str, Any]]]):
    """A list of objects of one request schema.

    Parameters
    ----------
    schema
        Of each object.
    least
        Least number of objects.
    greatest
        Greatest number of objects.
    kwargs
        Of the marshmallow field.
    """

    def __init__(self, schema: type[Request], least: int, greatest: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.schema = schema
        self.least = least
        self.greatest = greatest
        self._each = schema()

    def loaded(self, value: Any) -> list[dict[str, Any]]:
        """Return the loaded objects."""
        if not isinstance(value, list) or not self.least <= len(value) <= self.greatest:
            raise ValidationError(f"give a list of {self.least} to {self.greatest} objects")
        loaded = []
        faults: dict[int, Any] = {}
        for index, entry in enumerate(value):
            try:
                loaded.append(self._each.load_document(entry))
            except ValidationError as error:
                faults[index] = error.messages
        if faults:
            raise ValidationError(faults)
        return loaded

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the field."""
        return {
            "type": "array",
            "minItems": self.least,
            "maxItems": self.greatest,
            "items": {"$ref": f"#/components/schemas/{self.schema.__name__}"},
        }


def exactly_one_of(first: str, second: str) -> dict[str, Any]:
    """Return the JSON Schema rule that one of two fields is given."""
    return {"oneOf": [{"required": [first]}, {"required": [second]}]}


def not_both(first: str, second: str) -> dict[str, Any]:
    """Return the JSON Schema rule that two fields exclude each other."""
    return {"not": {"required": [first, second]}}


def together(first: str, second: str) -> dict[str, Any]:
    """Return the JSON Schema rule that two fields belong together."""
    return {"dependentRequired": {first: [second], second: [first]}}


def describe(text: str, **more: Any) -> dict[str, Any]:
    """Return field metadata with a description."""
    return {"description": text, **more}


def faults_of_choice(
    document: dict[str, Any], first: str, second: str, *, required: bool
) -> list[tuple[str, str]]:
    """Return the fault of two fields that exclude each other, of which one may be required.

    Parameters
    ----------
    document
        Fields as sent.
    first
        Name of one field.
    second
        Name of the other.
    required
        Whether one of both must be given.

    Returns
    -------
    list of tuple
        None or one fault.
    """
    if first in document:
        if second in document:
            return [(first, f"give either {first} or {second}, not both")]
    elif required and second not in document:
        return [(first, f"give {first} or {second}")]
    return []


def faults_of_pair(document: dict[str, Any], first: str, second: str) -> list[tuple[str, str]]:
    """Return the fault of two fields that belong together, where one is missing."""
    if (first in document) == (second in document):
        return []
    given, lacking = (first, second) if first in document else (second, first)
    return [(lacking, f"give it with {given}")]
