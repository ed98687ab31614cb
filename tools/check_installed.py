"""Hold what was installed against the source: every file that is not code came along, and the command works.

Run by the Python of a fresh environment, outside the source tree: ``python -I tools/check_installed.py SOURCE``.
"""

import importlib.metadata
import subprocess
import sys
from pathlib import Path


def missing_files(source: Path, installed: Path) -> list[str]:
    """Files of the source package that were not installed."""
    wanted = (path.relative_to(source) for path in source.rglob("*") if path.is_file() and path.suffix != ".pyc")
    return sorted(str(path) for path in wanted if not (installed / path).is_file())


def main(source: Path) -> None:
    """Print one line for what was checked, or stop with what is wrong."""
    import frusta

    installed = Path(frusta.__file__).parent
    if source.resolve() in installed.resolve().parents or "site-packages" not in installed.parts:
        sys.exit(f"frusta was imported from {installed}, not from the environment's site-packages")
    if missing := missing_files(source / "src" / "frusta", installed):
        sys.exit("not installed: " + ", ".join(missing))
    version = importlib.metadata.version("frusta")
    if version != frusta.__version__:
        sys.exit(f"the installed version says {version}, the package {frusta.__version__}")
    said = subprocess.run(
        [Path(sys.executable).parent / "frusta", "--version"], capture_output=True, text=True, check=True
    ).stdout.strip()
    if said != f"frusta {version}":
        sys.exit(f"frusta --version says {said!r}, not 'frusta {version}'")
    licences = [str(file) for file in importlib.metadata.files("frusta") or () if "licenses" in file.parts]
    if not any(name.endswith("LICENSE") for name in licences):
        sys.exit("the licence did not come along")
    files = sum(1 for path in installed.rglob("*") if path.is_file() and path.suffix != ".pyc")
    print(f"frusta {version} on Python {sys.version.split()[0]}: {files} files, {len(licences)} licences, all there")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
