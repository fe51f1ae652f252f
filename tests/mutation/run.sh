#!/usr/bin/env bash
# Try the mutants of the packages, subpackages or modules named, by default all; see DEVELOPERS.md.
# The exit status is non-zero if one survives that survivors.toml does not list.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
. deploy/environment.sh

make_environment .venv-mutation deploy/requirements-mutation.lock
PYTHONPATH=tests exec .venv-mutation/bin/python -m mutation "$@"
