#!/usr/bin/env bash
# Fuzz each target for so many seconds (300 unless stated), or only those that are named, one after
# another; see fuzz_targets.py. The status is not 0 if anything was found.
#   bash tests/fuzz/run.sh [SECONDS [TARGET...]]
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
. deploy/environment.sh

make_environment .venv-security deploy/requirements-security.lock
seconds="${1:-300}"
targets=("${@:2}")
[ ${#targets[@]} -gt 0 ] || targets=(quantities bodies batches price_books)
status=0
for target in "${targets[@]}"; do
    .venv-security/bin/python tests/fuzz/fuzz.py "$target" "$seconds" || status=1
done
exit "$status"
