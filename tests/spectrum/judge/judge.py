"""SciPy judges the averaged spectra: the same noise and tones through scipy.signal.welch and csd."""
import subprocess
import sys
import tempfile

import numpy as np
from scipy import signal

rate = 44100.0
rng = np.random.default_rng(20260131)
n = 60001
t = np.arange(n) / rate
x = rng.normal(size=n) + 0.3 * np.sin(2 * np.pi * 997 * t) + 0.2
y = np.roll(x, 3) * 0.7 + rng.normal(size=n)
with tempfile.TemporaryDirectory() as folder:
    np.column_stack([x, y]).astype("<f8").tofile(folder + "/in")
    subprocess.run([sys.argv[1], folder + "/in", folder + "/out"], check=True)
    got = np.fromfile(folder + "/out", "<f8")

options = dict(fs=rate, detrend=False, return_onesided=True, scaling="density")
_, hann = signal.welch(x, window="hann", nperseg=3000, noverlap=1500, **options)
hop = round((1 - 0.66) * 2048)
_, flat = signal.welch(x, window="blackmanharris", nperseg=2048, noverlap=2048 - hop, **options)
_, cross = signal.csd(x, y, window="hann", nperseg=1500, noverlap=750, **options)
want = np.concatenate([hann, flat, np.column_stack([cross.real, cross.imag]).ravel()])
assert got.shape == want.shape, (got.shape, want.shape)
for name, a, b in (("hann", got[: hann.size], hann),
                   ("blackman-harris", got[hann.size: hann.size + flat.size], flat),
                   ("cross", got[hann.size + flat.size:], want[hann.size + flat.size:])):
    worst = np.max(np.abs(a - b)) / np.max(np.abs(b))
    print(f"{name}: largest difference {worst:.2e} of the largest value")
    assert worst < 1e-10, name
