"""Write the pages on operations and codes: ``python -m loomwright.conformance.operation_pages``.

All that they say comes from the OpenAPI document and the table of problem codes, so that an
operation, a member, a status or a code that is added there stands here once the pages are renewed.
"""

import json
import re
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from loomwright.conformance.specification import FOLDER
from loomwright.web.openapi import openapi_document
from loomwright.web.operations import OPERATIONS
from loomwright.web.problem_codes import CODES, ProblemCode

COMMAND = "python -m loomwright.conformance.operation_pages"
CODES_PAGE = "problem-codes.md"
_MADE = f"<!-- Made by {COMMAND}; change the service, not this file. -->\n"
# Described once, in a page of their own.
_ELSEWHERE = dict.fromkeys(("PriceBook", "PriceBookTables"), "../../price-book.md")
_METHODS = ("get", "post", "put", "patch", "delete")
# Longer lists are left to the OpenAPI document.
_MOST_CHOICES = 16
_Document = Mapping[str, Any]


def pages(
    document: _Document | None = None, codes: Mapping[str, ProblemCode] = CODES
) -> dict[str, str]:
    """Return all generated pages, by path below the folder of the specification.

    Parameters
    ----------
    document
        OpenAPI document; that of the service if none.
    codes
        Table of problem codes.

    Returns
    -------
    dict
        Markdown that ends in a line end.
    """
    document = document or openapi_document(OPERATIONS)
    made = {CODES_PAGE: _codes_page(codes)}
    links = []
    for path, item in document["paths"].items():
        methods = {method: item[method] for method in _METHODS if method in item}
        if methods:
            name = re.sub(r"[^a-z0-9]+", "-", path.removeprefix("/v1").lower()).strip("-")
            made[f"operations/{name}.md"] = _operation_page(path, methods, document, codes)
            summary = next(iter(methods.values())).get("summary", "")
            links.append(f"- [{name}]({name}.md): {summary}\n")
    made["operations/README.md"] = f"# Operations\n\n{_MADE}\n" + "".join(links)
    return made


def _codes_page(codes: Mapping[str, ProblemCode]) -> str:
    rows = [
        (f"`{name}`", str(code.status), code.title, code.action, _repeat(code.status))
        for name, code in sorted(codes.items())
    ]
    return (
        f"# Problem codes\n\n{_MADE}\n"
        "Every failure is a problem document (RFC 9457) whose `code` stands here. Codes are only\n"
        "added. A caller that meets a code it does not know goes by the status.\n\n"
        + _grid(("code", "status", "title", "what the caller does", "repeat?"), rows)
    )


def _repeat(status: int) -> str:
    if status in (429, 503):
        return "after `Retry-After` seconds"
    if status == 408 or status >= 500:
        return "after a pause, at most 5 times"
    return "not unchanged"


def _operation_page(
    path: str,
    methods: Mapping[str, _Document],
    document: _Document,
    codes: Mapping[str, ProblemCode],
) -> str:
    first = next(iter(methods.values()))
    parts = [f"# {path.rpartition('/')[2]}\n\n{_MADE}\n{first.get('summary', '')}\n"]
    if first.get("description"):
        parts.append(f"{first['description'].strip()}\n")
    parts.append("## Route\n")
    parts.append(_grid(("method", "path", "operationId", "body"), _routes(path, methods)))
    for method, operation in methods.items():
        parts += _request(method, path, operation, document)
    parts += _answer_members(methods, document)
    for method, operation in methods.items():
        parts.append(f"## Answers to {method.upper()}\n")
        rows = _answers(operation, document, codes)
        parts.append(_grid(("status", "code", "means", "what the caller does", "repeat?"), rows))
    return "\n".join(parts)


def _answer_members(methods: Mapping[str, _Document], document: _Document) -> Iterator[str]:
    """Return the members of a good answer, each different one once; not what stands within."""
    met: list[_Document] = []
    for operation in methods.values():
        response = _resolved(operation["responses"].get("200", {}), document)
        schema = response.get("content", {}).get("application/json", {}).get("schema", {})
        answer = _resolved(schema, document)
        if not _properties(answer) or answer in met:
            continue
        met.append(answer)
        yield "## Members of the answer\n"
        yield "The OpenAPI document has the members of each object within.\n"
        rows = [
            (
                f"`{name}`",
                _form(inner, document).replace(", below", ""),
                inner.get("description", ""),
            )
            for name, inner in _properties(answer).items()
        ]
        yield _grid(("member", "form", "meaning"), rows)


def _routes(path: str, methods: Mapping[str, _Document]) -> Iterator[tuple[str, ...]]:
    for method, operation in methods.items():
        content = operation.get("requestBody", {}).get("content", {})
        body = _codes_of(content) or ("query parameters" if operation.get("parameters") else "none")
        yield method.upper(), f"`{path}`", f"`{operation.get('operationId', '')}`", body


