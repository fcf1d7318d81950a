"""Noise that follows an engine, made with NumPy from closed forms, with the reference detector of each: whine along a
wandering speed, ignition clicks. Shared by kinds_population.py; what does not follow the engine is in steady_sounds.py."""
import numpy as np
from scipy.signal import butter, lfilter, sosfilt
from steady_sounds import Source, limit

WINDOWS_S = (0.05, 0.1, 0.2, 0.4, 1.0)


def wander(n, rate, share, rng):
    """Relative speed: 1 plus Gaussian noise of this rms share below 0.1 to 1 Hz, of random steepness."""
    coarse_hz, spare = 100, 4000
    sos = butter(int(rng.integers(2, 5)), np.exp(rng.uniform(np.log(0.1), np.log(1.0))), fs=coarse_hz, output="sos")
    coarse = sosfilt(sos, rng.normal(size=int(n / rate * coarse_hz) + spare + 10))[spare:]
    coarse = np.interp(np.arange(n) / rate, np.arange(coarse.size) / coarse_hz, coarse)
    return 1 + share * (coarse - coarse.mean()) / max(coarse.std(), 1e-12)


class Followed(Source):
    """A line that moves: its reference sums the power at the true frequency over short windows, the best of five lengths,
    not de-chirped, in noise that is known."""

    def __init__(self, kind, hz, x, amplitude_of_line, about=""):
        super().__init__(kind, float(hz.mean()), x, about=about)
        self.hz, self.amplitude = hz, amplitude_of_line
        self.line_hz = np.array([self.frequency_hz])

    def needed(self, floor):
        gain = 1 / (floor.scale * floor.shape[np.minimum(int(self.frequency_hz * floor.n / floor.rate), floor.shape.size - 1)])
        energy = 0.5 * self.amplitude**2 * gain**2 * self.hz.size
        best = np.inf
        for window_s in WINDOWS_S:
            step = int(window_s * floor.rate)
            count = self.hz.size // step
            hz = self.hz[:count * step].reshape(count, step)[:, ::8]
            phase = 2 * np.pi * np.cumsum(hz - hz.mean(axis=1, keepdims=True), axis=1) * 8 / floor.rate
            caught = np.mean(np.abs(np.exp(1j * phase).mean(axis=1)) ** 2)
            best = min(best, limit(2 * count) / (energy * caught))
        return np.sqrt(best)


def whine(speed, rpm, rate, rng):
    """Six pulses of an alternator, 1.2 to 2.4 Hz a rpm, multiples 6 to 20 dB down; in a quarter a regulator chops it."""
    constant = rng.uniform(1.2, 2.4)
    hz = constant * rpm * speed
    turns = np.cumsum(hz) / rate
    x = np.sin(2 * np.pi * turns)
    for multiple, least, most in ((2, 6, 16), (3, 10, 20)):
        x += 10 ** (-rng.uniform(least, most) / 20) * np.sin(2 * np.pi * (multiple * turns + rng.uniform()))
    about = f"{constant:.2f} Hz a rpm"
    if rng.random() < 0.25:
        chops, depth = rng.uniform(100, 400), rng.uniform(0.1, 0.5)
        x *= 1 + depth * np.sin(2 * np.pi * chops * np.arange(x.size) / rate)
        about += f", regulator {chops:.0f} Hz"
    return Followed("alternator_whine", hz, x, 1.0, about)


def ignition(speed, rpm, cylinders, rate, rng):
    """Ringing at every firing, 5 to 25 % scattered; in a third one coil differs."""
    turns = np.cumsum(rpm * cylinders / 120 * speed) / rate + rng.uniform()
    starts = np.nonzero(np.diff(np.floor(turns)) > 0)[0]
    length = int(0.004 * rate)
    k = np.arange(length) / rate
    shape = np.exp(-k / rng.uniform(0.1e-3, 0.6e-3)) * np.cos(2 * np.pi * rng.uniform(1500, 9000) * k)
    scatter, odd = rng.uniform(0.05, 0.25), 10 ** (rng.uniform(-8, 8) / 20) if rng.random() < 0.33 else 1.0
    x = np.zeros(turns.size + length)
    for i, start in enumerate(starts):
        x[start:start + length] += shape * (1 + scatter * rng.normal()) * (odd if i % cylinders == 0 else 1.0)
    if rng.random() < 0.5:
        x = lfilter([1, -0.8], [1], x)                                # a loop couples it
    return Source("ignition_tick", float(rpm * cylinders / 120 * speed.mean()), x[:turns.size], freedom=starts.size * 0.001 * rate,
                  about=f"{cylinders} cylinders" + ("" if odd == 1.0 else f", one coil {20 * np.log10(odd):+.0f} dB"))
