#!/bin/bash
# Makes target/peers-venv: the Python peers that the tests in tests/tests/peers_*.rs talk to.
# Needs python3 with venv, and socat (Debian: apt install python3-venv socat).
set -euo pipefail
cd "$(dirname "$0")/../.."
command -v socat >/dev/null || { echo "socat is missing: apt install socat" >&2; exit 1; }
venv="${CARGO_TARGET_DIR:-target}/peers-venv"
python3 -m venv "$venv"
"$venv/bin/pip" install --quiet --disable-pip-version-check -r tests/peers/requirements.txt
"$venv/bin/python" -c 'import cobs, crcmod, jsonschema, prometheus_client, pymodbus, serial; print("peers ready: pymodbus", pymodbus.__version__)'
