"""What ``kubectl kustomize`` makes of the deployed folders, for the few fields that they use.

Any other field of a kustomization, and any list in a patch whose merge key is not known here, is a
failure, so that nothing is taken for done that is not. The digest at the end of a generated name is
left out.
"""

from pathlib import Path
from typing import Any

import yaml

Document = dict[str, Any]
_FIELDS = {
    "apiVersion",
    "kind",
    "namespace",
    "resources",
    "images",
    "configMapGenerator",
    "patches",
}
# Merge keys as the API reference has them; other lists are replaced, these here.
_MERGE_KEYS = {"containers": "name", "volumes": "name", "volumeMounts": "mountPath", "env": "name"}
_REPLACED = {"ingress", "egress", "metrics"}
_CLUSTER_WIDE = {"Namespace"}


def documents_of(folder: Path) -> list[Document]:
    """Return the documents of a base or an overlay."""
    kustomization = _only(folder / "kustomization.yaml")
    assert set(kustomization) <= _FIELDS, set(kustomization) - _FIELDS
    found: list[Document] = []
    for name in kustomization["resources"]:
        place = folder / name
        found += documents_of(place) if place.is_dir() else [_only(place)]
    for generator in kustomization.get("configMapGenerator", []):
        _generate(found, generator)
    for patch in kustomization.get("patches", []):
        assert set(patch) == {"path"}
        change = _only(folder / patch["path"])
        target = named(found, change["kind"], change["metadata"]["name"])
        assert target["apiVersion"] == change["apiVersion"]
        _merge(target, change)
    for image in kustomization.get("images", []):
        assert set(image) == {"name", "newName", "newTag"}
        _rename(found, image)
    for document in found:
        if "namespace" in kustomization and document["kind"] not in _CLUSTER_WIDE:
            document["metadata"]["namespace"] = kustomization["namespace"]
    names = [(each["kind"], each["metadata"]["name"]) for each in found]
    assert len(set(names)) == len(names), names
    return found


def named(documents: list[Document], kind: str, name: str) -> Document:
    """Return the one document of a kind and a name."""
    (found,) = (
        each for each in documents if (each["kind"], each["metadata"]["name"]) == (kind, name)
    )
    return found


def _only(file: Path) -> Document:
    (document,) = yaml.safe_load_all(file.read_text("utf-8"))
    assert isinstance(document, dict)
    return document


def _generate(found: list[Document], generator: Document) -> None:
    assert set(generator) <= {"name", "behavior", "literals"}
    data = dict(literal.split("=", 1) for literal in generator["literals"])
    if "behavior" in generator:
        assert generator["behavior"] == "merge"
        named(found, "ConfigMap", generator["name"])["data"].update(data)
    else:
        metadata = {"name": generator["name"]}
        found.append({"apiVersion": "v1", "kind": "ConfigMap", "metadata": metadata, "data": data})


def _merge(target: Document, change: Document) -> None:
    for name, value in change.items():
        assert value is not None
        assert not name.startswith("$"), "directives are not known here"
        if isinstance(value, dict) and isinstance(target.get(name), dict):
            _merge(target[name], value)
        elif isinstance(value, list) and name in _MERGE_KEYS:
            key = _MERGE_KEYS[name]
            for entry in value:
                known = [each for each in target.setdefault(name, []) if each[key] == entry[key]]
                if known:
                    _merge(known[0], entry)
                else:
                    target[name].append(entry)
        else:
            assert not isinstance(value, list) or name in _REPLACED, name
            target[name] = value


def _rename(found: list[Document], image: Document) -> None:
    changed = 0
    for document in found:
        pod = document.get("spec", {}).get("template", {}).get("spec", {})
        for container in pod.get("containers", []):
            if container["image"].partition(":")[0] == image["name"]:
                container["image"] = f"{image['newName']}:{image['newTag']}"
                changed += 1
    assert changed, image
