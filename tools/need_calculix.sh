#!/usr/bin/env bash
# Make sure that CalculiX is there: the tests of the predicted clamp solve the same joints with it.
set -euo pipefail

if command -v ccx >/dev/null; then
    exit 0
fi
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "CalculiX is not there; installing it for the tests of the predicted clamp"
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends calculix-ccx
    exit 0
fi
echo "The tests of the predicted clamp solve the same joints with CalculiX, and ccx is not there." >&2
echo "Install it (Debian: sudo apt-get install calculix-ccx) and run make again." >&2
exit 1
