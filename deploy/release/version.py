"""Hold every place that names the version to the one in ``pyproject.toml``, or set them all.

    python deploy/release/version.py          # say which places differ; status 1 if any does
    python deploy/release/version.py 0.2.0    # write it everywhere

The OpenAPI document and the recorded answers take it from the installed package, and are made anew
after a change as ``deploy/release.md`` says.
"""

import re
import sys
import tomllib
from pathlib import Path
from types import MappingProxyType

ROOT = Path(__file__).parents[2]
# The version stands in the group of each match; at least one is expected.
PLACES = MappingProxyType(
    {
        "pyproject.toml": r'^version = "(.+)"$',
        "Dockerfile": r"^ARG VERSION=(.+)$",
        "deploy/compose.yaml": r"^ *image: loomwright:(.+)$",
        "deploy/container/README.md": r"\bloomwright:(\d[^\s`]*)",
        "deploy/kubernetes/base/deployment.yaml": r"^ *image: loomwright:(.+)$",
        "deploy/kubernetes/overlays/example/kustomization.yaml": r"^ *newTag: (.+)$",
    }
)
# Semantic Versioning 2.0.0, of it what is also a version of Python's packaging: no pre-releases.
SEMANTIC = re.compile(r"(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)")


def current_version(root: Path = ROOT) -> str:
    """Return the version that ``pyproject.toml`` states."""
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["project"]
    version: str = project["version"]
    return version


def differences(root: Path = ROOT) -> list[str]:
    """Return a line for each place that names no version or another than the current one."""
    wanted, lines = current_version(root), []
    for name, pattern in PLACES.items():
        found = re.findall(pattern, (root / name).read_text("utf-8"), re.MULTILINE)
        if not found:
            lines.append(f"{name} names no version")
        lines += [f"{name} names {each}, not {wanted}" for each in found if each != wanted]
    return lines


def set_version(version: str, root: Path = ROOT) -> None:
    """Write a version to every place."""

    def renamed(match: re.Match[str]) -> str:
        start = match.start(1) - match.start()
        return match[0][:start] + version + match[0][start + len(match[1]) :]

    for name, pattern in PLACES.items():
        path = root / name
        path.write_text(re.sub(pattern, renamed, path.read_text("utf-8"), flags=re.M), "utf-8")


if __name__ == "__main__":
    if sys.argv[1:]:
        if not SEMANTIC.fullmatch(sys.argv[1]):
            sys.exit(f"'{sys.argv[1]}' is no version: three whole numbers with points between")
        set_version(sys.argv[1])
    if wrong := differences():
        sys.exit("\n".join(wrong))
    print(current_version())
