"""The OpenAPI document of a provider: made from the members, valid, and true of the sample."""

import sys
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import openapi_spec_validator
import pytest

from loomwright.providers.provider import KINDS
from loomwright.web.openapi_file import as_yaml
from loomwright.web.provider_openapi_file import provider_openapi

PLUGIN = Path(__file__).parents[2] / "openapi" / "plugin"
RENEWAL = "renew it: python -m loomwright.web.provider_openapi_file > openapi/plugin/provider.yaml"
DOCUMENT = provider_openapi()


def test_file_equals_what_the_members_make():
    assert (PLUGIN / "provider.yaml").read_text("utf-8") == as_yaml(DOCUMENT), RENEWAL


def test_document_is_valid():
    openapi_spec_validator.validate(DOCUMENT)


def schema_of(path):
    content = DOCUMENT["paths"][path]["get"]["responses"]["200"]["content"]
    return {**content["application/json"]["schema"], "components": DOCUMENT["components"]}


@pytest.fixture
def provider(monkeypatch):
    monkeypatch.syspath_prepend(str(PLUGIN / "samples"))
    monkeypatch.delitem(sys.modules, "csv_provider", raising=False)
    import csv_provider  # noqa: PLC0415  found only while the fixture holds

    return csv_provider.provider({"folder": str(PLUGIN / "samples" / "quayside")})


@pytest.mark.parametrize("kind", KINDS)
def test_the_sample_provider_serves_what_the_document_says(provider, kind):
    document = getattr(provider, kind)("counter")
    path = f"/price-books/{{name}}{KINDS[kind]}"
    jsonschema.validate(document, schema_of(path))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**document, "specification": "2.0"}, schema_of(path))


def test_capabilities_are_as_the_document_says(provider):
    jsonschema.validate(provider.capabilities(), schema_of("/capabilities"))


def test_the_time_of_the_count_has_the_form_of_the_document(provider):
    as_of = datetime.fromisoformat(provider.stock("counter")["as_of"])
    assert as_of <= datetime.now(UTC)
