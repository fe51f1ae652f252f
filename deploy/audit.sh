#!/usr/bin/env bash
# Ask for known vulnerabilities of every locked package. By hand, where a database of vulnerabilities
# can be reached; arguments go to pip-audit, such as `--vulnerability-service osv`.
#
# An index without such data, or none at all, makes pip-audit print a clean result. Two old packages
# are therefore asked for first, and unless both are reported nothing is said to be clean.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
. deploy/environment.sh

make_environment .venv-security deploy/requirements-security.lock
tools="$PWD/.venv-security/bin"
folder="$(mktemp -d)"
trap 'rm -rf "$folder"' EXIT

# Print a line for each vulnerability, and for each package that nobody could tell about.
#   told REQUIREMENTS ARGUMENT...
told() {
    local status=0
    "$tools/pip-audit" --disable-pip --no-deps --progress-spinner off --format json \
        --output "$folder/told.json" --requirement "$@" 2>"$folder/complaints" || status=$?
    # 1 is what it ends with where it found something.
    if [ "$status" -gt 1 ] || [ ! -s "$folder/told.json" ]; then
        tail -n 3 "$folder/complaints" >&2
        fail "pip-audit failed; the audit was NOT done."
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
[ "$found" = 0 ] || fail "vulnerabilities, or packages that nobody could tell about."
