"""Write the OpenAPI document as YAML: ``python -m loomwright.web.openapi_file``."""

import sys
from typing import Any

import yaml

from loomwright.web.openapi import openapi_document
from loomwright.web.operations import OPERATIONS


def openapi_yaml() -> str:
    """Return the OpenAPI document of the service as YAML, in the order in which it is made.

    Returns
    -------
    str
        YAML text that ends in a line end.
    """
    return as_yaml(openapi_document(OPERATIONS))


def as_yaml(document: dict[str, Any]) -> str:
    """Return a document of plain values as YAML, in its own order."""
    text: str = yaml.dump(
        document, Dumper=_PlainDumper, sort_keys=False, allow_unicode=True, width=100
    )
    return text


class _PlainDumper(yaml.SafeDumper):
    """Writes equal objects twice instead of as anchor and alias, which help no reader."""

    def ignore_aliases(self, data: Any) -> bool:  # noqa: ARG002  signature of PyYAML
        return True


def _represent_text(dumper: yaml.SafeDumper, text: str) -> yaml.ScalarNode:
    style = "|" if "\n" in text else None
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style=style)


_PlainDumper.add_representer(str, _represent_text)

if __name__ == "__main__":
    sys.stdout.write(openapi_yaml())
