#!/usr/bin/env bash
# Make sure that the TypeScript compiler is there: it checks the types of the pages' scripts. Nothing that
# it could write is used, so the program itself never needs it.
set -euo pipefail

if command -v tsc >/dev/null; then
    exit 0
fi
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "The TypeScript compiler is not there; installing it to check the scripts of the local pages"
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends node-typescript
    exit 0
fi
echo "The scripts of the local pages are checked by the TypeScript compiler, and it is not there." >&2
echo "Install it (Debian: sudo apt-get install node-typescript) and run make again." >&2
exit 1
