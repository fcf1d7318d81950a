"""Noise that does not follow the engine, made with NumPy from closed forms: floors, sources of each kind, and the reference
detector of each, which is told the waveform's parameters. Shared by kinds_population.py and engine_sounds.py."""
import numpy as np
from scipy.signal import lfilter
from scipy.stats import chi2, ncx2


class Floor:
    """Hiss of a known spectrum and level course: white, tilted or humped; steady or swelling."""

    def __init__(self, rng, samples, rate, rms):
        self.rate, self.n = rate, samples
        f = np.fft.rfftfreq(self.n, 1 / rate)
        tilt = rng.choice([0.0, 0.0, rng.uniform(0, 0.5)])           # amplitude ~ f^-tilt: white to pink
        shape = (np.maximum(f, 20) / 1000) ** -tilt
        for _ in range(rng.integers(0, 3)):                          # humps no sharper than a filter's
            centre, q = np.exp(rng.uniform(np.log(200), np.log(12000))), rng.uniform(0.7, 4)
            x = np.maximum(f, 1) / centre
            shape = shape * np.sqrt(1 + (10 ** (rng.uniform(0, 10) / 10) - 1) / (1 + q * q * (x - 1 / x) ** 2))
        self.shape = shape
        t = np.arange(self.n) / rate
        depth = rng.choice([0.0, rng.uniform(0, 4)])                 # dB
        self.course = 10 ** (depth * np.sin(2 * np.pi * t / rng.uniform(3, 15) + rng.uniform(0, 6)) / 20)
        self.scale = rms / np.sqrt(np.mean(shape[1:] ** 2))

    def noise(self, rng):
        white = np.fft.rfft(rng.normal(size=self.n))
        return np.fft.irfft(white * self.shape, self.n) * self.scale * self.course

    def whitened(self, x):
        """Against this floor of unit variance a sample."""
        return np.fft.irfft(np.fft.rfft(x / self.course) / self.shape, self.n) / self.scale


class Source:
    """A waveform of some size, with what its reference detector is told: where its energy lies, in how many degrees of freedom."""

    def __init__(self, kind, frequency_hz, x, lines=None, freedom=None, about="", variant=""):
        self.variant = variant
        self.kind, self.frequency_hz, self.x, self.about = kind, frequency_hz, x, about
        self.lines, self.freedom = lines, freedom
        self.places_hz = [] if frequency_hz is None else [frequency_hz]   # one of these is the answer

    def told_lines(self):
        """The stronger lines, within 40 dB of the strongest: whatever lies there speaks of this source."""
        lines = getattr(self, "line_hz", np.zeros(0))
        if self.lines is None or lines.size != len(self.lines):
            return lines
        return lines[self.lines > 1e-4 * self.lines.max()]

    def needed(self, floor):
        """Factor on x at which the reference detector sees it in 90 % of takes at 1 % false alarms a take."""
        energy = np.sum(floor.whitened(self.x) ** 2)
        if self.lines is not None:                                   # the strongest lines that are best summed
            parts = np.sort(self.lines / floor.shape[np.minimum(self.line_bins(floor), floor.shape.size - 1)] ** 2)[::-1]
            share = np.cumsum(parts) / parts.sum()
            need = [limit(2 * (i + 1)) / (energy * share[i]) for i in range(len(parts))]
            return np.sqrt(min(need))
        return np.sqrt(limit(self.freedom) / energy)

    def line_bins(self, floor):
        return np.round(self.line_hz * floor.n / floor.rate).astype(int)


def limit(freedom, false_alarms=0.01, recall=0.9):
    """Noncentrality at which a sum of squares of so many degrees of freedom is seen."""
    threshold = chi2.isf(false_alarms, freedom)
    low, high = 1e-3, 1e6
    for _ in range(60):
        middle = np.sqrt(low * high)
        low, high = (middle, high) if ncx2.sf(threshold, freedom, middle) < recall else (low, middle)
    return high


