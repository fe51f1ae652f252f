#!/usr/bin/env bash
# Ask for known vulnerabilities of every locked package. By hand, where a database of vulnerabilities
# can be reached, or with a copy of one that was brought along:
#
#   bash deploy/audit.sh [ARGUMENT...]          arguments of pip-audit: --vulnerability-service osv
#   bash deploy/audit.sh --advisories FOLDER    advisories in the OSV format; asks no network
#
# An index or a folder without such data, or none at all, looks like a clean result. Two old packages
# are therefore asked for first, and unless both are reported nothing is said to be clean.
set -euo pipefail
advisories=""
if [ "${1:-}" = --advisories ]; then
    [ $# = 2 ] || { echo "loomwright: --advisories takes a folder, and nothing beside it" >&2 && exit 2; }
    advisories="$(realpath -m "$2")"
    set --
fi
cd "$(dirname "${BASH_SOURCE[0]}")/.."
. deploy/environment.sh

make_environment .venv-security deploy/requirements-security.lock
tools="$PWD/.venv-security/bin"
folder="$(mktemp -d)"
trap 'rm -rf "$folder"' EXIT

# Ask pip-audit, and leave its answer in told.json.
#   ask REQUIREMENTS ARGUMENT...
ask() {
    local status=0
    "$tools/pip-audit" --disable-pip --no-deps --progress-spinner off --format json \
        --output "$folder/told.json" --requirement "$@" 2>"$folder/complaints" || status=$?
    # 1 is what it ends with where it found something.
    if [ "$status" -gt 1 ] || [ ! -s "$folder/told.json" ]; then
        tail -n 3 "$folder/complaints" >&2
        fail "pip-audit failed; the audit was NOT done."
    fi
}

# Print a line for each vulnerability, and for each package that nobody could tell about.
#   told REQUIREMENTS ARGUMENT...
told() {
    if [ -n "$advisories" ]; then
        mv "$folder/$(basename "$1").json" "$folder/told.json"
    else
        ask "$@"
    fi
    "$tools/python" - "$folder/told.json" <<'PYTHON'
import json, sys

for package in json.load(open(sys.argv[1], encoding="utf-8"))["dependencies"]:
    for found in package.get("vulns", ()):
        print(package["name"], package["version"], found["id"], *found["fix_versions"])
    if "skip_reason" in package:
        print(package["name"], "skipped:", package["skip_reason"])
PYTHON
    rm -f "$folder/told.json"
}

# CVE-2019-10906 and CVE-2019-11324, both fixed long ago.
printf '%s\n' 'jinja2==2.10' 'urllib3==1.24.1' >"$folder/canary.txt"
if [ -n "$advisories" ]; then
    "$tools/python" deploy/audit/advisories.py "$advisories" "$folder" "$folder/canary.txt" \
        deploy/*.lock || fail "the advisories cannot be used; the audit was NOT done."
fi
canary="$(told "$folder/canary.txt" "$@")"
for package in jinja2 urllib3; do
    grep -q "^$package [0-9]" <<<"$canary" ||
        fail "no vulnerability data of $package is reachable from here; the audit was NOT done."
done

found=0
for lock in deploy/*.lock; do
    reported="$(told "$lock" "$@")"
    if [ -n "$reported" ]; then
        printf '%s\n' "$lock:" "$reported"
        found=1
    else
        say "$lock: no known vulnerability"
    fi
done
[ ! -e "$folder/old" ] ||
    fail "the newest advisory is $(cat "$folder/old") days old; for later ones the audit was NOT done."
[ "$found" = 0 ] || fail "vulnerabilities, or packages that nobody could tell about."
