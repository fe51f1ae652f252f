"""The kept inputs of each target: one archive, the same bytes for the same inputs."""

import hashlib
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path

FOLDER = Path(__file__).parent / "corpus"
_DAY = (1980, 1, 1, 0, 0, 0)


def archive_of(target: str) -> Path:
    """Return where the inputs of a target are kept."""
    return FOLDER / f"{target}.zip"


def kept(target: str) -> Iterator[tuple[str, bytes]]:
    """Yield the name and the bytes of each kept input of a target."""
    with zipfile.ZipFile(archive_of(target)) as archive:
        for name in archive.namelist():
            yield name, archive.read(name)


def keep(target: str, inputs: Iterable[bytes]) -> int:
    """Keep these inputs of a target and no others, and return how many they are."""
    by_name = {hashlib.sha256(each).hexdigest()[:16]: each for each in inputs}
    FOLDER.mkdir(exist_ok=True)
    with zipfile.ZipFile(archive_of(target), "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name in sorted(by_name):
            archive.writestr(zipfile.ZipInfo(name, _DAY), by_name[name], zipfile.ZIP_DEFLATED)
    return len(by_name)
