#!/bin/sh
# Pictures of the README, made from the demo: sh tools/readme_pictures.sh DEMO_FOLDER (needs chromium)
set -eu
page="$(cd "$1/report" && pwd)/report.html"
out="$(cd "$(dirname "$0")/.." && pwd)/docs/pictures"
profile="$(mktemp -d)"
chromium --headless --no-sandbox --disable-gpu --disable-background-networking --disable-component-update \
    --disable-sync --no-first-run --hide-scrollbars --user-data-dir="$profile" \
    --window-size=1200,1120 --screenshot="$out/report-top.png" "file://$page" >/dev/null 2>&1
rm -rf "$profile"
echo "$out/report-top.png"
