"""What the live view costs, and whether it loses sound: PROGRAM [SECONDS] [--no-load] [--page] [--raised]

`gain --live` listens through a PulseAudio server of its own while a player's tone is stepped up and down, a busy loop holds
the other core, and (--page) the phone page is open in a browser. Prints the program's processor time as a share of one
core (getrusage), its largest memory, what it found lost in its sound, and the steps that it told. Exit 1 when sound was lost.

A sound server usually runs at a raised priority. --raised gives server, player and program a real-time one (as root): for a
machine on which much else runs besides the busy loop.
"""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import time

import numpy as np
import scipy.io.wavfile

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
from private_pulse import PrivatePulse   # noqa: E402

tool = sys.argv[1]
words = sys.argv[2:]
seconds = float(next((word for word in words if not word.startswith("-")), 30))
cores = sorted(os.sched_getaffinity(0))


def new_job(folder):
    job = pathlib.Path(folder) / "job"
    job.mkdir()
    read = {"unit": "V", "engine": "off"}
    (job / "job.json").write_text(json.dumps({
        "schema": "hushtrace.job/1", "title": "load", "source": {"volume_top": 40},
        "interface": {"volts_full_scale": [7.0, 7.0]},
        "observations": [{"what": "shell_to_amplifier_ground", "value": 0.01, **read},
                         {"what": "ground_drop", "value": 0.05, **read}]}))
    return job


def busy():
    """Holds the last core until it is ended."""
    return subprocess.Popen([sys.executable, "-c", f"import os\nos.sched_setaffinity(0, {{{cores[-1]}}})\nwhile True: pass"])


def write_staircase(path):
    """997 Hz as a source plays it while a hand turns up eight steps of 2 dB, two seconds each, and down again: clipped hard
    at -6 dBFS, so that the last two are too much."""
    rate, level_db = 48000, [-18 + 2 * step for step in (0, 1, 2, 3, 4, 5, 6, 7, 7, 6, 5, 4, 3, 2, 1, 0)]
    at = np.arange(int((seconds + 5) * rate))
    gain = 10 ** (np.array(level_db)[at // (2 * rate) % len(level_db)] / 20)
    wave = np.clip(gain * np.sin(2 * np.pi * 997 / rate * at), -0.5, 0.5)
    scipy.io.wavfile.write(path, rate, np.round(32767 * wave).astype(np.int16))


def open_page(address):
    from small_browser import Browser
    browser = Browser()
    browser.ask("Page.navigate", url=address)
    return browser


def raised(pid):
    """All threads of a process; those that it begins later inherit it."""
    if "--raised" in words:
        for thread in os.listdir(f"/proc/{pid}/task"):
            os.sched_setscheduler(int(thread), os.SCHED_RR, os.sched_param(5))


def largest_memory_mb(pid):
    """Not ru_maxrss, which begins with what this script held when it forked."""
    try:
        status = pathlib.Path(f"/proc/{pid}/status").read_text()
        return int(re.search(r"VmHWM:\s+(\d+)", status).group(1)) / 1024
    except (OSError, AttributeError):
        return 0


with tempfile.TemporaryDirectory() as folder, PrivatePulse() as pulse:
    job = new_job(folder)
    load = None if "--no-load" in words else busy()
    browser, lines, memory_mb = None, [], 0
    raised(pulse.server.pid)
    write_staircase(pathlib.Path(folder) / "steps.wav")
    player = subprocess.Popen(["paplay", "--latency-msec=1000", str(pathlib.Path(folder) / "steps.wav")], env=pulse.env)
    command = [tool, "gain", "--job", str(job), "--live", "--device", "pulse", "--plain", "--tone", "sine", "--level", "0", "--via", "stick",
               "--seconds", str(seconds), "--json"]
    if "--page" in words:
        command.append("--share")
    process = subprocess.Popen(command, env=pulse.env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    raised(player.pid)
    raised(process.pid)
    begun = time.monotonic()
    try:
        for line in process.stderr:
            lines.append(line.rstrip())
            memory_mb = max(memory_mb, largest_memory_mb(process.pid))
            address = re.search(r"http://\S+", line)
            if address and "--page" in words and browser is None:
                browser = open_page(address.group())
        _, status, usage = os.wait4(process.pid, 0)
    finally:
        player.kill()
        if load:
            load.kill()
        if browser:
            browser.process.kill()
    took = time.monotonic() - begun
    takes = json.loads((job / "job.json").read_text()).get("takes", [])
    faults = takes[-1].get("faults", []) if takes else ["no take"]
    steps = sum(" step: " in line for line in lines)
    lost = [line for line in lines if "was lost" in line or "reported lost" in line]
    print(f"{took:.1f} s, exit {os.waitstatus_to_exitcode(status)}, cores {len(cores)}, load average {os.getloadavg()[0]:.1f}")
    print(f"processor: {100 * (usage.ru_utime + usage.ru_stime) / took:.1f} % of a core "
          f"({usage.ru_utime:.1f} s user, {usage.ru_stime:.1f} s system); memory {memory_mb:.0f} MB")
    print(f"steps told: {steps}; take marked: {faults or 'nothing'}")
    for line in lost[:10]:
        print("  " + line)
    if os.waitstatus_to_exitcode(status) != 0 and not takes:
        print("\n".join(lines[-5:]))
    sys.exit(1 if faults or not steps else 0)