def _request(method: str, path: str, operation: _Document, document: _Document) -> Iterator[str]:
    content = operation.get("requestBody", {}).get("content", {})
    for media_type, described in content.items():
        yield f"## Body of {method.upper()}, `{media_type}`\n"
        schema = described.get("schema", {})
        yield from _schema_tables(schema, document)
        if not _properties(_resolved(schema, document)) and "description" in schema:
            yield f"{schema['description']}\n"
        examples = [entry["value"] for entry in described.get("examples", {}).values()]
        if examples:
            yield f"### Example of {method.upper()}{_as_other(media_type)}\n"
            yield _fenced(min(examples, key=lambda example: len(json.dumps(example))))
    parameters = [_resolved(entry, document) for entry in operation.get("parameters", ())]
    queried = [entry for entry in parameters if entry["in"] == "query"]
    yield from _query(method, path, queried, document)


def _as_other(media_type: str) -> str:
    return "" if media_type == "application/json" else f" as `{media_type}`"


def _fenced(example: object) -> str:
    if isinstance(example, str):
        lines = example.replace("\r\n", "\n")
        return f"```\n{lines}```\n"
    return f"```json\n{json.dumps(example, indent=2, ensure_ascii=False)}\n```\n"


def _query(
    method: str, path: str, parameters: Sequence[_Document], document: _Document
) -> Iterator[str]:
    if not parameters:
        return
    yield f"## Query of {method.upper()}\n"
    rows = []
    shown = {}
    for entry in parameters:
        as_json = entry.get("content", {}).get("application/json")
        place = as_json or entry
        schema = place.get("schema", {})
        form = _form(schema, document) + (", as JSON" if as_json else "")
        needed = "yes" if entry.get("required") else "no"
        rows.append((f"`{entry['name']}`", form, needed, entry.get("description", "")))
        if "example" in place:
            value = place["example"]
            shown[entry["name"]] = value if isinstance(value, str) else json.dumps(value)
    yield _grid(("parameter", "form", "needed", "meaning"), rows)
    if shown:
        yield f"### Example of {method.upper()}\n"
        yield f"```\n{method.upper()} {path}?{urlencode(shown)}\n```\n"


def _schema_tables(schema: _Document, document: _Document) -> Iterator[str]:
    """Return one table for a schema and one for each object within, each once."""
    open_names = [schema]
    met: set[str] = set()
    while open_names:
        entry = open_names.pop(0)
        name = _name(entry)
        if name in met or name in _ELSEWHERE:
            continue
        met.add(name)
        properties = _properties(_resolved(entry, document))
        if not properties:
            continue
        if name:
            yield f"### {name}\n"
        required = set(_resolved(entry, document).get("required", ()))
        yield _grid(
            ("member", "form", "needed", "meaning"), _members(properties, required, document)
        )
        open_names += [inner for each in properties.values() for inner in _references(each)]


def _members(
    properties: Mapping[str, _Document], required: set[str], document: _Document
) -> Iterator[tuple[str, ...]]:
    for name, schema in properties.items():
        needed = "yes" if name in required else "no"
        if "default" in schema:
            needed += f": `{json.dumps(schema['default'], ensure_ascii=False)}`"
        yield f"`{name}`", _form(schema, document), needed, schema.get("description", "")


def _properties(schema: _Document) -> Mapping[str, _Document]:
    """Return the members of an object, those of its alternatives included."""
    found = dict(schema.get("properties", {}))
    for word in ("allOf", "oneOf", "anyOf"):
        for part in schema.get(word, ()):
            for name, described in _properties(part).items():
                # A rule between members names them again, without their form.
                found.setdefault(name, described)
    return found


def _references(schema: _Document) -> Iterator[_Document]:
    if "$ref" in schema:
        yield {"$ref": schema["$ref"]}
    for word in ("anyOf", "oneOf", "allOf"):
        for part in schema.get(word, ()):
            yield from _references(part)
    if isinstance(schema.get("items"), dict):
        yield from _references(schema["items"])


def _name(schema: _Document) -> str:
    return str(schema.get("$ref", "")).rpartition("/")[2]


def _resolved(schema: _Document, document: _Document) -> _Document:
    while "$ref" in schema:
        found: Any = document
        for token in schema["$ref"].removeprefix("#/").split("/"):
            found = found[token.replace("~1", "/").replace("~0", "~")]
        schema = found
    return schema


