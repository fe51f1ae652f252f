#!/usr/bin/env bash
# Check everything: lint, types, layers, documents, tests. All steps run even if one fails; the
# exit status is non-zero if any did. Arguments go to pytest. Needs Python 3.11 with venv and pip.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 1
. deploy/environment.sh

environment=.venv-test
make_environment "$environment" deploy/requirements-test.lock
PATH="$PWD/$environment/bin:$PATH"
export PATH

failed=()
step() {
    say "$*"
    "$@" </dev/null || failed+=("$1")
}

step ruff check
step ruff format --check
step mypy
step lint-imports
step pydoclint --quiet service/loomwright
step bandit --quiet --configfile pyproject.toml --recursive service
step openapi-spec-validator openapi/loomwright.yaml

# Said before the tests so that pytest's closing line stays the last one.
if [ "${CI:-}" != true ] && ! calc_is_here; then
    say "left out: the workbook in LibreOffice Calc, as soffice or a Python with uno is not here"
fi
if [ "${CI:-}" != true ] && ! ngspice_is_here; then
    say "left out: networks against the simulator, as ngspice is not here"
fi
if [ "${CI:-}" != true ] && ! chromium_is_here; then
    say "left out: pages in a browser, as chromium is not here"
fi
if [ "${CI:-}" != true ] && ! pdftoppm_is_here; then
    say "left out: pictures of printed pages, as pdftoppm is not here"
fi
if [ "${CI:-}" != true ] && ! nginx_is_here; then
    say "left out: instances behind a proxy, as nginx is not here"
fi
if [ ${#failed[@]} -gt 0 ]; then
    say "failed before the tests: ${failed[*]}" >&2
fi
# Two processes, as the contract tests take half of the time; a file stays in one of them.
python -m pytest -n 2 --dist loadfile "$@" </dev/null || failed+=(pytest)
[ ${#failed[@]} -eq 0 ]
