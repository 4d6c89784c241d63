#!/bin/sh
# Checks and tests all of Spanbook on all cores: sh deploy/test.sh. Words after it go to pytest: -n 0 for one core.
. "$(dirname "$0")/common.sh"
make_venv requirements.txt deploy/requirements-test.txt

if ! command -v chromium >/dev/null 2>&1 && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "Installing chromium for the tests that drive a browser ..."
    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium >/dev/null
fi
if ! command -v chromium >/dev/null 2>&1; then
    echo "No chromium here: the tests marked 'browser' are skipped and named. Install it to run them."
fi

failed=""
check() {
    name=$1
    shift
    echo "--- $name"
    "$@" || failed="$failed$name, "
}

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
python=.venv/bin/python
check "ruff check" $python -m ruff check --quiet .
check "ruff format" $python -m ruff format --check --output-format concise .
# Not asked for: search engines' descriptions, type=submit on each button; some pages do refresh
# themselves without scripts, scripts fill empty spans, and plant links to calibration by address.
check "djlint format" $python -m djlint --check --quiet plant calibration deploy
check "djlint lint" $python -m djlint --lint --quiet plant calibration deploy
check "mypy" $python -m mypy --no-error-summary
check "migrations" env DJANGO_SETTINGS_MODULE=tests.settings \
    $python manage.py makemigrations --check --dry-run
check "production settings" env SPANBOOK_MODE=production SPANBOOK_HOSTS=book.example.com \
    SPANBOOK_DATA="$scratch" SPANBOOK_SECRET_KEY=for-this-check-0123456789-abcdefghijklmnopqrstuvwxyz \
    $python manage.py check --deploy --fail-level WARNING
if [ -n "$failed" ]; then
    echo "FAILED: ${failed%, }. The tests run all the same, but this run counts as failed." >&2
fi
echo "--- pytest"
# One Redis given from outside serves one run only.
workers=auto
[ -z "$REDIS_URL" ] || workers=0
$python -m pytest --numprocesses $workers --maxprocesses 4 "$@" || exit
[ -z "$failed" ]
