"""Judge a caller: start its command before a stand-in for the service and see what it sends."""

import os
import re
import shlex
import signal
import subprocess  # runs the program that is judged  # nosec B404
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

from loomwright.conformance.caller_checks import CALLER_CHECKS
from loomwright.conformance.caller_runs import CallerContext, Run
from loomwright.conformance.report import Ledger, UnexercisedError
from loomwright.conformance.service_answers import service
from loomwright.conformance.specification import Case
from loomwright.conformance.stand_in import RECEIVER, SERVICE, StandIns
from loomwright.exchange import UsageError

CHECKS = CALLER_CHECKS
KEY = "conformance-key-0f3c9d"
# A caller that keeps to the specification needs at most this many times its patience: five tries.
_TRIES = 6
_REST_S = 30.0
_WORD = re.compile(r"\{(\w+)\}")
_WORDS = ("url", "receiver_url", "key", "timeout_s")


class CallerRunner:
    """Judges one command.

    Parameters
    ----------
    command
        Words as a shell separates them; ``{url}``, ``{receiver_url}``, ``{key}`` and
        ``{timeout_s}`` are put in.
    patience_s
        How long a single answer is waited for at most.
    at_once
        How many commands run at the same time.

    Raises
    ------
    UsageError
        The command has no word that leads to a stand-in, or one that is unknown.
    """

    def __init__(self, command: str, patience_s: float, at_once: int = 1) -> None:
        try:
            self.words = shlex.split(command)
        except ValueError as error:
            raise UsageError(f"--command {command!r} cannot be read: {error}") from None
        self.named = set(_WORD.findall(command))
        unknown = sorted(self.named - set(_WORDS))
        if unknown:
            raise UsageError(f"--command has {{{unknown[0]}}}; known are {', '.join(_WORDS)}")
        if not self.named & {"url", "receiver_url"}:
            raise UsageError("--command has neither {url} nor {receiver_url}")
        if not patience_s > 0:
            raise UsageError(f"--patience {patience_s} is not above 0")
        if at_once < 1:
            raise UsageError(f"--at-once {at_once} is below 1")
        self.patience_s = patience_s
        self.at_once = at_once

    def judge(self, cases: Sequence[Case], ledger: Ledger) -> None:
        """Run cases and note what they tell.

        Parameters
        ----------
        cases
            Of the role.
        ledger
            Where it is noted.

        Raises
        ------
        UsageError
            The command cannot be started, or asks for nothing.
        """
        # Made before the first run, so that no caller waits for it.
        service()
        plain = self._run({}, "plain")
        if not any(not entry.aside for entry in plain.recorded):
            raise UsageError(
                f"the command asked for nothing; it ended with status {plain.exit_status} "
                f"and said: {plain.output.strip()[-200:] or 'nothing'}"
            )
        again = self._run({}, "plain again")
        context = CallerContext(self.named, KEY, plain, again)
        able = [case for case in cases if not self._lacking(case)]
        with ThreadPoolExecutor(self.at_once) as pool:
            runs = pool.map(lambda case: self._run_of(case, plain), able)
            context.runs = dict(zip([case.key for case in able], runs, strict=True))
        for case in cases:
            self._judge(case, context, ledger)

    def _lacking(self, case: Case) -> list[str]:
        return [word for word in case.document.get("needs", ()) if word not in self.named]

    def _run_of(self, case: Case, plain: Run) -> Run:
        script = case.document.get("script")
        return self._run(script, case.key) if script else plain

    def _judge(self, case: Case, context: CallerContext, ledger: Ledger) -> None:
        run = context.runs.get(case.key)
        for expectation in case.expectations:
            number = expectation["requirement"]
            if run is None:
                word = self._lacking(case)[0]
                ledger.skip(number, case.key, f"the command has no {{{word}}}")
            elif run.killed:
                ledger.note(number, case.key, "the command did not end and was stopped")
            else:
                try:
                    miss = CHECKS[expectation["check"]](run, expectation, context)
                    ledger.note(number, case.key, miss)
                except UnexercisedError as reason:
                    ledger.skip(number, case.key, str(reason))

    def _run(self, script: Mapping[str, Sequence[Mapping[str, object]]], name: str) -> Run:
        """Start the command once before the stand-ins and wait for its end."""
        with StandIns(script, self.patience_s) as stand_ins:
            texts = {
                "url": stand_ins.url(SERVICE),
                "receiver_url": stand_ins.url(RECEIVER),
                "key": KEY,
                "timeout_s": f"{self.patience_s / 2:g}",
            }
            words = [_WORD.sub(lambda found: texts[found[1]], word) for word in self.words]
            output, status, killed = self._ended(words)
            recorded = tuple(stand_ins.recorded)
            return Run(name, recorded, output, status, killed, self.patience_s)

    def _ended(self, words: Sequence[str]) -> tuple[str, int, bool]:
        try:
            # The command that the person at the terminal typed, without a shell.
            process = subprocess.Popen(  # nosec B603
                words,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                errors="replace",
                start_new_session=True,
            )
        except OSError as error:
            raise UsageError(f"the command cannot be started: {error}") from None
        killed = False
        try:
            output, _ = process.communicate(timeout=self.patience_s * _TRIES + _REST_S)
        except subprocess.TimeoutExpired:
            killed = True
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            output, _ = process.communicate()
        return output, process.returncode, killed
