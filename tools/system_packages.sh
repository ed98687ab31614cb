#!/bin/sh
# System libraries that the tests use. Installed when root on a machine with apt; otherwise said, not done.
set -eu
wanted="libsndfile1 libportaudio2 libasound2-plugins pulseaudio pulseaudio-utils postgresql tmux chromium"
missing=""
for package in $wanted; do
    dpkg -s "$package" >/dev/null 2>&1 || missing="$missing $package"
done
[ -z "$missing" ] && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
else
    echo "these system packages may be missing:$missing" >&2
fi
