"""What a form is, which of them an operation has, and the query parameters that ask for them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any

from marshmallow import Schema

from loomwright.web.forms.paths import Path

# What one cell of the common spreadsheet programs holds; a longer text is cut or refused there.
GREATEST_CHARACTERS = 32_767

# Query parameters of every calculator that are no fields of any request: form, part, errors, and
# the key of a caller who can set no header.
RESERVED_PARAMETERS = frozenset({"as", "field", "errors", "key"})

# Name of the one form that every operation has.
JSON_NAME = "json"

FIELD_PATTERN = r"^[A-Za-z0-9_]{1,64}(\.[A-Za-z0-9_]{1,64}){0,7}$"
GREATEST_FIELD_LENGTH = 200
# Values of ``errors``: the usual status, or 200 for programs that show nothing else.
ERRORS_BY_STATUS = "status"
ERRORS_AS_TEXT = "text"


@dataclass(frozen=True)
class Form:
    """A form of answers.

    ``name`` is the value of ``as`` that asks for it, ``media_type`` that of ``Accept``.
    ``encode`` makes bytes of an answer in plain JSON values; ``encode_part`` does so of the part at
    a path, and only such a form goes with ``field``. JSON has neither and is written without a
    detour. ``headers`` are header fields of a response besides its type, which follow from the
    answer. ``parameters`` are those of the media type. An answer of more than
    ``greatest_characters`` is refused. What is binary is no text.
    """

    name: str
    media_type: str
    description: str
    encode: Callable[[dict[str, Any]], bytes] | None = None
    encode_part: Callable[[dict[str, Any], Path], bytes] | None = None
    headers: Callable[[dict[str, Any]], Mapping[str, str]] | None = None
    parameters: str = ""
    greatest_characters: int | None = None
    is_binary: bool = False

    @property
    def content_type(self) -> str:
        """The value of ``Content-Type``."""
        return f"{self.media_type}{self.parameters}"


@dataclass(frozen=True)
class OperationForms:
    """The forms of one operation, JSON first.

    ``default_field`` is the path of the value that text gives unless another is named. ``answer``
    is the schema under which paths are looked up. ``usual`` names the form that is given where the
    caller has no wish.
    """

    operation: str
    answer: type[Schema]
    forms: tuple[Form, ...]
    default_field: str = ""
    usual: str = JSON_NAME

    @cached_property
    def unasked(self) -> Form:
        """The form that is given where the caller has no wish."""
        return self.by_name[self.usual]

    @cached_property
    def offered(self) -> tuple[str, ...]:
        """Media types, that of the usual form first."""
        first = self.unasked
        return (first.media_type, *(form.media_type for form in self.forms if form is not first))

    @cached_property
    def by_name(self) -> MappingProxyType[str, Form]:
        """Forms by the value of ``as``."""
        return MappingProxyType({form.name: form for form in self.forms})

    @cached_property
    def by_media_type(self) -> MappingProxyType[str, Form]:
        """Forms by media type."""
        return MappingProxyType({form.media_type: form for form in self.forms})