def harmonic_sum(kind, f0, numbers, amplitudes, n, rate, rng, relative=None, about="", variant=""):
    """Lines at multiples of f0, which may stray."""
    keep = [(int(k), a) for k, a in zip(numbers, amplitudes) if k * f0 < 0.45 * rate and a > 1e-5]
    once = np.exp(2j * np.pi * np.cumsum(f0 * (np.ones(n) if relative is None else relative)) / rate)
    power, reached = np.ones(n, complex), 0
    x = np.zeros(n)
    for k, a in keep:
        for _ in range(k - reached):
            power *= once
        reached = k
        x += a * (power * np.exp(1j * rng.uniform(0, 2 * np.pi))).imag
    source = Source(kind, f0, x, lines=np.array([a * a for _, a in keep]), about=about, variant=variant)
    source.line_hz = np.array([k * f0 for k, _ in keep])
    return source


def slow(n, rate, seconds, rng):
    """Unit-variance noise below about 1 / seconds hertz."""
    coarse = lfilter(*((lambda k: ([1 - k], [1, -k]))(np.exp(-0.02 / seconds))), rng.normal(size=int(n / rate * 50) + 500))[400:]
    coarse = np.interp(np.arange(n) / rate, np.arange(coarse.size) / 50, coarse)
    return (coarse - coarse.mean()) / max(coarse.std(), 1e-9)


def mains(n, rate, rng):
    f0 = rng.choice([50, 60]) * (1 + rng.uniform(-1, 1) * 0.001)
    pattern = rng.choice(["odd", "even", "mixed"])
    k = np.arange(1, 31)
    fall = rng.uniform(0.7, 1.8)
    a = k ** -fall * 10 ** (rng.normal(size=30) * 3 / 20)
    if pattern == "odd":
        a = a * np.where(k % 2 == 1, 1, 0.02)
    if pattern == "even":
        a = a * np.where(k % 2 == 0, 1, 0.0 if rng.random() < 0.5 else 0.1)
    return harmonic_sum("mains_hum", f0, k, a, n, rate, rng, 1 + 1e-4 * slow(n, rate, 3, rng), variant=pattern)


def switched(n, rate, rng):
    f0 = np.exp(rng.uniform(np.log(62), np.log(2000)))
    duty = rng.uniform(0.06, 0.94)
    k = np.arange(1, 120)
    a = np.abs(np.sin(np.pi * k * duty)) / k * k ** rng.choice([0.0, rng.uniform(0, 1)])
    a = a / np.sqrt(1 + (k * f0 / rng.uniform(3000, 15000)) ** 2)
    return harmonic_sum("switched_load", f0, k, a, n, rate, rng, 1 + 10 ** rng.uniform(-6, -4) * slow(n, rate, 5, rng), f"duty {duty:.2f}")


def motor(n, rate, rng):
    turns_hz, bars = rng.uniform(67, 133), int(rng.integers(6, 13))
    turn = np.cumsum(turns_hz * (1 + 10 ** rng.uniform(-4, -2) * slow(n, rate, 2, rng))) / rate
    x = np.zeros(n)
    lines, where = [], []
    for k, a in [(bars, 1.0), (2 * bars, 10 ** (-rng.uniform(6, 15) / 20))] + \
                [(int(k), 10 ** (-rng.uniform(8, 20) / 20)) for k in (1, bars - 1, bars + 1, bars + 2)]:
        x += a * np.sin(2 * np.pi * k * turn + rng.uniform(0, 6))
        lines.append(a * a)
        where.append(k * turns_hz)
    source = Source("motor_whine", bars * turns_hz, x, lines=np.array(lines), about=f"{bars} bars")
    source.line_hz = np.array(where)
    return source


def phone(n, rate, rng):
    f0 = 650 / 3 * (1 + rng.uniform(-5e-5, 5e-5))
    k = np.arange(1, 92)
    a = np.abs(np.sin(np.pi * k / 8)) / k / np.sqrt(1 + (k * f0 / rng.uniform(2000, 15000)) ** 2)
    source = harmonic_sum("phone_burst", f0, k, a, n, rate, rng)
    if rng.random() < 0.5:                                           # rings for a part of the take
        length = min(rng.uniform(2, 5), 0.8 * n / rate)
        start = rng.uniform(0, n / rate - length)
        t = np.arange(n) / rate
        source.x = source.x * ((t > start) & (t < start + length))
        source.about = f"{start:.1f} to {start + length:.1f} s"
    return source


