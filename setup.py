"""Puts the specification, which lies beside the package, into what is installed.

Its pages are kept once, in ``openapi/``, where people and the conformance runner read them. An
editable install serves them from there; a wheel gets a copy as it is built. All else of the build
is stated in ``pyproject.toml``.
"""

import shutil
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

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


setup(cmdclass={"build_py": BuildWithSpecification})
