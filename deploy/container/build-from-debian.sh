#!/usr/bin/env bash
# Build the image where no image registry can be reached, start it read-only, and price the demo job
# through it. Needs root on Debian with buildah, debootstrap and Python 3.11 with venv; packages come
# from wherever apt and pip of this machine fetch them. Everything stays in one folder.
#
#   bash deploy/container/build-from-debian.sh [FOLDER]
#
# FOLDER, by default build/container, is kept: the base, the wheels and the image's layers are found
# there by the next run. LOOMWRIGHT_PORT is where the image is tried, 8080 by default.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
. deploy/environment.sh

folder="$(mkdir -p "${1:-build/container}" && cd "${1:-build/container}" && pwd)"
port="${LOOMWRIGHT_PORT:-8080}"
base_image=localhost/loomwright-base:bookworm
image=localhost/loomwright:local
server=""
mounted=""

store() { buildah --storage-driver vfs --root "$folder/store" --runroot "$folder/running" "$@"; }

# Run a command, and print what it took.
timed() {
    local started="$EPOCHREALTIME" what="$1"
    shift
    "$@"
    say "$what: $(seconds_since "$started") s"
}

seconds_since() {
    awk -v from="$1" -v to="$EPOCHREALTIME" 'BEGIN { printf "%.1f", to - from }'
}

clean_up() {
    stop_server
    if [ -n "$mounted" ]; then
        store umount "$mounted" >/dev/null
        store rm "$mounted" >/dev/null
    fi
}

stop_server() {
    if [ -n "$server" ]; then
        kill -TERM "$server" 2>/dev/null || true
        wait "$server" 2>/dev/null || true
        server=""
    fi
}

