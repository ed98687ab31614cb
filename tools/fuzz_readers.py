"""Fuzz one reader with coverage guidance; needs atheris, which is no dependency of frusta.

    pip install atheris
    nice -n 15 python tools/fuzz_readers.py table --seconds 600 --corpus /tmp/corpus

Targets: table, calibration, wav, flac, zip, json. What must hold stands in tests/hard/reader_targets.py. The coverage
that guides is that of frusta's own code and of Python's csv, zipfile and json; libsndfile is used as it is. On the
first finding the bytes are left in the corpus folder as crash-..., with the trace. At the end one line of figures.
"""

from __future__ import annotations

import argparse
import io
import json
import subprocess
import sys
import tempfile
from pathlib import Path

HARD = Path(__file__).resolve().parents[1] / "tests" / "hard"
TARGETS = ("table", "calibration", "wav", "flac", "zip", "json")
WORDS = {
    "wav": rb"RIFF RF64 RIFX WAVE fmt\x20 data ds64 fact LIST \xff\xff\xff\xff \xfe\xff",
    "flac": rb"fLaC ID3 \xff\xf8 \xff\xff\xff\xff",
    "zip": rb"PK\x03\x04 PK\x01\x02 PK\x05\x06 PK\x06\x06 campaign.csv ../ \x00\x00\xa0\xff",
    "table": rb"sep=; \xef\xbb\xbf \xff\xfe \x22\x22 ,, ; \x09 1e999 nan campaign title take seating",
    "calibration": rb"* Hz \x09 ; , 1e3 -0.5 nan inf \xff\xfe",
    "json": rb"\x22resources\x22 \x22path\x22 \x22bytes\x22 \x22hash\x22 \x22sha256: null NaN 1e999 [[[[ \x22event\x22 "
    rb"\x22Began\x22 \x22queue\x22 \x22readings\x22 \x22format\x22 \x5cud800 \x22reasons\x22",
}
"""What mutations may put in, as libFuzzer writes it."""


def seeds(target: str) -> list[bytes]:
    """Small valid inputs to begin with."""
    import numpy as np
    import soundfile
    from reader_targets import small_zip

    from frusta.bench.events import Began, Ended, Kept, Recorded, TakeFaultNote, TakeVerdict, Turn, Weighed, to_plain
    from frusta.campaign.findings import Findings
    from frusta.campaign.rows import TABLES

    tables = [",".join(model.model_fields) for model in TABLES.values()]
    found: list[bytes] = []
    if target in ("wav", "flac"):
        samples = np.linspace(-0.5, 0.5, 240).reshape(120, 2)
        kinds = {"wav": ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"), "flac": ("PCM_16", "PCM_24")}
        for subtype in kinds[target]:
            for form in ("WAV", "RF64", "WAVEX") if target == "wav" else ("FLAC",):
                out = io.BytesIO()
                soundfile.write(out, samples, 48000, format=form, subtype=subtype)
                found.append(out.getvalue())
    elif target == "table":
        for number, head in enumerate(tables):
            row = ",".join("otter-1" if i == 0 else "1" for i in range(head.count(",") + 1))
            found += [
                bytes([number]) + f"{head}\n{row}\n".encode(),
                bytes([number]) + head.replace(",", ";").encode("utf-16"),
            ]
    elif target == "calibration":
        found = [
            b"* mic\nHz dB\n20 -1.5\n40 0.5\n80 0 3\n",
            b"20;-1,5\n40;0,5\n",
            b"20,-1.5,0\n40,0.5,1\n",
            b"20\t1\n40\t2\n",
        ]
    elif target == "zip":
        row = b"campaign,title\nquay,Quay\n"
        found = [small_zip({"campaign.csv": row}), small_zip({"a/campaign.csv": row, "a/takes.csv": b"take\n"})]
        found.append(small_zip({"campaign.csv": row, "datapackage.json": b'{"resources":[{"path":"campaign.csv"}]}'}))
    else:
        turns = (Turn("heron", 1, "check"), Turn("rush-1", 1))
        note = TakeFaultNote("burst", "1.2 s", "record again")
        verdict = TakeVerdict("look", (note,), {"level_db": 84.0}, {}, ("fine",))
        events = (
            Began("s1", turns, (0.0, -6.0), ("rush-1",)),
            Weighed(4.9),
            Recorded("t1", "recordings/t1.wav", verdict),
        )
        lines = b"".join(json.dumps(to_plain(event)).encode() + b"\n" for event in (*events, Kept(), Ended()))
        found = [b"\0" + Findings(campaign="quay", made_by="x").model_dump_json().encode(), b"\2" + lines]
        found.append(b"\1" + b'{"resources":[{"path":"takes.csv","bytes":5,"hash":"sha256:00"}]}')
    return found


def fuzz(target: str, rest: list[str]) -> None:
    """Run until libFuzzer ends; does not return."""
    import atheris

    with atheris.instrument_imports(include=["frusta", "csv", "zipfile", "json"]):
        import reader_targets

        one = reader_targets.TARGETS[target]
    atheris.Setup([sys.argv[0], *rest], one)
    atheris.Fuzz()


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    wanted.add_argument("target", choices=TARGETS)
    wanted.add_argument("--seconds", type=int, default=600)
    wanted.add_argument("--corpus", type=Path, default=Path(tempfile.gettempdir()) / "frusta-fuzz")
    wanted.add_argument("--run", nargs=argparse.REMAINDER, help=argparse.SUPPRESS)
    told = wanted.parse_args()
    sys.path.insert(0, str(HARD))
    if told.run is not None:
        fuzz(told.target, told.run)
        return
    place = told.corpus / told.target
    place.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(seeds(told.target)):
        (place / f"seed-{number}").write_bytes(seed)
    words = told.corpus / f"{told.target}.dict"
    words.write_bytes(b"".join(b'"%s"\n' % word for word in WORDS[told.target].split(b" ")))
    options = [
        str(place), f"-dict={words}", f"-max_total_time={told.seconds}", f"-artifact_prefix={told.corpus}/",
        "-timeout=20", "-rss_limit_mb=1500", "-max_len=8192", "-seed=7", "-print_final_stats=1",
    ]  # fmt: skip
    command = [sys.executable, __file__, told.target, "--run", *options]
    with (told.corpus / f"{told.target}.log").open("wb") as log:
        code = subprocess.run(command, stdout=log, stderr=subprocess.STDOUT, check=False).returncode
    lines = (told.corpus / f"{told.target}.log").read_text("utf-8", "replace").splitlines()
    last = [line for line in lines if " cov: " in line][-1:]
    stats = [line for line in lines if line.startswith("stat::")]
    print(told.target, "exit", code, *last, *stats, sep="\n  ")
    sys.exit(code)


if __name__ == "__main__":
    main()
