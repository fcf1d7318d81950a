"""For builds whose programs take a multiple of their time (sanitizers): Python loads this by itself, and a test's patience with the programs
that it starts grows by HUSHTRACE_SLOWER. tests/end_to_end/CMakeLists.txt puts it before the tests of such a build."""
import os
import subprocess

SLOWER = float(os.environ.get("HUSHTRACE_SLOWER", "1"))


def longer(timeout):
    return None if timeout is None else SLOWER * timeout


if SLOWER > 1:
    communicates, waits = subprocess.Popen.communicate, subprocess.Popen.wait
    subprocess.Popen.communicate = lambda self, input=None, timeout=None: communicates(self, input, longer(timeout))
    subprocess.Popen.wait = lambda self, timeout=None: waits(self, longer(timeout))
