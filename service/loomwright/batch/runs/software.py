"""What works quotes out, told from any other version, so that no two are mixed in one output."""

import hashlib
import platform
from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path

import loomwright

# Libraries that compute, or that write the rows; each may change the last digit or the bytes.
_COMPUTING = ("highspy", "numba", "numpy", "pyarrow")
_SOURCES = (".py", ".csv", ".toml", ".json")


@cache
def software() -> Mapping[str, str]:
    """Return what decides the rows beside the inputs, by name.

    Returns
    -------
    mapping
        Versions, and under ``loomwright`` its version with a digest of its sources and tables: a
        table or a formula may be mended without a new version.
    """
    libraries = {name: version(name) for name in _COMPUTING}
    own = f"{loomwright.__version__} ({_digest_of_sources()[:12]})"
    return {"loomwright": own, "python": platform.python_version(), **libraries}


def _digest_of_sources() -> str:
    root = Path(loomwright.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*")):
        if path.suffix in _SOURCES:
            name, content = path.relative_to(root).as_posix(), path.read_bytes()
            digest.update(f"{name}\0{len(content)}\0".encode())
            digest.update(content)
    return digest.hexdigest()


def differences(theirs: Mapping[str, str], ours: Mapping[str, str]) -> list[str]:
    """Return what differs between two mappings of texts, a sentence part for each.

    Parameters
    ----------
    theirs
        As it was.
    ours
        As it is.

    Returns
    -------
    list of str
        Such as ``numpy was 2.3.1 and is 2.4.0``, in the order of the names.
    """
    names = [*theirs, *(name for name in ours if name not in theirs)]
    return [
        f"{name} was {theirs.get(name, 'not there')} and is {ours.get(name, 'not there')}"
        for name in names
        if theirs.get(name) != ours.get(name)
    ]
