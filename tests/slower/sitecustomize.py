"""For builds whose programs take a multiple of their time (sanitizers): Python loads this by itself, and a test's patience with the programs
that it starts grows by HUSHTRACE_SLOWER. tests/end_to_end/CMakeLists.txt puts it before the tests of such a build."""
import os
import subprocess

SLOWER = float(os.environ.get("HUSHTRACE_SLOWER", "1"))


def patient(waits):
    def wait(self, *arguments, timeout=None, **more):
        return waits(self, *arguments, timeout=None if timeout is None else SLOWER * timeout, **more)
    return wait


if SLOWER > 1:
    subprocess.Popen.communicate = patient(subprocess.Popen.communicate)
    subprocess.Popen.wait = patient(subprocess.Popen.wait)
