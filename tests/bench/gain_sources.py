"""Sources whose knob is turned by hand, from the physics alone: NumPy, and no code of the program.

A step's tone is the Fourier series of what the source's stages make of a sine, taken from one finely sampled period; so its
true THD is known without noise, and nothing folds that doesn't fold in the source. What clips in the source's digital part
does fold, at the source's own rate.
"""
import numpy as np

HIGHEST_HZ = 20000.0
PERIOD = np.sin(2 * np.pi * (np.arange(16384) + 0.5) / 16384)


# ---- stages: what becomes of a sample ----

def straight():
    return lambda x: x


def hard(upper, lower=None):
    return lambda x: np.clip(x, -(upper if lower is None else lower), upper)


def one_sided(rail, upper=True):
    return (lambda x: np.minimum(x, rail)) if upper else (lambda x: np.maximum(x, -rail))


def soft(rail):
    """Saturates as a tanh does."""
    return lambda x: rail * np.tanh(x / rail)


def rapp(rail, p):
    """Rapp 1991: an edge of any sharpness."""
    return lambda x: x / (1 + np.abs(x / rail) ** p) ** (1 / p)


# ---- one step's harmonics ----

def series(stage, amplitude):
    """Amplitudes [sine, cosine] of harmonics 0, 1, 2 ... of stage(amplitude sin)."""
    spectrum = np.fft.rfft(stage(amplitude * PERIOD)) / PERIOD.size
    turn = np.exp(-1j * np.pi * np.arange(spectrum.size) / PERIOD.size)      # the period is sampled half a point late
    spectrum = spectrum * turn
    return np.stack([-2 * spectrum.imag, 2 * spectrum.real])


def true_thd_percent(harmonics, tone_hz):
    count = int(HIGHEST_HZ / tone_hz)
    power = (harmonics ** 2).sum(axis=0)
    return 100 * np.sqrt(power[2:count + 1].sum() / power[1])


def true_level_dbfs(harmonics):
    return 10 * np.log10((harmonics[:, 1] ** 2).sum())


# ---- the knob ----

class Knob:
    """Where the knob stands over time: stops of (volume, from_s, to_s), with travel, mutes and clicks between them."""

    def __init__(self, lead_in_s):
        self.stops, self.now_s, self.clicks_s, self.mutes = [], lead_in_s, [], []

    def stop(self, volume, hold_s, travel_s=0.01, click=False, mute_s=0.0):
        start = self.now_s
        if mute_s > 0:
            self.mutes.append((start, start + mute_s))
            start += mute_s
        self.stops.append((volume, start + travel_s, start + travel_s + hold_s))
        if click:
            self.clicks_s.append(start + travel_s)
        self.now_s = start + travel_s + hold_s

    def by_hand(self, rng, volumes, hold_s, click=False, mutes=False, back=False, overshoot=False, down_to=None):
        """Steps through the volumes as a person does: uneven pauses, steps back, overshoots, turned down at the end."""
        back_at = set(rng.integers(2, len(volumes) - 1, 2)) if back else ()
        over_at = set(rng.integers(1, len(volumes) - 1, 2)) if overshoot else ()
        for i, volume in enumerate(volumes):
            more = {"travel_s": rng.uniform(0.005, 0.05), "click": click, "mute_s": rng.uniform(0.08, 0.4) if mutes else 0.0}
            if i in over_at:
                self.stop(volumes[i + 1], rng.uniform(0.06, 0.5), **more)
            self.stop(volume, hold_s * rng.uniform(0.75, 1.9), **more)
            if i in back_at:
                self.stop(volumes[i - 1], hold_s * rng.uniform(0.75, 1.9), **more)
                self.stop(volume, hold_s * rng.uniform(0.75, 1.9), **more)
        if down_to is not None:
            self.stop(down_to, hold_s * rng.uniform(0.5, 1.5), rng.uniform(0.02, 0.05))

    def volume_at(self, time_s):
        return next((v for v, a, b in self.stops if a <= time_s <= b), None)


# ---- a take's sound ----

