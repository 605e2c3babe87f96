# Sourced by the scripts beside it: `setup` makes .venv in the checkout and installs this project into it.
# Needs Python 3.11 or newer with pip; nothing of the system is changed.

root="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)"
venv="$root/.venv"
export PYTHONDONTWRITEBYTECODE= # hundreds of processes are started: none is to compile what another has

find_python() {
    local name
    for name in "${PYTHON:-python3}" python3.13 python3.12 python3.11; do
        if command -v "$name" >/dev/null && "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
            echo "$name"
            return
        fi
    done
    echo "ci: no Python 3.11 or newer found. Install one, or name it: PYTHON=/path/to/python $0" >&2
    return 1
}

make_venv() {
    local python
    python="$(find_python)" || return 1
    # Some systems have the venv module without its pip: then our pip puts one there.
    "$python" -m venv "$venv" >/dev/null 2>&1 && return
    rm -rf "$venv"
    "$python" -m venv --without-pip "$venv" && "$python" -m pip --python "$venv/bin/python" install --quiet pip
}

# setup [EXTRA]: install once for each state of pyproject.toml.
setup() {
    local what="$root${1:+[$1]}" stamp
    stamp="$venv/installed-${1:-plain}-$(cksum <"$root/pyproject.toml" | tr ' ' '-')"
    [ -e "$stamp" ] && return
    echo "Setting up in $venv (once) …"
    [ -x "$venv/bin/python" ] || make_venv || return 1
    # Compiling all that is installed would take longer than installing it: Python compiles what is used, when it is.
    "$venv/bin/python" -m pip install --quiet --no-compile --disable-pip-version-check --editable "$what" || {
        echo "ci: the installation failed; its words are above." >&2
        return 1
    }
    touch "$stamp" "${stamp/installed-${1:-plain}/installed-plain}" # with more than is needed it is installed too
}
