"""Say clearly when the Python that make found is too old (run before the environment is made)."""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 - run by whatever python3 is
    sys.exit(
        "frusta needs Python 3.11 or later (this is %d.%d); try: make PYTHON=python3.12 demo"
        % sys.version_info[:2]
    )
