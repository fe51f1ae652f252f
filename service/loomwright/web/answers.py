"""Parts that every answer carries, and the response itself."""

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

import orjson
from flask import Response

from loomwright import __version__
from loomwright.engineering.cautions import CAUTIONS
from loomwright.engineering.working import WorkingStep
from loomwright.tables.records import Provenance, Tables


def json_response(document: Mapping[str, Any]) -> Response:
    """Return an answer as JSON.

    Parameters
    ----------
    document
        Plain values and NumPy arrays.

    Returns
    -------
    Response
        ``application/json``.
    """
    return Response(
        orjson.dumps(document, option=orjson.OPT_SERIALIZE_NUMPY),
        content_type="application/json",
    )


@lru_cache(maxsize=1024)
def cautions_of(keys: tuple[str, ...]) -> orjson.Fragment:
    """Return cautions with their texts as JSON, in the order given, each once."""
    return orjson.Fragment(
        orjson.dumps([{"key": key, "text": CAUTIONS[key]} for key in dict.fromkeys(keys)])
    )


def sources_of(provenances: Iterable[Provenance], tables: Tables) -> orjson.Fragment:
    """Return the publications that an answer rests on, each row once.

    Parameters
    ----------
    provenances
        Of the rows used.
    tables
        Holds the sources.

    Returns
    -------
    Fragment
        JSON list of key, title, edition, locator and how the figure was checked, sorted.
    """
    ordered = sorted(set(provenances))
    return orjson.Fragment(
        orjson.dumps(
            [
                {
                    "key": row.source,
                    "title": tables.sources[row.source].title,
                    "edition": tables.sources[row.source].edition,
                    "locator": row.locator,
                    "checked": row.checked,
                }
                for row in ordered
            ]
        )
    )


ENGINE_VERSION = __version__


def working_of(steps: Iterable[WorkingStep]) -> list[dict[str, Any]]:
    """Return the steps of a working as JSON values, numbered from 1."""
    return [
        {
            "step": number,
            "text": step.text,
            "formula": step.formula,
            "inputs": step.inputs,
            "result": step.result,
            "unit": step.unit,
            "source": step.source,
        }
        for number, step in enumerate(steps, 1)
    ]
