#!/usr/bin/env bash
# Make the virtual environment in the folder given and install the package and its test tools into it.
set -euo pipefail

venv=$1

find_python() {
    local candidate
    for candidate in ${PYTHON:-} python3 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$candidate"
            return
        fi
    done
    echo "No Python 3.11 or newer was found. Install one (Debian: apt-get install python3 python3-venv)," >&2
    echo "or name it: make PYTHON=/path/to/python3.12" >&2
    return 1
}

need_venv_module() {
    "$1" -c 'import ensurepip, venv' 2>/dev/null && return
    local package
    package=$("$1" -c 'import sys; print(f"python{sys.version_info[0]}.{sys.version_info[1]}-venv")')
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        echo "$1 lacks the module that makes virtual environments; installing $package"
        apt-get update -qq && apt-get install -y -qq "$package"
        return
    fi
    echo "$1 lacks the module that makes virtual environments." >&2
    echo "Install it (Debian: sudo apt-get install $package) and run make again." >&2
    return 1
}

python=$(find_python)
need_venv_module "$python"
echo "Making $venv with $("$python" --version); the first time takes a few minutes"
[ -x "$venv/bin/python" ] || "$python" -m venv "$venv"
"$venv/bin/python" -m pip install --quiet --editable '.[test]'
