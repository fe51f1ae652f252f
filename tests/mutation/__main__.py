"""``python -m mutation [--keep killed] [modules...]``: try mutants and judge the survivors."""

import argparse
import sys
import time
from pathlib import Path

from . import self_check
from .configuration import FOLDER, ROOT, Configuration, Identity, read_configuration, read_survivors
from .judgement import COLUMNS, Figures, complaints, figures_of, package_figures
from .session import verdicts_of
from .trial import KILLED, SURVIVED, TIMED_OUT, load_libraries

SESSIONS = ROOT / "build" / "mutation"
FIGURES = FOLDER / "figures.csv"
KEEP = {"nothing": (), "killed": (KILLED, TIMED_OUT), "all": (KILLED, TIMED_OUT, SURVIVED)}


def tell(text: str) -> None:
    """Print at once: a run takes hours and is read while it goes."""
    print(text, flush=True)


def write_figures(
    verdicts: dict[str, dict[Identity, str]], configuration: Configuration, path: Path = FIGURES
) -> None:
    """Bring the committed table up to the modules of this run; the other lines stay."""
    lines: dict[str, str] = {}
    if path.exists():
        earlier = path.read_text(encoding="utf-8").splitlines()[1:]
        lines = {line.split(",", 1)[0]: line for line in earlier}
    for module, of_module in verdicts.items():
        lines[module] = figures_of(of_module.values()).line(module)
    for package, figures in package_figures(verdicts, configuration).items():
        lines[package] = figures.line(package)
    ordered = [each for name in configuration.packages for each in (*configuration.packages[name],)]
    ordered += [name for name in configuration.packages if name not in ordered]
    text = [",".join(("module", *COLUMNS)), *(lines[name] for name in ordered if name in lines)]
    path.write_text("\n".join(text) + "\n", encoding="utf-8")


def main() -> int:
    """Try the mutants of the modules asked for; return 1 if there is anything to complain of."""
    parser = argparse.ArgumentParser(prog="python -m mutation", description=__doc__)
    parser.add_argument("modules", nargs="*", help="packages or modules, by default all")
    parser.add_argument(
        "--keep",
        choices=KEEP,
        default="nothing",
        help="verdicts of an earlier run on the same source that stand (after new tests: killed)",
    )
    given = parser.parse_args()
    configuration = read_configuration()
    asked = configuration.asked(given.modules)
    load_libraries()
    self_check.check()
    verdicts: dict[str, dict[Identity, str]] = {}
    for module in asked:
        started = time.monotonic()
        verdicts[module] = verdicts_of(module, configuration, SESSIONS, KEEP[given.keep], tell)
        figures = figures_of(verdicts[module].values())
        tell(f"{figures.line(module)}  [{time.monotonic() - started:.0f} s]")
        write_figures(verdicts, configuration)
    total = sum((figures_of(each.values()) for each in verdicts.values()), start=Figures())
    tell(",".join(("module", *COLUMNS)))
    for package, figures in package_figures(verdicts, configuration).items():
        tell(figures.line(package))
    tell(total.line("all of this run"))
    wrong = complaints(verdicts, read_survivors(), configuration)
    for complaint in wrong:
        tell(complaint)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