class Channel:
    """One channel: what each volume makes of the full-scale tone, as a series of harmonics."""

    def __init__(self, gain_db, stage, before=None, limiter_peak=None, ratio=20.0, digital_rate=None):
        """gain_db: of volume, to the sine's peak at the interface. before: a stage ahead of the volume, full scale 1.
        limiter_peak: a slow limiter holds the amplitude near it. digital_rate: the rate at which stage and before fold."""
        self.gain_db, self.stage, self.before = gain_db, stage, before
        self.limiter_peak, self.ratio, self.digital_rate = limiter_peak, ratio, digital_rate
        self._known = {}

    def harmonics(self, volume):
        if volume not in self._known:
            gain = 10 ** (self.gain_db(volume) / 20)
            if self.before is not None:
                made = gain * series(self.before, 1.0)
            else:
                if self.limiter_peak is not None and gain > self.limiter_peak:
                    gain = self.limiter_peak * (gain / self.limiter_peak) ** (1 / self.ratio)
                made = series(self.stage, gain)
            self._known[volume] = made
        return self._known[volume]

    def largest(self, volume, pad=1.0):
        """Largest magnitude of the clean wave; folding is left out."""
        gain = 10 ** (self.gain_db(volume) / 20)
        if self.before is not None:
            return pad * gain * np.max(np.abs(self.before(PERIOD)))
        if self.limiter_peak is not None and gain > self.limiter_peak:
            gain = self.limiter_peak * (gain / self.limiter_peak) ** (1 / self.ratio)
        return pad * np.max(np.abs(self.stage(gain * PERIOD)))


def ramped(times_s, start_s, end_s, travel_s=0.012):
    """1 within, raised-cosine edges centred on both ends."""
    up = np.clip((times_s - start_s) / travel_s + 0.5, 0, 1)
    down = np.clip((end_s - times_s) / travel_s + 0.5, 0, 1)
    return np.sin(0.5 * np.pi * up) ** 2 * np.sin(0.5 * np.pi * down) ** 2


def wave_of(channel, volume, tone_hz, source_s, rate):
    """The tone at one volume, below half the capture's rate."""
    harmonics = channel.harmonics(volume)
    if channel.digital_rate is not None:
        out = np.zeros(source_s.size)
        for k in range(1, int(2.4 * channel.digital_rate / tone_hz)):
            hz = k * tone_hz - round(k * tone_hz / channel.digital_rate) * channel.digital_rate
            sine, cosine = harmonics[:, k]
            if np.hypot(sine, cosine) < 1e-6 * np.abs(harmonics[:, 1]).max() or abs(hz) > 0.49 * rate:
                continue
            angle = 2 * np.pi * hz * source_s
            out += sine * np.sin(angle) + cosine * np.cos(angle)
        return out
    top = min(int(min(0.49 * rate, 24000.0) / tone_hz), harmonics.shape[1] - 1)
    spectrum = np.zeros(PERIOD.size // 2 + 1, complex)
    spectrum[1:top + 1] = (harmonics[1, 1:top + 1] - 1j * harmonics[0, 1:top + 1]) * PERIOD.size / 2
    period = np.append(np.fft.irfft(spectrum, PERIOD.size), 0.0)
    period[-1] = period[0]
    at = (tone_hz * source_s) % 1.0 * PERIOD.size
    low = np.minimum(at.astype(int), PERIOD.size - 1)
    return period[low] + (at - low) * (period[low + 1] - period[low])


def sound(channel, knob, tone_hz, rate, rng, lead_out_s=0.4, clock_ppm=0.0, noise_rms=0.0, pad=1.0, markers=False):
    """One channel as the interface takes it, held at its converter's end, 24 bit."""
    count = int((knob.now_s + lead_out_s) * rate)
    out = np.zeros(count)
    for i, (volume, start, end) in enumerate(knob.stops):
        muted = any(abs(a - end) < 1e-6 for a, _ in knob.mutes)
        if not muted and i + 1 < len(knob.stops):
            end = knob.stops[i + 1][1]
        first, last = int((start - 0.02) * rate), min(count, int((end + 0.02) * rate))
        times_s = np.arange(first, last) / rate
        out[first:last] += ramped(times_s, start, end) * wave_of(channel, volume, tone_hz, times_s * (1 + clock_ppm * 1e-6), rate)
    gain = {v: 10 ** (channel.gain_db(v) / 20) for v, _, _ in knob.stops}
    if markers:
        times_s = np.arange(count) / rate
        out += 0.25 * gain[knob.stops[0][0]] * chirp(times_s, knob.stops[0][1] - 0.9, False)
        out += 0.25 * gain[knob.stops[-1][0]] * chirp(times_s, knob.now_s + 0.15, True)
    for at in knob.clicks_s:
        first = int(at * rate)
        tail = np.arange(min(60, count - first))
        out[first:first + tail.size] += 0.3 * gain[knob.volume_at(at + 1e-3)] * np.exp(-tail / 9.0)
    out = pad * out + noise_rms * rng.normal(size=count)
    return np.round(np.clip(out, -1.0, 1.0) * 8388607) / 8388608


def chirp(times_s, start_s, falling):
    """0.6 s from 40 Hz to 8 kHz, or back."""
    since = times_s - start_s
    share = np.clip(since / 0.6, 0, 1)
    octaves = np.log(8000 / 40)
    share = 1 - share if falling else share
    wave = np.sin(2 * np.pi * 40 * 0.6 / octaves * (np.exp(share * octaves) - 1))
    return np.where((since > 0) & (since < 0.6), wave, 0.0)
