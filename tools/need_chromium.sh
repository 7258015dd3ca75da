#!/usr/bin/env bash
# Make sure that Chromium is there: the tests of the local pages drive it.
set -euo pipefail

if command -v chromium >/dev/null || command -v chromium-browser >/dev/null; then
    exit 0
fi
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "Chromium is not there; installing it with a font for the tests of the local pages"
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends chromium fonts-dejavu-core
    exit 0
fi
echo "The tests of the local pages drive Chromium, and it is not there." >&2
echo "Install it (Debian: sudo apt-get install chromium fonts-dejavu-core) and run make again." >&2
exit 1