# Make the base: Debian's least system with its Python, brought up to date.
make_base() {
    local root="$folder/base" mirror
    rm -rf "$root"
    mirror="$(apt-get indextargets --format '$(REPO_URI)' 'Codename: bookworm' 'Component: main' \
        'Created-By: Packages' | head -n 1)"
    [ -n "$mirror" ] || fail "apt of this machine knows no source of Debian bookworm."
    debootstrap --variant=minbase --include=ca-certificates bookworm "$root" "$mirror" \
        >"$folder/debootstrap.log" || fail "debootstrap failed; see $folder/debootstrap.log."
    apt-get indextargets --format 'deb $(REPO_URI) $(CODENAME) $(COMPONENT)' 'Component: main' \
        'Created-By: Packages' | grep -E ' bookworm(-[a-z]+)? main$' >"$root/etc/apt/sources.list"
    chroot "$root" /usr/bin/env DEBIAN_FRONTEND=noninteractive PATH=/usr/sbin:/usr/bin:/sbin:/bin \
        sh -c 'apt-get update -qq && apt-get upgrade -y -qq &&
            apt-get install -y -qq --no-install-recommends python3.11-venv && apt-get clean' \
        </dev/null >"$folder/python.log" 2>&1 || fail "apt failed; see $folder/python.log."
    rm -rf "$root"/var/lib/apt/lists/* "$root/etc/apt/sources.list" "$root/etc/resolv.conf"
    mounted="$(store from scratch)"
    store add --quiet "$mounted" "$root" / >/dev/null
    store commit --quiet "$mounted" "$base_image" >/dev/null
    store rm "$mounted" >/dev/null
    mounted=""
}

# Fetch the wheels by this machine's pip, which knows its index; the hashes are checked here and
# again in the build, which then needs no network.
fetch_wheels() {
    local python
    python="$(python_3_11)"
    [ -x "$folder/pip/bin/pip" ] || "$python" -m venv "$folder/pip"
    "$folder/pip/bin/pip" download --quiet --quiet --disable-pip-version-check --no-input --no-deps \
        --require-hashes --only-binary :all: --dest "$folder/wheels" \
        --requirement deploy/build.lock --requirement deploy/requirements.lock
    printf '[global]\nno-index = true\nfind-links = /media\n' >"$folder/pip.conf"
}

build_image() {
    store build --quiet --isolation chroot --format docker --tag "$image" \
        --build-arg "BASE=$base_image" \
        --build-arg "REVISION=$(git rev-parse HEAD 2>/dev/null || echo unknown)" \
        --volume "$folder/wheels:/media:ro" --volume "$folder/pip.conf:/etc/pip.conf:ro" \
        . >"$folder/build.log"
}

# Say what the image says of itself under a name, one entry a line: Env or Cmd.
configured() {
    store inspect --type image "$image" | "$(python_3_11)" -c "
import json, sys
print(*json.load(sys.stdin)['OCIv1']['config']['$1'], sep='\n')"
}

# Run in the image's root, which cannot be written to, as its user and in its environment:
#   in_image ROOT [NAME=VALUE...] COMMAND...
# It becomes the calling process: a job of its own ends with what it runs.
in_image() {
    local root="$1"
    shift
    # shellcheck disable=SC2016  # the inner shell's variables
    exec unshare --mount --propagation private sh -euc '
        root="$1"; shift
        mount --bind "$root" "$root"
        mount --types tmpfs --options size=64m,mode=1777 tmpfs "$root/tmp"
        mount --types tmpfs --options size=64m tmpfs "$root/dev"
        mkdir --mode=1777 "$root/dev/shm"
        for device in null zero random urandom; do
            : >"$root/dev/$device"
            mount --bind "/dev/$device" "$root/dev/$device"
        done
        mount --types tmpfs --options size=64m,mode=1777 tmpfs "$root/dev/shm"
        mount --types proc proc "$root/proc"
        mount --options remount,bind,ro "$root"
        exec chroot --userspec=10001:10001 --groups=10001 "$root" /usr/bin/env -i "$@"
    ' sh "$root" "${configuration[@]}" "$@"
}

# Start the service of the image with settings, and say what the start took until it answers.
start_server() {
    local root="$1" what="$2" started="$EPOCHREALTIME"
    shift 2
    in_image "$root" LOOMWRIGHT_BIND="127.0.0.1:$port" LOOMWRIGHT_WORKERS=2 "$@" "${command[@]}" \
        >"$folder/server.log" 2>&1 </dev/null &
    server=$!
    until no_proxy=127.0.0.1 "$(python_3_11)" -c "
import sys, urllib.request
with urllib.request.urlopen('http://127.0.0.1:$port/v1/health', timeout=5) as answer:
    sys.exit(answer.status != 200)" 2>/dev/null; do
        kill -0 "$server" 2>/dev/null || fail "no start: $(tail -n 1 "$folder/server.log")"
        sleep 0.05
    done
    say "$what: $(seconds_since "$started") s, $(processor_seconds) s of a processor"
}

# Print what the server has used of a processor so far: a busy machine takes longer, but not more.
processor_seconds() {
    awk -v ticks="$(getconf CLK_TCK)" '{ printf "%.1f", ($14 + $15) / ticks }' "/proc/$server/stat"
}

[ "$(id -u)" = 0 ] || fail "only root can make a base and mount the image."
for program in buildah debootstrap unshare; do
    command -v "$program" >/dev/null || fail "$program is needed (apt-get install buildah debootstrap)."
done
trap clean_up EXIT

store inspect --type image "$base_image" >/dev/null 2>&1 || timed "made the base" make_base
timed "fetched the wheels" fetch_wheels
timed "built the image" build_image

mounted="$(store from --pull-never "$image")"
root="$(store mount "$mounted")"
mapfile -t configuration < <(configured Env)
mapfile -t command < <(configured Cmd)

say "size of the image: $(du --summarize --block-size=1M "$root" | cut -f 1) MiB, of it" \
    "$(du --summarize --block-size=1M "$root/opt/loomwright" | cut -f 1) MiB the service and its wheels"
tools="$(find "$root" \( -name 'pip' -o -name 'pip3*' -o -name 'gcc*' -o -name 'cc' -o -name 'ld' \
    -o -name 'setuptools' -o -name 'ensurepip' \) \( -path '*/bin/*' -o -type d \) \
    -not -path '*/share/*' -not -path '*/gcc*/*' -print)"
[ -z "$tools" ] || fail "tools of the build are left in the image: $tools"
(in_image "$root" sh -c '! touch /etc/x /opt/loomwright/x 2>/dev/null') ||
    fail "the image's root can be written to."

start_server "$root" "start without the kept machine code" NUMBA_CACHE_LOCATOR_CLASSES=
stop_server
start_server "$root" "start as built"
say "the demo job, priced by the image:"
(in_image "$root" no_proxy=127.0.0.1 loomwright demo --url "http://127.0.0.1:$port")
say "memory of its processes, shared pages in each: $(ps -o rss= --pid "$server" --ppid "$server" |
    awk '{ printf "%s%d", separator, $1 / 1024; separator = ", " }') MiB"
timed "stop" stop_server
