#!/bin/sh
# Builds wheel and sdist from what is committed, and tries the wheel where no source tree is, on each Python given:
#   sh tools/try_release.sh [--tests] [--out DIR] PYTHON...
# --tests also passes the fast part of the tests there. Leaves wheel and sdist in DIR (default: dist).
set -eu
root="$(cd "$(dirname "$0")/.." && pwd)"
tests=no
out="$root/dist"
while [ $# -gt 0 ]; do
    case "$1" in
        --tests) tests=yes; shift ;;
        --out) mkdir -p "$2"; out="$(cd "$2" && pwd)"; shift 2 ;;
        *) break ;;
    esac
done
[ $# -gt 0 ] || set -- python3
unset PYTHONPATH
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 PIP_DISABLE_PIP_VERSION_CHECK=1

work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
mkdir "$work/source" "$work/elsewhere"
git -C "$root" archive HEAD | tar -x -C "$work/source"

"$1" -m venv "$work/builder"
"$work/builder/bin/python" -m pip install --quiet build
"$work/builder/bin/python" -m build --outdir "$work/dist" "$work/source" >"$work/build.log" 2>&1 || {
    cat "$work/build.log" >&2
    exit 1
}
mkdir -p "$out"
cp "$work"/dist/* "$out"/
wheel="$(echo "$work"/dist/*.whl)"
mkdir "$work/sdist"
tar -x -z -f "$(echo "$work"/dist/*.tar.gz)" -C "$work/sdist" --strip-components=1
for needed in Makefile constraints.txt tools/check_python.py docs/index.md tests/conftest.py CITATION.cff; do
    [ -f "$work/sdist/$needed" ] || { echo "the sdist lacks $needed" >&2; exit 1; }
done

cd "$work/elsewhere"
count=0
for python in "$@"; do
    count=$((count + 1))
    place="$work/env$count"
    "$python" -m venv "$place"
    echo "== $("$place/bin/python" --version)"
    "$place/bin/python" -m pip install --quiet "$wheel"
    "$place/bin/python" -m pip check
    "$place/bin/python" -I "$work/source/tools/check_installed.py" "$work/source"
    "$place/bin/frusta" --help >"$work/help.txt"
    "$place/bin/frusta" demo "$work/demo$count" >"$work/demo.txt" 2>&1 || { cat "$work/demo.txt" >&2; exit 1; }
    tail -n 1 "$work/demo.txt"
    [ -s "$work/demo$count/report/report.html" ] || { echo "frusta demo wrote no report" >&2; exit 1; }
    "$place/bin/frusta" check "$work/demo$count/campaign" | tail -n 1
    "$place/bin/frusta" shelf add "$work/demo$count/campaign" --shelf "$work/shelf$count.sqlite" | tail -n 1
    rm -rf "$work/demo$count"
    if [ "$tests" = yes ]; then
        "$place/bin/python" -m pip install --quiet -c "$work/source/constraints.txt" "$wheel[dev]"
        suite="$work/suite$count"
        mkdir "$suite"
        cp -r "$work/sdist/tests" "$work/sdist/benchmarks" "$work/sdist/pyproject.toml" "$suite"
        (
            cd "$suite"
            FRUSTA_REFERENCE_DATA="${FRUSTA_REFERENCE_DATA:-$root/../shared/data}" nice -n 15 \
                "$place/bin/python" -m pytest -q -p no:cacheprovider \
                tests/signal tests/cone tests/material tests/design tests/campaign tests/publish tests/cli
        )
    fi
done
echo "wheel and sdist: $out"
