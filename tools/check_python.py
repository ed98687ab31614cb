"""Say clearly when the Python that make found is too old (run before the environment is made)."""

import sys

if sys.version_info[:2] < (3, 11):  # noqa: UP036 - this file is run by whatever python3 is
    found = ".".join(str(part) for part in sys.version_info[:2])
    sys.exit("frusta needs Python 3.11 or later, this is " + found + "; try: make PYTHON=python3.12 demo")
