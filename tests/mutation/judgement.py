"""Figures of a run, and whether it is good: nothing survives that is not listed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from .configuration import Configuration, Identity
from .trial import SURVIVED, TIMED_OUT

COLUMNS = ("mutants", "killed", "timed_out", "survived", "killed_percent")


@dataclass(frozen=True)
class Figures:
    """Counts of one module or package; a trial that ran out of time was noticed, so is a kill."""

    mutants: int = 0
    killed: int = 0
    timed_out: int = 0
    survived: int = 0

    def __add__(self, other: "Figures") -> "Figures":
        return Figures(
            self.mutants + other.mutants,
            self.killed + other.killed,
            self.timed_out + other.timed_out,
            self.survived + other.survived,
        )

    @property
    def killed_percent(self) -> float:
        """Of all mutants, equivalent ones included; 100 for a module without any."""
        return 100.0 * (1.0 - self.survived / self.mutants) if self.mutants else 100.0

    def line(self, name: str) -> str:
        """Return the counts as a line of comma-separated values."""
        counts = f"{self.mutants},{self.killed},{self.timed_out},{self.survived}"
        return f"{name},{counts},{self.killed_percent:.1f}"


def figures_of(verdicts: Iterable[str]) -> Figures:
    """Count the verdicts of a module."""
    given = list(verdicts)
    late, alive = given.count(TIMED_OUT), given.count(SURVIVED)
    return Figures(len(given), len(given) - late - alive, late, alive)


def complaints(
    verdicts: Mapping[str, Mapping[Identity, str]],
    known: Mapping[Identity, str],
    configuration: Configuration,
) -> list[str]:
    """Return what is wrong with the verdicts of some modules, given the known survivors."""
    found: list[str] = []
    for module, of_module in verdicts.items():
        alive = {identity for identity, verdict in of_module.items() if verdict == SURVIVED}
        listed = {identity for identity in known if identity.module == module}
        found += [f"survives and is not listed: {each}" for each in sorted(alive - listed)]
        found += [
            f"listed and {of_module.get(each, 'not a mutant')}: {each}"
            for each in sorted(listed - alive)
        ]
    for package, figures in package_figures(verdicts, configuration).items():
        if figures.killed_percent < configuration.least_killed:
            found.append(
                f"{package}: {figures.killed_percent:.1f} % killed, "
                f"at least {configuration.least_killed:g} % are asked for"
            )
    return found


def package_figures(
    verdicts: Mapping[str, Mapping[Identity, str]], configuration: Configuration
) -> dict[str, Figures]:
    """Return the sums of the packages whose modules were all tried."""
    return {
        package: sum((figures_of(verdicts[module].values()) for module in modules), start=Figures())
        for package, modules in configuration.packages.items()
        if all(module in verdicts for module in modules)
    }
