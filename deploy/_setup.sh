# Shared by deploy/demo and deploy/test, which source it: makes .venv and installs what requirements.lock names.
# Written for bash 3.2 and later, so that the bash of macOS reads it too.

cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 1
TOP=$(pwd -P)
VENV="$TOP/.venv"
STAMP="$VENV/curevigil-complete"

# Nothing below may ask a question or reach for an activated environment.
unset PYTHONHOME PYTHONPATH VIRTUAL_ENV
export PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1 PIP_REQUIRE_VIRTUALENV=0 PIP_USER=0

say() { printf '%s\n' "$*"; }
stop() { printf '%s\n' "$*" >&2; exit 1; }

# run_shown TEXT LOG-PATTERN TOTAL COMMAND…: runs the command with its output in a log, and shows every few seconds
# how long it has run and, where a total is given, how many lines match the pattern. The log is shown if it fails.
run_shown() {
  local text=$1 pattern=$2 total=$3 log pid started seen rc=0 every=5
  shift 3
  log=$(mktemp "${TMPDIR:-/tmp}/curevigil-setup.XXXXXX")
  started=$SECONDS
  [ -t 1 ] && every=1
  say "$text ..."
  "$@" >"$log" 2>&1 </dev/null &
  pid=$!
  trap 'kill "$pid" 2>/dev/null; exit 130' INT TERM
  while kill -0 "$pid" 2>/dev/null; do
    sleep 0.5
    [ $(((SECONDS - started) % every)) -eq 0 ] && [ "${seen:-}" != "$SECONDS" ] && [ "$SECONDS" -gt "$started" ] || continue
    seen=$SECONDS
    _show_step "$log" "$pattern" "$total" $((SECONDS - started))
  done
  wait "$pid" || rc=$?
  trap - INT TERM
  [ -t 1 ] && printf '\r\033[K'
  if [ "$rc" -ne 0 ]; then
    tail -n 25 "$log" >&2
    printf '%s: failed after %s s (the last lines of its output stand above)\n' "$text" $((SECONDS - started)) >&2
  else
    say "  done in $((SECONDS - started)) s"
  fi
  rm -f "$log"
  return "$rc"
}

_show_step() {
  local line="  $4 s"
  if [ -n "$3" ]; then line="$line, $(grep -cE "$2" "$1") of $3"; fi
  if [ -t 1 ]; then printf '\r\033[K%s' "$line"; else say "$line"; fi
}

# Debian and what descends from it, and the right to install there?
can_apt() { [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null 2>&1 && [ -e /etc/debian_version ]; }

APT_REFRESHED=""
# apt_install PACKAGE…: installs them without starting any service that they bring.
apt_install() {
  local policy=/usr/sbin/policy-rc.d ours="" rc=0
  export DEBIAN_FRONTEND=noninteractive
  if [ -z "$APT_REFRESHED" ]; then
    run_shown "Reading Debian's package lists" "" "" apt-get -o DPkg::Lock::Timeout=120 update || return 1
    APT_REFRESHED=yes
  fi
  if [ ! -e "$policy" ]; then
    # Debian starts a service when its package is unpacked; here the tests start their own on free ports.
    printf '#!/bin/sh\nexit 101\n' >"$policy" && chmod +x "$policy" && ours=yes
    trap 'rm -f /usr/sbin/policy-rc.d' EXIT
  fi
  run_shown "Installing with apt: $*" "^(Get:|Unpacking|Setting up)" "" \
    apt-get -o DPkg::Lock::Timeout=120 install -y --no-install-recommends "$@" || rc=$?
  if [ -n "$ours" ]; then
    rm -f "$policy"
    trap - EXIT
  fi
  return "$rc"
}

_new_enough() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; }
_can_make_venv() { "$1" -c 'import ensurepip, venv' >/dev/null 2>&1; }

# Sets PYTHON to the first interpreter that is new enough and able to make an environment, installing what is missing.
find_python() {
  local names="python3 python3.14 python3.13 python3.12 python3.11 /usr/bin/python3 /usr/bin/python3.11 /opt/homebrew/bin/python3"
  local name able="" version
  for name in ${CUREVIGIL_PYTHON:-} $names; do
    command -v "$name" >/dev/null 2>&1 && _new_enough "$name" || continue
    if _can_make_venv "$name"; then
      PYTHON=$("$name" -c 'import sys; print(sys.executable)')
      return 0
    fi
    [ -n "$able" ] || able=$name
  done
  if [ -n "${TRIED_PYTHON:-}" ]; then able_sentence "$able"; fi
  can_apt || able_sentence "$able"
  TRIED_PYTHON=yes
  if [ -n "$able" ]; then
    version=$("$able" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
    apt_install "python$version-venv" || apt_install python3-venv || able_sentence "$able"
  else
    apt_install python3 python3-venv || able_sentence "$able"
  fi
  find_python
}

able_sentence() {
  if [ -n "$1" ]; then
    stop "$1 cannot make a virtual environment here: install its venv module and start again (Debian, Ubuntu: sudo apt-get install python3-venv)."
  fi
  stop "Curevigil needs Python 3.11 or later: install it and start again (Debian 12, Ubuntu 24.04: sudo apt-get install python3 python3-venv; macOS: brew install python@3.12)."
}

# What a complete environment was made from: place, lock, project description.
_wanted_stamp() {
  printf '%s\n' "$TOP"
  cksum requirements.lock pyproject.toml
}

_environment_works() { [ -x "$VENV/bin/python" ] && _new_enough "$VENV/bin/python" && "$VENV/bin/python" -m pip --version >/dev/null 2>&1; }

# Makes .venv, or completes it: the stamp is written last, so that an environment without it is known to be half-made.
prepare() {
  local total
  if [ -e "$STAMP" ] && [ "$(cat "$STAMP")" = "$(_wanted_stamp)" ] && [ -x "$VENV/bin/curevigil" ] && _environment_works; then
    return 0
  fi
  if [ -e "$VENV" ] && { [ ! -e "$STAMP" ] || [ "$(head -n 1 "$STAMP")" != "$TOP" ] || ! _environment_works; }; then
    say "The environment in .venv is half-made, or was made elsewhere: making it anew."
    rm -rf "$VENV"
  fi
  if [ ! -e "$VENV" ]; then
    find_python
    run_shown "Making .venv with $("$PYTHON" --version)" "" "" "$PYTHON" -m venv "$VENV" || exit 1
  fi
  rm -f "$STAMP"
  total=$(grep -cE '^[A-Za-z0-9].*==' requirements.lock)
  run_shown "Installing what requirements.lock names" "^(Collecting|Requirement already satisfied)" "$total" \
    "$VENV/bin/python" -m pip install --no-compile --progress-bar off --require-hashes -r requirements.lock || exit 1
  run_shown "Installing Curevigil itself" "" "" \
    "$VENV/bin/python" -m pip install --no-deps --no-index --no-build-isolation --editable . || exit 1
  _wanted_stamp >"$STAMP"
}
