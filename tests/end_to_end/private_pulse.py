"""A sound device made of software: a PulseAudio server of our own whose null sink is the cable from output to input."""
import os
import pathlib
import signal
import subprocess
import tempfile
import time

SCRIPT = """\
load-module module-native-protocol-unix
load-module module-null-sink sink_name=cable format=float32le rate=48000 channels=2
set-default-sink cable
set-default-source cable.monitor
"""


class PrivatePulse:
    """Runs while the `with` block does; `env` makes a program see this server and no other."""

    def __enter__(self):
        self._folder = tempfile.TemporaryDirectory(prefix="hushtrace-pulse-")
        folder = pathlib.Path(self._folder.name)
        folder.chmod(0o700)
        (folder / "cable.pa").write_text(SCRIPT)
        self.env = dict(os.environ, XDG_RUNTIME_DIR=str(folder), HOME=str(folder), LC_ALL="C")
        for name in ("PULSE_SERVER", "DISPLAY", "DBUS_SESSION_BUS_ADDRESS"):
            self.env.pop(name, None)
        self._log = (folder / "log").open("w")
        self.server = subprocess.Popen(
            ["pulseaudio", "-n", "-F", str(folder / "cable.pa"), "--exit-idle-time=-1", "--daemonize=no"],
            env=self.env, stdout=self._log, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL)
        socket = folder / "pulse" / "native"
        self.env["PULSE_SERVER"] = f"unix:{socket}"
        deadline = time.monotonic() + 15
        while subprocess.run(["pactl", "list", "short", "sinks"], env=self.env, capture_output=True).returncode != 0:
            assert self.server.poll() is None, "pulseaudio ended: " + (folder / "log").read_text()
            assert time.monotonic() < deadline, "pulseaudio does not answer: " + (folder / "log").read_text()
            time.sleep(0.1)
        return self

    def send(self, number):
        self.server.send_signal(number)

    def __exit__(self, *_):
        if self.server.poll() is None:
            self.send(signal.SIGCONT)
            self.server.terminate()
            try:
                self.server.wait(5)
            except subprocess.TimeoutExpired:
                self.server.kill()
                self.server.wait()
        self._log.close()
        self._folder.cleanup()
