# Sourced by deploy/start.sh and tests/run.sh: finds Python 3.11 and makes a virtual environment
# from lock files. Callers stand in the project's root.

say() { printf 'loomwright: %s\n' "$*"; }

fail() {
    printf 'loomwright: %s\n' "$*" >&2
    exit 1
}

# Print the command that is Python 3.11. A command of that name may be a launcher without the
# version behind it, so each candidate is asked.
python_3_11() {
    local candidate
    for candidate in python3.11 python3 python; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' 2>/dev/null; then
            command -v "$candidate"
            return
        fi
    done
    fail "Python 3.11 is needed; neither python3.11 nor python3 on PATH is it."
}

# Print the checksum of all that decides what an environment holds.
#   environment_stamp PYTHON LOCK...
environment_stamp() {
    "$1" - "${@:2}" <<'PYTHON'
import hashlib, json, os, pathlib, sys, tomllib

project = tomllib.loads(pathlib.Path("pyproject.toml").read_text(encoding="utf-8"))
parts = [os.getcwd(), sys.version, sys.base_prefix]
parts += [json.dumps(project[table], sort_keys=True) for table in ("build-system", "project")]
parts += [pathlib.Path(lock).read_text(encoding="utf-8") for lock in sys.argv[1:]]
print(hashlib.sha256("\0".join(parts).encode()).hexdigest())
PYTHON
}

# Make the virtual environment that the locks describe, with the package itself in editable mode;
# nothing is done when it is there already.
#   make_environment DIRECTORY LOCK...
make_environment() {
    local directory="$1" python stamp
    shift
    python="$(python_3_11)" || exit 1
    stamp="$(environment_stamp "$python" deploy/build.lock "$@")" ||
        fail "pyproject.toml or a lock file cannot be read."
    if [ "$(cat "$directory/stamp" 2>/dev/null)" = "$stamp" ]; then
        return
    fi
    "$python" -c 'import venv, ensurepip' 2>/dev/null ||
        fail "$python has no venv module; install it (on Debian: apt-get install python3.11-venv)."
    say "making $directory (once, and again when a lock file changes)"
    rm -rf "$directory"
    "$python" -m venv "$directory" >/dev/null || fail "$python could not make $directory."
    install_locked "$directory" "$@"
    printf '%s\n' "$stamp" >"$directory/stamp"
}

# Wheels only: a source archive would fetch its build tools past the hash check.
install_locked() {
    local directory="$1" log="$1/install.log" lock
    local -a locks=(--requirement deploy/build.lock)
    shift
    for lock in "$@"; do locks+=(--requirement "$lock"); done
    "$directory/bin/python" -m pip install --disable-pip-version-check --no-input --retries 2 \
        --no-deps --require-hashes --only-binary :all: "${locks[@]}" >"$log" 2>&1 ||
        fail "$(install_failure "$log")"
    "$directory/bin/python" -m pip install --disable-pip-version-check --no-input \
        --no-deps --no-build-isolation --no-index --editable . >>"$log" 2>&1 ||
        fail "$(install_failure "$log")"
}

# Print one line on why pip failed.
install_failure() {
    if grep -q 'DO NOT MATCH THE HASHES' "$1"; then
        echo "a downloaded package does not match its hash in the lock file; see $1."
    elif grep -qE 'from versions: none|connection broken|Max retries' "$1"; then
        echo "pip can reach no package index (no network?); connect or set PIP_INDEX_URL; see $1."
    else
        echo "pip failed: $(grep -m1 '^ERROR' "$1" || tail -n 1 "$1") (see $1)"
    fi
}

# Tell whether LibreOffice Calc is installed, with a Python that can talk to it.
calc_is_here() {
    local candidate
    command -v soffice >/dev/null || return 1
    for candidate in /usr/bin/python3 python3; do
        "$candidate" -c 'import uno' 2>/dev/null && return
    done
    return 1
}

# Tell whether the circuit simulator is installed that networks are set beside.
ngspice_is_here() {
    command -v ngspice >/dev/null
}

# Tell whether the browser is installed that looks at pages: Chromium as Debian has it, or the one
# that LOOMWRIGHT_CHROMIUM names.
chromium_is_here() {
    if [ -n "${LOOMWRIGHT_CHROMIUM:-}" ]; then
        command -v "$LOOMWRIGHT_CHROMIUM" >/dev/null
    else
        command -v chromium >/dev/null || command -v chromium-browser >/dev/null
    fi
}

# Tell whether the program is installed that turns pages of a PDF into pictures.
pdftoppm_is_here() {
    command -v pdftoppm >/dev/null
}

# Tell whether the proxy is installed; Debian has it in /usr/sbin.
nginx_is_here() {
    command -v nginx >/dev/null
}
