"""Bodies as the OpenAPI document describes them: documents in JSON, and records in other forms."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class DocumentSchema:
    """A request that an explicit reader takes: name of its component, all components, examples."""

    name: str
    components: Callable[[], dict[str, dict[str, Any]]]
    examples: Callable[[], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class BodyForm:
    """A form of bodies beside JSON: media type, what it holds, and examples where it is text."""

    media_type: str
    description: str
    examples: Callable[[], dict[str, str]]
    is_binary: bool = False


def body_description(bodies: tuple[BodyForm, ...], greatest_bytes: int) -> str:
    """Return what the bodies of an operation are, and how large they may be.

    Parameters
    ----------
    bodies
        Forms beside JSON.
    greatest_bytes
        Greatest length.

    Returns
    -------
    str
        In Markdown.
    """
    limit = f"of at most {greatest_bytes // 2**20} MiB"
    if not bodies:
        return f"One JSON object in UTF-8, {limit}."
    return (
        f"One JSON object in UTF-8, or records in another form, {limit}; `Content-Encoding: gzip` "
        "is taken, and the limit holds for what is inflated."
    )


def body_content(form: BodyForm) -> dict[str, Any]:
    """Return the media type object of a form of bodies.

    Parameters
    ----------
    form
        Beside JSON.

    Returns
    -------
    dict
        Of OpenAPI.
    """
    schema = {"type": "string", "description": form.description}
    if form.is_binary:
        return {"schema": schema | {"format": "binary"}}
    examples = {name: {"value": text} for name, text in form.examples().items()}
    return {"schema": schema, "examples": examples}
