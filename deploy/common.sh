# Read by start.sh and test.sh: a Python new enough, and a .venv that holds what the given files name.

cd "$(dirname "$0")/.." || exit 1

find_python() {
    for name in ${SPANBOOK_PYTHON:-python3.12 python3.11 python3.13 python3.14 python3 python}; do
        # Some names are mere signposts that run nothing, so each is tried.
        if "$name" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            echo "$name"
            return
        fi
    done
    echo "Spanbook needs Python 3.11 or newer with venv, and found none." >&2
    echo "On Debian or Ubuntu: apt-get install python3 python3-venv; elsewhere see python.org." >&2
    echo "If it is installed under another name: SPANBOOK_PYTHON=/path/of/python sh $0" >&2
    exit 1
}

# make_venv FILE...: installs the requirement files into .venv when they changed since the last time.
make_venv() {
    mark=$(cat "$@" | cksum)
    stamp=.venv/installed-$(echo "$@" | cksum | cut -d' ' -f1)
    if [ -x .venv/bin/python ] && [ "$(cat "$stamp" 2>/dev/null)" = "$mark" ]; then
        return
    fi
    python=$(find_python) || exit 1
    if ! .venv/bin/python -c 'import pip, sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
        rm -rf .venv
        "$python" -m venv .venv || exit 1
    fi
    echo "Installing what Spanbook runs on into .venv (about 600 MB; a minute or two) ..."
    words=""
    for file in "$@"; do words="$words -r $file"; done
    # shellcheck disable=SC2086 # the words are meant to fall apart
    if ! .venv/bin/python -m pip install --quiet --disable-pip-version-check $words; then
        echo "The packages could not be installed; pip says above why. It needs the package index." >&2
        exit 1
    fi
    echo "$mark" >"$stamp"
}
