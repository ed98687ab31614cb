"""Kill record, import, shelf add and publish at random moments, and say whether anything was lost.

    nice python tools/kill_loop.py --kills 200

The kills are shared out evenly; the programs are tests/bench/kill_loop.py and tests/hard/kill_jobs.py, of which the
test suite runs a part. Prints a line of JSON for each; exit code 1 where anything was wrong.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1] / "tests"


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    wanted.add_argument("--kills", type=int, default=200)
    wanted.add_argument("--seed", type=int, default=2)
    told = wanted.parse_args()
    each = -(-told.kills // 4)
    programs = {"record": [str(TESTS / "bench" / "kill_loop.py")]}
    programs |= {job: [str(TESTS / "hard" / "kill_jobs.py"), job] for job in ("import", "shelf", "publish")}
    fine, total = True, 0
    for name, program in programs.items():
        with tempfile.TemporaryDirectory(prefix="frusta-kill-") as place:
            environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "FRUSTA_CACHE": place}
            command = [sys.executable, *program, place, str(each), str(told.seed)]
            done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
        if done.returncode:
            print(name, "failed:", done.stderr[-1000:])
            fine = False
            continue
        result = json.loads(done.stdout)
        total += result["kills"]
        fine = fine and not result["problems"]
        print(json.dumps({"job": name} | result), flush=True)
    print(f"{total} kills; {'nothing lost' if fine else 'SOMETHING WRONG'}")
    sys.exit(0 if fine else 1)


if __name__ == "__main__":
    main()
