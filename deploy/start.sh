#!/usr/bin/env bash
# Start the service on 127.0.0.1:8080 (LOOMWRIGHT_PORT overrides), post the demo job to it, print
# the answer, and serve until interrupted. Needs Python 3.11 with venv and pip, nothing else.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 1
. deploy/environment.sh

environment=.venv-run
port="${LOOMWRIGHT_PORT:-8080}"
url="http://127.0.0.1:$port"
log="$environment/server.log"
server=""

# The exit status is the verdict: 0 free, 1 busy, 2 not permitted, 3 not a port.
port_state() {
    "$1" - "$port" <<'PYTHON'
import errno, socket, sys

try:
    number = int(sys.argv[1])
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        probe.bind(("127.0.0.1", number if number else -1))
except (ValueError, OverflowError):
    sys.exit(3)
except OSError as error:
    sys.exit(2 if error.errno == errno.EACCES else 1)
PYTHON
}

require_free_port() {
    port_state "$1"
    case $? in
    0) ;;
    1) fail "port $port on 127.0.0.1 is busy; stop what listens there or set LOOMWRIGHT_PORT." ;;
    2) fail "port $port may not be used by this user; set LOOMWRIGHT_PORT to 1024 or more." ;;
    *) fail "LOOMWRIGHT_PORT must be a whole number from 1 to 65535, not '$port'." ;;
    esac
}

# Wait until the service answers; give up when its process ends or after 180 s: the first
# start of an installation makes machine code, which takes a slow machine a minute.
wait_until_ready() {
    "$environment/bin/python" - "$port" "$server" <<'PYTHON'
import http.client, os, sys, time

port, server = int(sys.argv[1]), int(sys.argv[2])
deadline = time.monotonic() + 180.0
while time.monotonic() < deadline:
    try:
        os.kill(server, 0)
    except ProcessLookupError:
        sys.exit(1)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5.0)
    try:
        connection.request("GET", "/v1/health")
        if connection.getresponse().status == 200:
            sys.exit(0)
    except (OSError, http.client.HTTPException):
        pass  # not listening yet
    finally:
        connection.close()
    time.sleep(0.05)
sys.exit(2)
PYTHON
}

stop_server() {
    if [ -n "$server" ]; then
        kill -TERM "$server" 2>/dev/null
        wait "$server" 2>/dev/null
        server=""
    fi
}

interrupted() {
    stop_server
    say "stopped."
    exit 0
}

python="$(python_3_11)" || exit 1
require_free_port "$python"
make_environment "$environment" deploy/requirements.lock

trap stop_server EXIT
trap interrupted INT TERM HUP
# A process group of its own, so that Ctrl-C reaches this script alone: a worker that is interrupted
# by the terminal and by its master at once can lock itself out and hold the stop up for 30 s.
set -m
LOOMWRIGHT_PORT="$port" "$environment/bin/python" -m gunicorn \
    --config deploy/gunicorn.conf.py >"$log" 2>&1 </dev/null &
server=$!
set +m

wait_until_ready
case $? in
0) ;;
1) fail "the server stopped while starting: $(tail -n 1 "$log") (see $log)" ;;
*) fail "the server did not answer $url/v1/health within 180 s (see $log)" ;;
esac

# A proxy in the surroundings must not stand between two processes of one machine.
no_proxy=127.0.0.1 "$environment/bin/loomwright" demo --url "$url" ||
    fail "the demo job was not answered (see $log)"

say "serving on $url until interrupted (Ctrl-C); log in $log"
wait "$server"
status=$?
server=""
fail "the server ended with status $status: $(tail -n 1 "$log") (see $log)"
