"""A job in a forked child that may live only so long."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable


def live(job: Callable[[], None], alive_s: float) -> int | None:
    """Run a job in a child; its exit code, 0 if it came to its end, or None if it was killed, by itself or in time."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            job()
            code = 0
        except Exception as error:
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
        finally:
            os._exit(code)
    end = time.monotonic() + alive_s
    ended = status = 0
    while not ended and time.monotonic() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        time.sleep(0.0005)
    if not ended:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return None
    return None if os.WIFSIGNALED(status) else os.waitstatus_to_exitcode(status)
