"""Puts the specification, which lies beside the package, into what is installed.

Its pages are kept once, in ``openapi/``, where people and the conformance runner read them. An
editable install serves them from there; a wheel gets a copy as it is built. The source archive has
the same bytes each time. All else of the build is stated in ``pyproject.toml``.
"""

import gzip
import os
import shutil
import tarfile
from pathlib import Path
from typing import Any

from setuptools import setup
from setuptools.command.build_py import build_py
from setuptools.command.sdist import sdist

SOURCE = Path("openapi")
TARGET = Path("loomwright", "web", "pages", "specification")
# What is served: the pages, and the documents beside them that programs read.
PATTERNS = ("*.md", "plugin/*.md", "plugin/*.yaml", "plugin/*.json", "plugin/*/*.md")


class BuildWithSpecification(build_py):
    """Copies the specification into the package that is built."""

    def run(self) -> None:
        """Build the package, then put the pages into it."""
        super().run()
        if self.editable_mode:
            return
        # A page that is gone must not come back from an earlier build in the same folder.
        shutil.rmtree(Path(self.build_lib) / TARGET, ignore_errors=True)
        for source, target in self._specification():
            self.mkpath(str(Path(target).parent))
            self.copy_file(source, target)

    def get_outputs(self, include_bytecode: bool = True) -> list[str]:
        """Return the files that are built, the pages among them."""
        built: list[str] = super().get_outputs(include_bytecode)
        pages = [] if self.editable_mode else [target for _, target in self._specification()]
        return built + pages

    def _specification(self) -> list[tuple[str, str]]:
        """Return the source and the target of each page."""
        found = sorted(path for pattern in PATTERNS for path in SOURCE.glob(pattern))
        if not found:
            raise FileNotFoundError(f"{SOURCE.resolve()} holds no page of the specification")
        folder = Path(self.build_lib) / TARGET
        return [(str(path), str(folder / path.relative_to(SOURCE))) for path in found]


class SameArchiveEachTime(sdist):
    """Leaves out of the source archive what tells of one build: times, owner, order, umask.

    Of a wheel setuptools does so by itself where ``SOURCE_DATE_EPOCH`` is set.
    """

    def make_archive(
        self,
        base_name: str,
        format: str,
        root_dir: str | None = None,
        base_dir: str | None = None,
        owner: str | None = None,
        group: str | None = None,
    ) -> str:
        """Write the archive, of the date of ``SOURCE_DATE_EPOCH`` if there is one."""
        epoch = os.environ.get("SOURCE_DATE_EPOCH")
        if epoch is None or format != "gztar" or base_dir is None:
            made: str = super().make_archive(base_name, format, root_dir, base_dir, owner, group)
            return made

        def plain(entry: tarfile.TarInfo) -> tarfile.TarInfo:
            entry.uid = entry.gid = 0
            entry.uname = entry.gname = ""
            entry.mtime = int(epoch)
            entry.mode = 0o755 if entry.isdir() else 0o644
            return entry

        archive = f"{base_name}.tar.gz"
        Path(archive).parent.mkdir(parents=True, exist_ok=True)
        wrapped: dict[str, Any] = {"filename": "", "mode": "wb", "mtime": int(epoch)}
        with (
            open(archive, "wb") as file,
            gzip.GzipFile(fileobj=file, **wrapped) as zipped,
            tarfile.open(fileobj=zipped, mode="w", format=tarfile.PAX_FORMAT) as tar,
        ):
            tar.add(base_dir, filter=plain)
        return archive


setup(cmdclass={"build_py": BuildWithSpecification, "sdist": SameArchiveEachTime})
