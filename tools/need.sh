#!/usr/bin/env bash
# Make sure that a program is there: need.sh NAME WHAT-FOR "COMMAND..." PACKAGE...
# One of the commands is enough; the packages are Debian's.
set -euo pipefail

name=$1 purpose=$2 commands=$3
shift 3

for command in $commands; do
    if command -v "$command" >/dev/null; then
        exit 0
    fi
done
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "$name is not there; installing $* $purpose"
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends "$@"
    exit 0
fi
echo "$name is needed $purpose, and it is not there." >&2
echo "Install it (Debian: sudo apt-get install $*) and run make again." >&2
exit 1
