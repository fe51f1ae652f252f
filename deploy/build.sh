#!/usr/bin/env bash
# Make what a release consists of, in dist/ or in the folder that is named: wheel, source archive,
# bill of software, lock, server settings, SHA256SUMS. The same commit gives the same bytes.
#   bash deploy/build.sh [--python PYTHON] [FOLDER]
# PYTHON has the packages of deploy/requirements-test.lock and deploy/build.lock; without it
# .venv-test is made of them. Outside a Git checkout SOURCE_DATE_EPOCH has to be set.
set -euo pipefail
folder="$PWD/dist"
given=""
while [ $# -gt 0 ]; do
    case "$1" in
    --python) given="$(command -v "$2")" && shift 2 ;;
    -*) echo "loomwright: unknown option $1" >&2 && exit 2 ;;
    *) folder="$(realpath -m "$1")" && shift ;;
    esac
done
cd "$(dirname "${BASH_SOURCE[0]}")/.."
. deploy/environment.sh

# What a builder's surroundings could leave in the archives.
umask 022
export LC_ALL=C.UTF-8 TZ=UTC PYTHONHASHSEED=0 PYTHONDONTWRITEBYTECODE=1
unset PYTHONPATH

if [ -d "$folder" ] && [ -n "$(ls -A "$folder")" ]; then
    fail "$folder is not empty; take away what is in it, or name another folder."
fi
python="$given"
if [ -z "$python" ]; then
    make_environment .venv-test deploy/requirements-test.lock
    python="$PWD/.venv-test/bin/python"
fi
version="$("$python" -c 'import tomllib; print(tomllib.load(open("pyproject.toml", "rb"))["project"]["version"])')"
grep -qE "^## \[$version\] - [0-9]{4}-[0-9]{2}-[0-9]{2}$" deploy/CHANGELOG.md ||
    fail "deploy/CHANGELOG.md has no line '## [$version] - YYYY-MM-DD'."

work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
mkdir "$work/source" "$work/made"
# From a checkout goes what is committed, and nothing that merely lies about.
if [ "$(git rev-parse --show-toplevel 2>/dev/null)" = "$(pwd -P)" ]; then
    [ -z "$(git status --porcelain)" ] ||
        fail "the checkout holds changes that are not committed; commit them or put them away."
    export SOURCE_DATE_EPOCH="${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct)}"
    git archive HEAD | tar -x -C "$work/source"
else
    [ -n "${SOURCE_DATE_EPOCH:-}" ] ||
        fail "this is no Git checkout: set SOURCE_DATE_EPOCH to the time of the commit."
    export SOURCE_DATE_EPOCH
    tar -c --exclude=__pycache__ --exclude='*.egg-info' \
        pyproject.toml setup.py MANIFEST.in README.md LICENSE service openapi |
        tar -x -C "$work/source"
fi
chmod -R u=rwX,go=rX "$work/source"

# Run it quietly; what it said is shown if it fails.
quietly() {
    say "$1"
    shift
    "$@" >"$work/log" 2>&1 || { cat "$work/log" >&2 && fail "failed: $*"; }
}

quietly "bill of software" \
    "$python" deploy/release/sbom.py "$work/made/loomwright-$version.cdx.json"
# The wheel is made of the source archive, so that the archive holds all that a wheel needs.
quietly "source archive and wheel of $version" \
    "$python" -m build --no-isolation --outdir "$work/made" "$work/source"
quietly "metadata" "$python" -m twine check --strict "$work"/made/*.whl "$work"/made/*.tar.gz
quietly "contents" "$python" -m check_wheel_contents "$work"/made/*.whl
install -m 644 deploy/requirements.lock deploy/gunicorn.conf.py "$work/made"
(cd "$work/made" && sha256sum -- * >../SHA256SUMS)
mv "$work/SHA256SUMS" "$work/made"
mkdir -p "$folder"
mv "$work"/made/* "$folder"
say "made $folder:"
cat "$folder/SHA256SUMS"
