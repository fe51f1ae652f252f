"""Verdicts of one module, kept in a session file of cosmic-ray for its reports and to go on."""

import hashlib
import uuid
from collections.abc import Callable
from pathlib import Path

from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import MutationSpec, TestOutcome, WorkerOutcome, WorkItem, WorkResult

from .configuration import FOLDER, Configuration, Identity
from .mutants import Mutant, mutants_of
from .trial import KILLED, SURVIVED, TIMED_OUT, Outcome, changed_at, tried

# Beside the time that the tests take on the intact module; other work may share the machine.
SECONDS_BEFORE_START, TIMES_THE_INTACT = 20.0, 5.0


def verdicts_of(
    module: str,
    configuration: Configuration,
    folder: Path,
    keep: tuple[str, ...],
    tell: Callable[[str], None],
    seconds: float = 0.0,
) -> dict[Identity, str]:
    """Try the mutants of a module; those with a kept verdict in an earlier session are not tried.

    A trial may take ``seconds``, by default a few times what the intact module takes. Where a test
    or a source changes meanwhile the session is thrown away: half of an edit kills every mutant.
    """
    before = changed_at(configuration.source, FOLDER.parent)
    path = configuration.path(module)
    source = path.read_text(encoding="utf-8")
    arguments = [
        *configuration.tests[module],
        *(f"--deselect={test}" for test in configuration.without),
    ]
    mutants = list(mutants_of(module, source))
    digest = hashlib.sha256("".join(each.source for each in mutants).encode()).hexdigest()[:12]
    file = folder / f"{module}-{digest}.sqlite"
    folder.mkdir(parents=True, exist_ok=True)
    with use_db(file, WorkDB.Mode.create) as session:
        jobs = _jobs(session, path, mutants)
        earlier = {job: str(result.output).split("\n", 1)[0] for job, result in session.results}
        verdicts: dict[Identity, str] = {}
        waiting = []
        for job, mutant in jobs.items():
            if earlier.get(job) in keep:
                verdicts[mutant.identity] = earlier[job]
            else:
                waiting.append((job, mutant))
        if not waiting:
            return verdicts
        seconds = seconds or _seconds_allowed(module, path, arguments)
        for job, mutant in waiting:
            outcome = tried(module, path, mutant.source, arguments, seconds)
            verdicts[mutant.identity] = outcome.verdict
            session.set_result(job, _result(mutant, outcome))
            if outcome.verdict != KILLED:
                tell(f"{outcome.verdict}, line {mutant.start[0]}: {mutant.identity}")
    if changed_at(configuration.source, FOLDER.parent) != before:
        file.unlink()
        raise SystemExit(f"{module}: tests or sources changed during its trials, which say nothing")
    return verdicts


def _seconds_allowed(module: str, path: Path, arguments: list[str]) -> float:
    """Run the tests on the intact module, which must pass, and return what a mutant may take."""
    intact = tried(module, path, None, arguments, 600.0)
    if intact.verdict != SURVIVED:
        raise SystemExit(f"{module}: the tests fail on the intact module\n{intact.output}")
    return SECONDS_BEFORE_START + TIMES_THE_INTACT * intact.seconds


def _jobs(session: WorkDB, path: Path, mutants: list[Mutant]) -> dict[str, Mutant]:
    """Return the session's jobs, made now if the session is new."""
    by_place = {(each.operator, each.occurrence): each for each in mutants}
    if not session.num_work_items:
        session.add_work_items(
            WorkItem.single(
                uuid.uuid4().hex,
                MutationSpec(
                    module_path=path,
                    operator_name=mutant.operator,
                    occurrence=mutant.occurrence,
                    start_pos=mutant.start,
                    end_pos=mutant.end,
                    definition_name=mutant.identity.function,
                ),
            )
            for mutant in mutants
        )
    found = {}
    for item in session.work_items:
        (mutation,) = item.mutations
        found[item.job_id] = by_place[mutation.operator_name, mutation.occurrence]
    # In the order of the lines: the survivors are read beside the source.
    return dict(sorted(found.items(), key=lambda each: (each[1].start, each[1].operator)))


def _result(mutant: Mutant, outcome: Outcome) -> WorkResult:
    killed = outcome.verdict in (KILLED, TIMED_OUT)
    return WorkResult(
        worker_outcome=WorkerOutcome.NORMAL,
        test_outcome=TestOutcome.KILLED if killed else TestOutcome.SURVIVED,
        # The first line is the verdict in our own words, which part late from killed.
        output=f"{outcome.verdict}\n{outcome.output[-2000:]}",
        diff=str(mutant.identity),
    )
