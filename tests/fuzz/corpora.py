"""The kept inputs of each target: one archive, the same bytes for the same inputs."""

import hashlib
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path

FOLDER = Path(__file__).parent / "corpus"
# Of one archive; all together stay below 300 kB.
GREATEST_BYTES = 70_000
# Head and entry of the directory, twice the name.
_BYTES_OF_ENTRY = 30 + 46 + 2 * 16
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
    """Keep these inputs of a target, the shortest first as far as there is room."""
    kept: dict[str, bytes] = {}
    room = GREATEST_BYTES
    for each in sorted(inputs, key=len):
        room -= len(zlib.compress(each, 9)) + _BYTES_OF_ENTRY
        if room < 0:
            break
        kept[hashlib.sha256(each).hexdigest()[:16]] = each
    FOLDER.mkdir(exist_ok=True)
    with zipfile.ZipFile(archive_of(target), "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name in sorted(kept):
            archive.writestr(zipfile.ZipInfo(name, _DAY), kept[name], zipfile.ZIP_DEFLATED)
    return len(kept)
