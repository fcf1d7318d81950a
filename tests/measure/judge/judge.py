"""NumPy and SciPy judge tones, distortion and intermodulation: the same takes through least squares over every line at
its known place (numpy.linalg.lstsq), the frequency by scipy.optimize, THD+N by Parseval's sum over the plain FFT."""
import subprocess
import sys
import tempfile

import numpy as np
from scipy import optimize, signal

probe = sys.argv[1]
rng = np.random.default_rng(20260131)
worst = {}


def read(samples, rate, *what):
    with tempfile.NamedTemporaryFile() as file:
        samples.astype("<f8").tofile(file.name)
        out = subprocess.run([probe, file.name, str(rate), *map(str, what)], check=True, capture_output=True, text=True)
    return {name: float(value) for name, value in (line.split() for line in out.stdout.splitlines())}


def fit(samples, rate, frequencies):
    """Amplitudes of lines at these frequencies, fitted together with dc, and the residual's mean square."""
    t = (np.arange(samples.size) - samples.size / 2) / rate
    columns = [np.ones_like(t)]
    for f in frequencies:
        columns += [np.cos(2 * np.pi * f * t), np.sin(2 * np.pi * f * t)]
    basis = np.stack(columns, axis=1)
    solution, *_ = np.linalg.lstsq(basis, samples, rcond=None)
    rest = samples - basis @ solution
    return np.hypot(solution[1::2], solution[2::2]), np.mean(rest**2)


def check(name, got, want, limit):
    off = abs(20 * np.log10(got / want))
    worst[name] = max(worst.get(name, 0.0), off)
    assert off < limit, f"{name}: {got} instead of {want}, {off:.4f} dB off"


def one_tone(rate, hz, frames, curve, noise_rms):
    t = np.arange(frames) / rate
    clean = np.polynomial.polynomial.polyval(0.7 * np.sin(2 * np.pi * hz * t + 0.4), curve)
    samples = clean + noise_rms * rng.normal(size=frames)
    if noise_rms == 0:
        samples = np.round(samples * 2**23) / 2**23
    got = read(samples, rate, "tone")
    orders = np.arange(1, 8)
    found = optimize.minimize_scalar(lambda f: fit(samples, rate, f * orders)[1],
                                     bracket=(hz - 0.1 * rate / frames, hz, hz + 0.1 * rate / frames), tol=1e-12)
    lines, rest = fit(samples, rate, found.x * orders)
    assert abs(got["frequency_hz"] - found.x) < 0.01 * rate / frames, (got["frequency_hz"], found.x)
    check("level", got["amplitude"], lines[0], 0.001)
    loud = [k for k in range(2, 6) if lines[k - 1] > 300 * np.sqrt(rest / frames)]
    assert len(loud) >= 3
    for k in loud:
        check("harmonic", got[f"harmonic_{k}"], lines[k - 1] / lines[0], 0.05)
    check("THD", got["thd_ratio"], np.sqrt(np.sum(lines[1:] ** 2)) / lines[0], 0.05)
    # THD+N: the fundamental off, the rest by Parseval between 20 Hz and 20 kHz
    basis = np.stack([np.cos(2 * np.pi * found.x * t), np.sin(2 * np.pi * found.x * t), np.ones(frames)], axis=1)
    left = samples - basis @ np.linalg.lstsq(basis, samples, rcond=None)[0]
    spectrum = np.abs(np.fft.rfft(left * np.hanning(frames))) ** 2
    f = np.fft.rfftfreq(frames, 1 / rate)
    power = 2 * np.sum(spectrum[(f >= 20) & (f <= 20000)]) / frames / np.sum(np.hanning(frames) ** 2)
    ratio = np.sqrt(power / (power + lines[0] ** 2 / 2))
    check("THD+N", got["thd_noise_ratio"], ratio, 0.2)
    assert abs(got["sinad_db"] + 20 * np.log10(got["thd_noise_ratio"])) < 1e-9


def two_tones(kind, rate, low_hz, high_hz, low, high, drive):
    """Through a hyperbolic tangent at eight times the rate, so that what folds is filtered off."""
    frames, up = 32000, 8
    t = np.arange((frames + 8000) * up) / (rate * up)
    x = low * np.sin(2 * np.pi * low_hz * t) + high * np.sin(2 * np.pi * high_hz * t + 1) + 0.1
    samples = signal.resample_poly(np.tanh(drive * x) / drive, 1, up)[4000 : 4000 + frames]
    samples = np.round(samples * 2**23) / 2**23
    got = read(samples, rate, kind, low_hz, high_hz)
    combinations = [(a, b) for b in range(0, 8) for a in range(-7, 8) if abs(a) + b <= 7 and (b or a > 0)]
    places = {c: abs(c[0] * low_hz + c[1] * high_hz) for c in combinations}
    places = {c: f for c, f in places.items() if 5 < f < 0.5 * rate}
    amplitudes, _ = fit(samples, rate, list(places.values()))
    line = dict(zip(places, amplitudes))
    at = lambda a, b: line[(a, b) if b > 0 or (b == 0 and a > 0) else (-a, -b)]
    check("two tones' level", got["low_amplitude"], at(1, 0), 0.005)
    check("two tones' level", got["high_amplitude"], at(0, 1), 0.005)
    if kind == "difference":
        reference = at(1, 0) + at(0, 1)
        second, third = at(-1, 1) / reference, (at(2, -1) + at(-1, 2)) / reference
        orders = [second, third]
    else:
        reference = at(0, 1)
        orders = [(at(k, 1) + at(-k, 1)) / reference for k in range(1, 6)]
        second, third = orders[:2]
    check("IMD, second order", got["second_order_ratio"], second, 0.05)
    check("IMD, third order", got["third_order_ratio"], third, 0.05)
    check("IMD, total", got["total_ratio"], np.sqrt(np.sum(np.square(orders))), 0.05)
    for name, value in got.items():
        if name.startswith("product_"):
            a, b = map(int, name.split("_")[1:])
            if at(a, b) / reference > 1e-5:
                check("IMD, a product", value, at(a, b) / reference, 0.05)


one_tone(48000, 997.3, 30000, [0.01, 1, 0.01, -0.02, 0.004, 0.003], 0)
one_tone(44100, 61.7, 40000, [0, 1, 0.002, 0.03, 0, -0.02, 0.01], 1e-5)
one_tone(96000, 2503.1, 30000, [0, 1, 0.1, -0.2, 0.05, 0.05], 1e-4)
one_tone(192000, 333.33, 60000, [0, 1, 1e-3, 2e-3, 1e-3, 1e-3], 1e-6)
two_tones("difference", 48000, 11017, 12113, 0.4, 0.4, 0.8)
two_tones("difference", 96000, 19000, 20000, 0.2, 0.2, 0.2)
two_tones("modulation", 48000, 60, 7000, 0.4, 0.1, 0.7)
two_tones("modulation", 44100, 251.3, 8003.7, 0.6, 0.15, 1.5)
for name, off in worst.items():
    print(f"{name}: worst deviation {off:.2g} dB")
