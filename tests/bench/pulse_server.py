"""A PulseAudio server of the test's own: a null sink whose monitor hears what is played; as root, no desktop."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def pulse_server(rate: int = 48000) -> Iterator[dict[str, str]]:
    """Start the server and give the environment in which PortAudio finds it as device `pulse`.

    The recipe is the design's. Fails, and says what is missing, where PulseAudio is not installed.
    """
    for program in ("pulseaudio", "pactl"):
        if shutil.which(program) is None:
            raise AssertionError(f"{program} is missing: run tools/system_packages.sh as root")
    folder = Path(tempfile.mkdtemp(prefix="frusta-pulse-"))
    socket = folder / "native"
    environment = {
        **os.environ,
        "XDG_RUNTIME_DIR": str(folder),
        "HOME": str(folder),
        "PULSE_SERVER": f"unix:{socket}",
        "PULSE_SINK": "loop",
        "PULSE_SOURCE": "loop.monitor",
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }
    command = server_command(socket, rate)
    log = (folder / "log").open("wb")
    server = subprocess.Popen(command, env=environment, stdout=log, stderr=subprocess.STDOUT)
    try:
        _wait_for(environment, server, folder / "log")
        subprocess.run(["pactl", "set-sink-volume", "loop", "100%"], env=environment, check=True, timeout=20)
        yield {**environment, "FRUSTA_TEST_SERVER": str(server.pid)}
    finally:
        server.terminate()
        server.wait(20)
        log.close()
        shutil.rmtree(folder, ignore_errors=True)


def server_command(socket: Path, rate: int = 48000) -> list[str]:
    """Return the line that starts a server at a socket."""
    return [
        "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--realtime=no",
        "--high-priority=no", "-L", f"module-native-protocol-unix socket={socket} auth-anonymous=1",
        "-L", f"module-null-sink sink_name=loop rate={rate} channels=2 format=float32le",
    ]  # fmt: skip


def _wait_for(environment: dict[str, str], server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        if server.poll() is not None:
            raise AssertionError(f"pulseaudio ended at once: {log.read_text()}")
        if subprocess.run(["pactl", "info"], env=environment, capture_output=True, timeout=20).returncode == 0:
            return
        time.sleep(0.1)
    raise AssertionError(f"pulseaudio does not answer: {log.read_text()}")
