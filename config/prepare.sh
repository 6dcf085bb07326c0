# Sourced by tests/run and sample_frames/demo: Debian packages and a virtual environment.
# LAPSEKIT_VENV names the virtual environment to use; .venv in the checkout by default.

# debian PROGRAM:PACKAGE …: install the packages whose program is missing.
debian() {
    missing=""
    for pair in "$@"; do
        command -v "${pair%%:*}" >/dev/null 2>&1 || missing="$missing ${pair##*:}"
    done
    python3 -c 'import ensurepip, venv' >/dev/null 2>&1 || missing="$missing python3 python3-venv"
    [ -n "$missing" ] || return 0
    as_root=""
    [ "$(id -u)" = 0 ] || as_root="sudo"
    echo "installing:$missing"
    $as_root apt-get update -q >/dev/null
    # shellcheck disable=SC2086
    DEBIAN_FRONTEND=noninteractive $as_root apt-get install -y -q --no-install-recommends \
        $missing >/dev/null
}

# python_packages WHAT …: make the virtual environment and install into it; sets $venv.
python_packages() {
    venv="${LAPSEKIT_VENV:-.venv}"
    [ -x "$venv/bin/python" ] || python3 -m venv "$venv"
    "$venv/bin/python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
        echo "lapsekit needs Python 3.11 or later; this is $("$venv/bin/python" --version)" >&2
        exit 1
    }
    echo "installing Python packages into $venv"
    "$venv/bin/python" -m pip install -q --disable-pip-version-check \
        -c config/constraints.txt "$@"
}
