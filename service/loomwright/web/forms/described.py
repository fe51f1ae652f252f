"""What the OpenAPI document says of the forms."""

from typing import Any

from loomwright.web.forms.errors import ERROR_FORMS, GREATEST_LINE, START
from loomwright.web.forms.form import (
    ERRORS_AS_TEXT,
    ERRORS_BY_STATUS,
    FIELD_PATTERN,
    GREATEST_FIELD_LENGTH,
    OperationForms,
)


def form_parameters(forms: OperationForms) -> list[dict[str, Any]]:
    """Return the query parameters ``as``, ``field`` and ``errors`` of a calculator.

    Where no form takes a part of the answer, there is no ``field``.

    Parameters
    ----------
    forms
        Of the operation.

    Returns
    -------
    list of dict
        Parameter objects of OpenAPI.
    """
    return [
        as_parameter(forms),
        *([_field_parameter(forms)] if any(form.encode_part for form in forms.forms) else ()),
        {
            "name": "errors",
            "in": "query",
            "required": False,
            "description": (
                f"`{ERRORS_AS_TEXT}` answers an error with status 200 and one line that starts "
                f"with `{START.strip()}`, for programs that show nothing of other statuses."
            ),
            "schema": {
                "type": "string",
                "enum": [ERRORS_BY_STATUS, ERRORS_AS_TEXT],
                "default": ERRORS_BY_STATUS,
            },
        },
    ]


def _field_parameter(forms: OperationForms) -> dict[str, Any]:
    return {
        "name": "field",
        "in": "query",
        "required": False,
        "description": (
            "Path to a value or a part of the answer, for every form but JSON: names with dots "
            "between them, and the number of an entry of a list from 0, as in "
            f"`{forms.default_field}`, which is what text gives without it."
        ),
        "schema": {
            "type": "string",
            "pattern": FIELD_PATTERN,
            "maxLength": GREATEST_FIELD_LENGTH,
        },
    }


def as_parameter(forms: OperationForms) -> dict[str, Any]:
    """Return the query parameter ``as``.

    Parameters
    ----------
    forms
        Of the operation.

    Returns
    -------
    dict
        Parameter object of OpenAPI.
    """
    listed = "; ".join(f"`{form.name}`: {form.description}" for form in forms.forms)
    return {
        "name": "as",
        "in": "query",
        "required": False,
        "description": f"Form of the answer; goes before Accept. {listed}",
        "schema": {"type": "string", "enum": list(forms.by_name)},
    }


def form_content(forms: OperationForms) -> dict[str, Any]:
    """Return the content of an answer in each form but JSON.

    Parameters
    ----------
    forms
        Of the operation.

    Returns
    -------
    dict
        Media type objects of OpenAPI by media type.
    """
    return {
        form.media_type: {
            "schema": {"type": "string", "description": form.description}
            | ({"maxLength": form.greatest_characters} if form.greatest_characters else {})
            | ({"format": "binary"} if form.is_binary else {})
        }
        for form in forms.forms[1:]
    }


def error_content() -> dict[str, Any]:
    """Return the content of an error in each form but the problem document.

    Returns
    -------
    dict
        Media type objects of OpenAPI by media type.
    """
    described = (
        f"One line that starts with `{START.strip()}`, of at most {GREATEST_LINE} characters"
    )
    return {
        form.media_type: {
            "schema": {
                "type": "string",
                "description": f"{described}, where {form.name} is asked for.",
            }
        }
        for form in ERROR_FORMS
    }