def _form(schema: _Document, document: _Document) -> str:
    """Return the form of a value in words."""
    if "$ref" in schema:
        return _form_elsewhere(schema, document)
    if "x-accepted-units" in schema:
        units = _codes_of(schema["x-accepted-units"])
        return (
            f"number{_bounds(_number_part(schema))} in `{schema['x-unit']}`, or text with {units}"
        )
    if "const" in schema or "enum" in schema:
        return _choices(schema["enum"] if "enum" in schema else [schema["const"]])
    alternatives = [*schema.get("anyOf", ()), *schema.get("oneOf", ())]
    if alternatives:
        return " or ".join(dict.fromkeys(_form(part, document) for part in alternatives))
    stated = schema.get("type", "value")
    kinds = [stated] if isinstance(stated, str) else stated
    return " or ".join(_kind_form(kind, schema, document) for kind in kinds)


def _form_elsewhere(schema: _Document, document: _Document) -> str:
    name = _name(schema)
    if name in _ELSEWHERE:
        return f"[{name}]({_ELSEWHERE[name]})"
    target = _resolved(schema, document)
    return f"{name}, below" if _properties(target) else _form(target, document)


def _kind_form(kind: str, schema: _Document, document: _Document) -> str:
    if kind == "array":
        counted = (
            f" of {schema.get('minItems', 0)} to {schema['maxItems']}"
            if "maxItems" in schema
            else ""
        )
        return f"list{counted}: {_form(schema.get('items', {}), document)}"
    if kind in ("number", "integer"):
        words = "whole number" if kind == "integer" else "number"
        unit = f" in `{schema['x-unit']}`" if "x-unit" in schema else ""
        return words + _bounds(schema) + unit
    if kind == "string":
        form = {"date": "date", "date-time": "time"}.get(schema.get("format", ""), "text")
        most = schema.get("maxLength")
        return f"{form} of at most {most} characters" if most else form
    return {"boolean": "`true` or `false`", "null": "`null`"}.get(kind, kind)


def _number_part(schema: _Document) -> _Document:
    parts = [part for part in schema.get("anyOf", ()) if part.get("type") in ("number", "integer")]
    return parts[0] if parts else schema


def _bounds(schema: _Document) -> str:
    lower, upper = schema.get("minimum"), schema.get("maximum")
    if lower is not None and upper is not None:
        return f" from {lower:g} to {upper:g}"
    return f" from {lower:g} up" if lower is not None else ""


def _choices(values: Sequence[object]) -> str:
    listed = [value for value in values if value is not None]
    if len(listed) == 1:
        return f"`{listed[0]}`"
    if len(listed) > _MOST_CHOICES:
        return f"one of {len(listed)} texts that the OpenAPI document lists"
    return "one of " + _codes_of(str(value) for value in listed)


def _answers(
    operation: _Document, document: _Document, codes: Mapping[str, ProblemCode]
) -> Iterator[tuple[str, ...]]:
    for status, stated in sorted(operation["responses"].items()):
        response = _resolved(stated, document)
        found = _codes_of_response(status, response, codes)
        for name in found:
            code = codes[name]
            yield status, f"`{name}`", code.title, code.action, _repeat(int(status))
        if not found:
            means = " ".join(response.get("description", "").split())
            yield status, "", means, *_without_code(status)


def _without_code(status: str) -> tuple[str, str]:
    if status == "304":
        return "Use the answer that it has.", ""
    if not status.isdigit() or int(status) < 400:
        return "Use it.", ""
    return "See the status.", _repeat(int(status))


def _codes_of_response(
    status: str, response: _Document, codes: Mapping[str, ProblemCode]
) -> list[str]:
    """Return the codes of its examples, or else those it names, or else all of its status."""
    content = response.get("content", {})
    if not any(media_type.startswith("application/problem") for media_type in content):
        return []
    examples = [
        example.get("value")
        for described in content.values()
        for example in described.get("examples", {}).values()
    ]
    shown = {value.get("code") for value in examples if isinstance(value, dict)}
    named = set(re.findall(r"`(\w+)`", response.get("description", "")))
    of_status = {name for name, code in codes.items() if str(code.status) == status}
    for found in (shown, named, of_status):
        if found & set(codes):
            return sorted(found & set(codes))
    return []


def _codes_of(texts: Iterable[str]) -> str:
    return ", ".join(f"`{text}`" for text in texts)


def _grid(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [header, ["---"] * len(header), *(map(_cell, row) for row in rows)]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def write(folder: Path = FOLDER) -> None:
    """Write all pages, and remove those of operations that are gone."""
    made = pages()
    for page in (folder / "operations").glob("*.md"):
        if f"operations/{page.name}" not in made:
            page.unlink()
    (folder / "operations").mkdir(exist_ok=True)
    for name, text in made.items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
    sys.stdout.write("".join(f"{name}\n" for name in sorted(pages())))
