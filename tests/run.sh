#!/usr/bin/env bash
# Installs what the tests need and runs every check: style, types, tests.
# Arguments go to pytest: `bash tests/run.sh tests/listen -q`.
set -euo pipefail
cd "$(dirname "$0")/.."

# The live tests use a private sound server and a headless browser. As root on
# Debian they are installed here; elsewhere those tests skip and say why.
debian_packages=(
    python3-venv libportaudio2 pulseaudio libasound2-plugins alsa-utils
    chromium chromium-driver poppler-utils
)
if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    if ! dpkg-query --show --showformat='${db:Status-Status}\n' "${debian_packages[@]}" 2>/dev/null |
        awk '$0 == "installed" { n++ } END { exit n != '"${#debian_packages[@]}"' }'; then
        export DEBIAN_FRONTEND=noninteractive
        apt-get update -qq
        apt-get install -qq -y --no-install-recommends "${debian_packages[@]}" >/dev/null
    fi
    # Where they could be installed, the live tests must run: a missing part is a failure.
    export TOOTHBEAT_LIVE=1
fi

# A folder of its own, so that nobody's environment is touched.
venv=.venv/tests
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
python="$venv/bin/python"
"$python" -m pip install --quiet --disable-pip-version-check --editable '.[test,dev]'

# One thread for each numerical library: the timing tests count one core.
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MPLBACKEND=Agg

"$python" -m ruff check .
"$python" -m ruff format --check .
"$python" -m mypy listen analysis recordings_synthetic tests
"$python" -m pytest "$@"
