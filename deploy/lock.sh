#!/usr/bin/env bash
# Bring the five lock files in line with pyproject.toml; `--upgrade` also takes newer versions.
# Needs uv on PATH, in $UV or in .venv/bin. The files are resolved for Linux and Python 3.11.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

uv="${UV:-$(command -v uv || echo .venv/bin/uv)}"
lock() {
    "$uv" pip compile --quiet --python-version 3.11 --generate-hashes --only-binary :all: \
        --no-emit-index-url --no-header --no-annotate "$@"
}

sed -n '/^\[build-system\]/,/^$/s/^requires = \["\(.*\)"\]$/\1/p' pyproject.toml |
    lock "$@" --output-file deploy/build.lock -
lock "$@" --output-file deploy/requirements.lock pyproject.toml
# The tests run on exactly the versions that are served.
lock "$@" --constraints deploy/requirements.lock --group test \
    --output-file deploy/requirements-test.lock pyproject.toml
# Mutants run under exactly the tests' versions, in an environment of their own. yattag, which has no
# wheel, writes the tool's HTML report only.
lock "$@" --constraints deploy/requirements-test.lock --group test --group mutation \
    --excludes <(echo yattag) --output-file deploy/requirements-mutation.lock pyproject.toml
# What audits and fuzzes runs by hand, beside the versions that are served.
lock "$@" --constraints deploy/requirements.lock --group security \
    --output-file deploy/requirements-security.lock pyproject.toml