def bus(n, rate, rng):
    f0 = rng.choice([1000.0, 1000.0, 8000.0, 800.0, 1600.0])
    k = np.arange(1, 21)
    a = k ** -rng.uniform(0, 1) * 10 ** (rng.normal(size=20) * 4 / 20)
    return harmonic_sum("bus_tone", f0 * (1 + rng.uniform(-3e-4, 3e-4)), k, a, n, rate, rng)


def hash_pulses(n, rate, rng):
    """A converter at light load: pulses whose rate hunts, each ringing."""
    f0, jitter = np.exp(rng.uniform(np.log(400), np.log(5000))), rng.uniform(0.03, 0.12)
    times = np.cumsum((1 + jitter * rng.normal(size=int(n / rate * f0 * 1.1))) / f0)
    times = times[(times > 0.01) & (times < n / rate - 0.01)]
    x = np.zeros(n)
    np.add.at(x, (times * rate).astype(int), 1 + 0.2 * rng.normal(size=times.size))
    r, w = np.exp(-1 / (rng.uniform(0.05, 0.3) * 1e-3 * rate)), 2 * np.pi * rng.uniform(2000, 9000) / rate
    x = lfilter([1, -1], [1, -2 * r * np.cos(w), r * r], x)
    return Source("converter_hash", f0, x, freedom=2 * 15000 * n / rate, about=f"jitter {jitter:.2f}", variant="pulses")


def beat(n, rate, rng):
    """The beat of two converters: a line that drifts far."""
    f0 = np.exp(rng.uniform(np.log(3600), np.log(12000)))
    f = f0 * (1 + rng.uniform(0.02, 0.08) * slow(n, rate, 4, rng))
    x = np.sin(2 * np.pi * np.cumsum(f) / rate)
    source = Source("converter_hash", f0, x, lines=np.array([1.0]), variant="beat")
    source.line_hz = np.array([f0])
    return source


def bursts(times, n, rate, rng, spread_db):
    x = np.zeros(n)
    length = int(0.004 * rate)
    decay = np.exp(-np.arange(length) / (rng.uniform(0.3e-3, 1e-3) * rate))
    for t in times:
        at = int(t * rate)
        piece = rng.normal(size=length) * decay * 10 ** (rng.normal() * spread_db / 20)
        x[at:at + length] += piece[:max(0, n - at)]
    return lfilter([1, -0.6], [1], x)


def crackle(n, rate, rng):
    count = int(rng.integers(4, 30))
    times = np.sort(rng.uniform(0.2, n / rate - 0.2, size=count))
    source = Source("crackle", None, bursts(times, n, rate, rng, 4), freedom=count * 0.002 * rate, about=f"{count} bursts")
    source.times = times
    return source


def tick(n, rate, rng):
    f0 = rng.uniform(1.2, 25)
    times = np.arange(rng.uniform(0, 1 / f0), n / rate - 0.01, 1 / f0)
    times = times + rng.normal(size=times.size) * 0.002 / f0
    x = np.zeros(n)
    length = int(0.004 * rate)
    k = np.arange(length)
    shape = np.exp(-k / (rng.uniform(0.2e-3, 0.8e-3) * rate)) * np.cos(2 * np.pi * rng.uniform(1500, 9000) / rate * k)
    for t in times[times > 0]:
        at = int(t * rate)
        x[at:at + length] += shape[:n - at] * (1 + 0.1 * rng.normal())
    return Source("periodic_tick", f0, x, freedom=times.size * 0.002 * rate, about=f"{f0:.1f} a second")


def lone(n, rate, rng):
    f0 = np.exp(rng.uniform(np.log(150), np.log(18000)))
    return harmonic_sum("unexplained_tone", f0, [1], [1.0], n, rate, rng)


MAKERS = {"mains_hum": [mains], "switched_load": [switched], "motor_whine": [motor], "phone_burst": [phone], "bus_tone": [bus],
          "converter_hash": [hash_pulses, beat], "crackle": [crackle], "periodic_tick": [tick], "unexplained_tone": [lone]}
