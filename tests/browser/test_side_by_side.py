"""Browser tests in two processes at once, each with its own browser, and the end of such a run."""

import asyncio
import os
import subprocess
import sys
from pathlib import Path

import psutil
from browsing import launched

ROOT = Path(__file__).parents[2]
# One of the files with the service and one that keeps something.
TESTS = (
    "test_api_in_browser.py::test_a_faulty_job_is_a_problem_document_that_scripts_can_read",
    "test_watched_pages.py::test_a_picture_shows_the_whole_page_and_a_print_its_figures",
    "test_watched_pages.py::test_what_is_no_error_passes",
)


def test_two_processes_have_a_browser_each_and_the_end_says_where_pictures_lie(
    tmp_path: Path,
) -> None:
    # As the command of the tests has it; a setting of the tests does not stop the service.
    names = [f"tests/browser/{test}" for test in TESTS]
    surroundings = {
        name: text
        for name, text in os.environ.items()
        if not name.startswith(("PYTEST_", "TESTS_ARTEFACTS"))
    }
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-vv", "-n", "2", "--dist", "loadfile", *names],
        cwd=ROOT,
        env={**surroundings, "LOOMWRIGHT_ARTEFACTS": str(tmp_path / "kept")},
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    said = done.stdout + done.stderr
    assert done.returncode == 0, said
    lines = done.stdout.splitlines()
    assert "[gw0]" in done.stdout, said
    assert "[gw1]" in done.stdout, said
    assert f"3 to look at in {tmp_path / 'kept'}" in lines, said
    assert "3 passed" in lines[-1], said
    kept = sorted(path.name for path in (tmp_path / "kept").iterdir())
    assert kept == ["fixture-phone.png", "fixture_desk.png", "fixture_print.pdf"]


def test_nothing_runs_on_after_a_browser() -> None:
    before = psutil.Process().children(recursive=True)
    with launched() as browser:
        page = browser.new_page()
        assert page.evaluate("6 * 7") == 42
        own = set(psutil.Process().children(recursive=True)) - set(before)
        assert len(own) > 1
    _, left = psutil.wait_procs(own, timeout=20)
    assert not left
    # The event loop of the browser's driver would refuse another one in this thread.
    assert asyncio.run(asyncio.sleep(0, "done")) == "done"
