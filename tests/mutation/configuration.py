"""What is mutated, which tests try it, and which survivors are known: read and checked."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).parent
ROOT = FOLDER.parents[1]


@dataclass(frozen=True)
class Configuration:
    """Modules by package, the tests of each, and what holds for every trial."""

    source: Path
    least_killed: float
    without: tuple[str, ...]
    tests: Mapping[str, tuple[str, ...]]
    """Module -> arguments for pytest, the likeliest to fail first."""
    packages: Mapping[str, tuple[str, ...]]
    """Name by which a package is asked for -> its modules."""

    def path(self, module: str) -> Path:
        """Return the file of a module."""
        stem = self.source / module.replace(".", "/")
        return stem / "__init__.py" if stem.is_dir() else stem.with_suffix(".py")

    def asked(self, names: Iterable[str]) -> tuple[str, ...]:
        """Return the modules with one of these names in their own; none given is all."""
        every = [module for modules in self.packages.values() for module in modules]
        wanted = list(names)
        found = {name: [each for each in every if f".{name}." in f".{each}."] for name in wanted}
        if unknown := sorted(name for name in wanted if not found[name]):
            raise SystemExit(f"no such module in the configuration: {', '.join(unknown)}")
        chosen = {each for modules in found.values() for each in modules}
        return tuple(each for each in every if not wanted or each in chosen)

    def package_of(self, module: str) -> str:
        """Return the name of the package in whose ratio a module counts."""
        return next(name for name, modules in self.packages.items() if module in modules)


@dataclass(frozen=True, order=True)
class Identity:
    """A mutant by what it changes, so that lines may move without a new name."""

    module: str
    function: str
    before: str
    after: str
    nth: int = 1
    """Which of several equal ones in the function, from 1."""

    def __str__(self) -> str:
        place = f"{self.module}.{self.function}" + (f" ({self.nth})" if self.nth > 1 else "")
        return f"{place}\n    - {self.before}\n    + {self.after}"


def read_configuration(path: Path = FOLDER / "mutation.toml", root: Path = ROOT) -> Configuration:
    """Read a configuration; each module of a package must have its tests."""
    given = tomllib.loads(path.read_text(encoding="utf-8"))
    source = root / given["source"]
    shared = {name: tuple(files) for name, files in given.get("shared", {}).items()}
    tests: dict[str, tuple[str, ...]] = {}
    packages: dict[str, tuple[str, ...]] = {}
    for package, modules in given["tests"].items():
        packages[package] = tuple(modules)
        for module, named in modules.items():
            # A name without a slash stands for a list of tests that several modules share.
            files = [file for each in named for file in shared.get(each, (each,))]
            tests[module] = tuple(dict.fromkeys(files))
    return Configuration(source, given["least_killed"], tuple(given["without"]), tests, packages)


def read_survivors(path: Path = FOLDER / "survivors.toml") -> dict[Identity, str]:
    """Read the known survivors, each with its reason."""
    entries = tomllib.loads(path.read_text(encoding="utf-8")).get("survivor", [])
    found: dict[Identity, str] = {}
    for entry in entries:
        reason = entry.pop("reason").strip()
        identity = Identity(**entry)
        if not reason or identity in found:
            raise SystemExit(f"{path.name}: without a reason, or listed twice: {identity}")
        found[identity] = reason
    return found
