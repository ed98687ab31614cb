#!/bin/sh
# Pictures of README, tutorial and the page's rooms, made from the demo: sh tools/readme_pictures.sh DEMO_FOLDER
# (needs chromium and, for the rooms, Playwright: `make setup-dev`)
set -eu
here="$(cd "$(dirname "$0")/.." && pwd)"
demo="$(cd "$1" && pwd)"
out="$here/docs/pictures"
frusta="${FRUSTA:-$here/.venv/bin/frusta}"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT

photograph() { # ADDRESS FILE WIDTH HEIGHT
    chromium --headless --no-sandbox --disable-gpu --disable-background-networking --disable-component-update \
        --disable-sync --no-first-run --hide-scrollbars --user-data-dir="$work/profile" \
        --window-size="$3,$4" --screenshot="$2" "$1" >/dev/null 2>&1
    echo "$2"
}

photograph "file://$demo/report/report.html" "$out/report-top.png" 1200 1120
"$frusta" forecast "$demo/campaign" --material sorrel --profile cc124 --chart "$out/forecast.svg" >/dev/null 2>&1
echo "$out/forecast.svg"
FRUSTA_CONFIG="$work/config" "$(dirname "$frusta")/python" "$here/tools/room_pictures.py" "$demo" "$out"
