"""One writer at a time for the tables of a package: who reads a table to write it anew must not overtake another.

The lock is the system's, on the folder itself: it leaves no file behind, and goes with a process that is killed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def one_writer(root: Path) -> Iterator[None]:
    """Wait until nobody else writes tables of the package, and keep others waiting meanwhile.

    Where the system has no such lock (Windows, some network disks) there is no waiting. Not to be nested.

    Parameters
    ----------
    root : Path
        Folder of the package.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    try:
        handle = os.open(root, os.O_RDONLY)
    except OSError:  # not there, or not to be read: the writing itself will say so
        yield
        return
    try:
        with suppress(OSError):  # a network disk without locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
