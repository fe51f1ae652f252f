"""Make the bill of software of a release: CycloneDX 1.6 of what the lock pins, as JSON.

    python deploy/release/sbom.py FILE

It runs in an environment that holds the locked packages, be there others or not: their names,
dependencies and addresses are what cyclonedx-py finds there, their hashes are those of the lock,
and their licences those of ``licences.py``, which ends it if one is not allowed. Same lock, same
``SOURCE_DATE_EPOCH``, same bytes.
"""

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from uuid import NAMESPACE_URL, uuid5

from cyclonedx.model import ExternalReference, ExternalReferenceType, HashAlgorithm, HashType, XsUri
from cyclonedx.model.bom import Bom
from cyclonedx.model.component import Component
from cyclonedx.model.dependency import Dependency
from cyclonedx.model.license import LicenseAcknowledgement, LicenseExpression
from cyclonedx.output.json import JsonV1Dot6
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from licences import LicenceRefusedError, licence_of, licence_table
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LOCK = ROOT / "deploy" / "requirements.lock"


def locked(lock: str) -> dict[str, tuple[str, list[str]]]:
    """Return version and SHA-256 of each archive by name of the package."""
    entries = re.split(r"\n(?=\S)", lock.replace("\\\n", " ").strip())
    found = {}
    for entry in entries:
        pin, *hashes = entry.split()
        name, version = pin.split("==")
        found[name] = (version, [text.removeprefix("--hash=sha256:") for text in hashes])
    return found


def found_here() -> Bom:
    """Return what cyclonedx-py finds installed, with our own package as its root."""
    command = [sys.executable, "-m", "cyclonedx_py", "environment", "--output-reproducible"]
    command += ["--no-validate", "--sv", "1.6", "--pyproject", str(ROOT / "pyproject.toml")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit(f"cyclonedx-py failed:\n{done.stderr}")
    bom: Bom = Bom.from_json(json.loads(done.stdout))  # type: ignore[attr-defined]
    return bom


def kept(dependencies: Iterable[Dependency], references: set[str]) -> Iterable[Dependency]:
    """Return the dependencies among the components that are kept."""
    for each in dependencies:
        if each.ref.value in references:
            yield Dependency(
                each.ref, (on for on in each.dependencies if on.ref.value in references)
            )


def complete(component: Component, hashes: list[str], licence: str) -> None:
    """Give a component the hashes of its archives and its licence."""
    component.licenses = [
        LicenseExpression(licence, acknowledgement=LicenseAcknowledgement.CONCLUDED)
    ]
    component.external_references.add(
        ExternalReference(
            type=ExternalReferenceType.DISTRIBUTION,
            url=XsUri(str(component.purl)),
            comment="archives of this version that the lock accepts",
            hashes=[HashType(alg=HashAlgorithm.SHA_256, content=text) for text in hashes],
        )
    )


def licences_of(names: Iterable[str]) -> dict[str, str]:
    """Return the licence of each package, or end with a line for each that cannot be."""
    table, found, refused = licence_table(), {}, []
    for name in names:
        try:
            found[name] = licence_of(name, table)
        except LicenceRefusedError as error:
            refused.append(str(error))
    if refused:
        sys.exit("\n".join(refused))
    return found


def bill_of_software() -> str:
    """Return the document."""
    lock = LOCK.read_text("utf-8")
    pins = locked(lock)
    licences, bom = licences_of(pins), found_here()
    components = {canonicalize_name(each.name): each for each in bom.components}
    wrong = [
        f"{name} is not installed as {version}, which the lock says"
        for name, (version, _) in pins.items()
        if name not in components or components[name].version != version
    ]
    if wrong:
        sys.exit("\n".join(wrong))
    for name, (_, hashes) in pins.items():
        complete(components[name], hashes, licences[name])
    root = bom.metadata.component
    assert root is not None
    bom.components = [components[name] for name in pins]
    references = {each.bom_ref.value for each in (root, *bom.components)}
    bom.dependencies = list(kept(bom.dependencies, references))
    for tool in bom.metadata.tools.components:
        tool.external_references = []
    # Both would be new each time otherwise.
    bom.metadata.timestamp = datetime.fromtimestamp(int(os.environ["SOURCE_DATE_EPOCH"]), UTC)
    bom.serial_number = uuid5(NAMESPACE_URL, f"{root.name}@{root.version}\n{lock}")
    text = JsonV1Dot6(bom).output_as_string(indent=2) + "\n"
    if fault := JsonStrictValidator(SchemaVersion.V1_6).validate_str(text):
        sys.exit(f"the bill of software is not valid: {fault}")
    return text


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(bill_of_software(), "utf-8")
