"""A sound server of our own, whose microphone hears what is played into it."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.live.tools import need


class SoundServer:
    """A PulseAudio daemon with a null sink, whose monitor is the default input."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(mode=0o700)
        self._folder = folder
        self.environment = {
            **os.environ,
            "XDG_RUNTIME_DIR": str(folder),
            "PULSE_RUNTIME_PATH": str(folder),
            "PULSE_SERVER": f"unix:{folder}/native",
            "HOME": str(folder),
        }
        self._daemon: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        """Start the daemon, for the first time or after it was killed."""
        pulseaudio, pactl = need("pulseaudio"), need("pactl")
        (self._folder / "native").unlink(missing_ok=True)
        self._daemon = subprocess.Popen(
            [
                pulseaudio, "-n", "--daemonize=no", "--exit-idle-time=-1",
                "--use-pid-file=no", "--disable-shm=yes",
                "-L", f"module-native-protocol-unix socket={self._folder}/native auth-anonymous=1",
                "-L", "module-null-sink sink_name=shop rate=48000 channels=1 format=s16le",
            ],
            env=self.environment,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for _ in range(100):
            if self._told(pactl, "set-default-sink", "shop"):
                break
            time.sleep(0.1)
        self._told(pactl, "set-default-source", "shop.monitor")

    def kill(self) -> None:
        """Pull the microphone out."""
        if self._daemon is not None:
            self._daemon.kill()
            self._daemon.wait()

    @contextmanager
    def frozen(self) -> Iterator[None]:
        """Have the daemon do nothing at all for a while."""
        assert self._daemon is not None
        self._daemon.send_signal(signal.SIGSTOP)
        try:
            yield
        finally:
            self._daemon.send_signal(signal.SIGCONT)

    def play(self, sound: Path) -> subprocess.Popen[bytes]:
        """Play a file into the microphone."""
        return subprocess.Popen(
            [need("paplay"), "--device=shop", str(sound)],
            env=self.environment,
            stderr=subprocess.DEVNULL,
        )

    def _told(self, *command: str) -> bool:
        done = subprocess.run(command, env=self.environment, capture_output=True, check=False)
        return done.returncode == 0


@contextmanager
def sound_server(folder: Path) -> Iterator[SoundServer]:
    """Run a sound server in `folder` as long as the block lasts."""
    for tool in ("pulseaudio", "pactl", "paplay"):
        need(tool)
    server = SoundServer(folder)
    try:
        yield server
    finally:
        with suppress(ProcessLookupError):
            server.kill()
