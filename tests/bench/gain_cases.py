"""Cases for gain_population.py: takes of sources drawn at random, each with what is true of it."""
import numpy as np

import gain_sources as g

LIMIT_PERCENT = 1.0
LOW_HZ, FULL_HZ = (40.0, 41.7, 45.0, 50.0), 997.0


class Curve:
    """A channel in one take, and what is true at each volume."""

    def __init__(self, name, channel, tone_hz, volumes, pad=1.0):
        self.name, self.channel, self.tone_hz, self.volumes = name, channel, tone_hz, volumes
        self.thd = [g.true_thd_percent(channel.harmonics(v), tone_hz) for v in self.volumes]
        self.over = [channel.largest(v, pad) > 1.0 for v in self.volumes]
        self.level = [g.true_level_dbfs(pad * channel.harmonics(v)) for v in self.volumes]

    def first_bad(self):
        return next((i for i, thd in enumerate(self.thd) if thd > LIMIT_PERCENT or self.over[i]), len(self.volumes))

    def margin(self):
        """How near a step's true THD comes to the limit where that decides [share]."""
        i = self.first_bad()
        return min([abs(self.thd[k] / LIMIT_PERCENT - 1) for k in (i - 1, i) if 0 <= k < len(self.thd)])


def truth_of(curves):
    """(ceiling's volume, reason, curve): as docs/gain.md says the job's ceiling is chosen."""
    lowest, against = None, None
    for c in curves:
        i = c.first_bad()
        if i < len(c.volumes) and i == 0 and not c.over[0]:
            return None, "always_distorted", c
        top = c.volumes[i - 1] if i > 0 else -1e9
        if i == len(c.volumes):
            continue
        if c.over[i]:
            against = min(against, (top, c.name)) if against else (top, c.name)
        elif lowest is None or top < lowest[0]:
            lowest = (top, c)
    if lowest and not (against and against[0] < lowest[0]):
        return lowest[0], "", lowest[1]
    return (None, "input_overloaded", None) if against else (None, "never_clips", None)


class Case:
    """One job: takes, and the truth. `rng` makes all of it."""

    def __init__(self, rng, kind, short=False):
        self.rng, self.kind, self.hold_s = rng, kind, 0.55 if short else 0.9
        self.takes, self.curves, self.knobs = [], [], []
        self.rate = int(rng.choice([44100, 48000]))
        self.expected_warning = self.forbidden_warning = self.says = self.forced_reason = None
        self.names_volumes, self.calibrated = True, bool(rng.integers(2))
        self.clock_ppm, self.via = rng.uniform(-60, 60), "interface"
        self.noise_db = rng.uniform(-85, -50)
        self.count, self.first = int(rng.integers(8, 13)), int(rng.integers(3, 25))
        self.stride = int(rng.choice([1, 1, 1, 2]))
        self.volumes = [self.first + self.stride * i for i in range(self.count)]
        step_db = rng.uniform(0.6, 3.0)
        law = int(rng.integers(3))
        steps = np.full(self.count, step_db)
        if law == 1:
            steps = np.where(np.arange(self.count) < self.count // 2, step_db, 0.5 * step_db + 0.2)
        elif law == 2:
            steps = step_db * rng.uniform(0.7, 1.3, self.count)
        self.above_first = dict(zip(self.volumes, np.concatenate([[0], np.cumsum(steps[1:])])))
        below = self.first - self.stride
        self.above_first[below] = -steps[0]
        self.top_db = self.above_first[self.volumes[-1]]
        self.balance_db = rng.uniform(-1.0, 1.0)
        self.mutes = self.clicks = False
        self.hand = {"click": rng.uniform() < 0.3, "mutes": rng.uniform() < 0.15, "back": rng.uniform() < 0.25, "overshoot": rng.uniform() < 0.25,
                     "down_to": [None, None, None, None, below, self.volumes[1]][int(rng.integers(6))]}

    # what most cases need

    def rail_place_db(self):
        """Where above the first volume's level the rail lies: among the upper steps."""
        levels = [self.above_first[v] for v in self.volumes]
        return self.rng.uniform(levels[self.count // 3], levels[-1] - 0.2)

    def law(self, first_peak_db, balance=0.0):
        return lambda volume: first_peak_db + self.above_first[volume] + balance

    def two_channels(self, stage_of, rail_db=None, **more):
        """Left and right on one volume law, the rail at rail_db of the interface's full scale."""
        rail_db = self.rng.uniform(-22, -3) if rail_db is None else rail_db
        first_db = rail_db - self.rail_place_db()
        rail = 10 ** (rail_db / 20)
        self.reference_rms = rail / np.sqrt(2)
        return [g.Channel(self.law(first_db), stage_of(rail), **more), g.Channel(self.law(first_db, self.balance_db), stage_of(rail), **more)]

    def add(self, file, names, channels, tone_hz=FULL_HZ, pad=1.0, stated_hz=None, knob=None, noise_rms=None):
        knob_ = knob or g.Knob(self.rng.uniform(0.3, 1.6))
        markers = knob is None and knob_.now_s > 1.2
        if knob is None:
            knob_.by_hand(self.rng, self.volumes, self.hold_s * (1.0 if tone_hz > 100 else 1.35), **self.hand)
        noise = self.reference_rms * pad * 10 ** (self.noise_db / 20) if noise_rms is None else noise_rms
        sounds = [g.sound(c, knob_, tone_hz, self.rate, self.rng, self.rng.uniform(0.3, 1.0), self.clock_ppm, noise, pad, markers)
                  for c in channels]
        length = min(map(len, sounds))
        entry = {"channels": list(names), "engine": "off",
                 "tone": {"kind": "sine", "frequency_hz": stated_hz or tone_hz, "level_dbfs": 0, "via": self.via}}
        if self.names_volumes:
            entry["volume_steps"] = self.volumes
        self.takes.append((file, entry, [s[:length] for s in sounds], self.rate))
        self.knobs.append(knob_)
        self.curves += [Curve((file, n, tone_hz), c, tone_hz, self.volumes, pad) for n, c in zip(names, channels)]

    def truth(self):
        if self.forced_reason:
            return None, self.forced_reason, None
        return truth_of(self.curves)


PAIR = ("left", "right")


def plain(case, stage_of):
    case.add("steps", PAIR, case.two_channels(stage_of))


def hard(case):
    plain(case, g.hard)
    case.forbidden_warning = "clips_digitally"


def soft(case):
    p = case.rng.uniform(1.6, 14)
    plain(case, g.soft if case.rng.uniform() < 0.5 else lambda rail: g.rapp(rail, p))


def one_sided(case):
    upper = bool(case.rng.integers(2))
    plain(case, lambda rail: g.one_sided(rail, upper))


def unequal_rails(case):
    more = case.rng.uniform(1.05, 2.0)
    plain(case, lambda rail: g.hard(rail, more * rail))


def one_channel_first(case):
    channels = case.two_channels(g.hard)
    lower = 10 ** (case.rng.uniform(-9, -3) / 20) * np.sqrt(2) * case.reference_rms
    channels[int(case.rng.integers(2))].stage = g.hard(lower)
    case.add("steps", PAIR, channels)


def bent_source(case):
    """A cheap source that idles at 0.05 to 0.5 % and then meets its rail."""
    third, second = case.rng.uniform(0.0005, 0.004), case.rng.uniform(0.0, 0.003)

    def stage_of(rail):
        return lambda x: np.clip(x + 2 * second * x * x / rail - 4 * third * x ** 3 / rail ** 2, -rail, rail)
    plain(case, stage_of)


def noise_50(case):
    case.noise_db = -50.0
    plain(case, (g.hard, g.soft)[int(case.rng.integers(2))])


def mutes(case):
    case.hand["mutes"] = True
    plain(case, g.hard)


def stick(case):
    case.via, case.clock_ppm = "stick", float(case.rng.choice([-200, 200])) * case.rng.uniform(0.5, 1)
    plain(case, (g.hard, g.one_sided)[int(case.rng.integers(2))])


def low_tone(case):
    case.add("low", PAIR, case.two_channels(g.hard), float(case.rng.choice(LOW_HZ)))


def own_zero(case):
    """Volume gain past the source's own 0 dB: what is digital clips, and folds."""
    channels = case.two_channels(g.hard, digital_rate=float(case.rng.choice([44100, 48000])))
    case.add("steps", PAIR, channels)
    case.expected_warning = "clips_digitally"


def limiter(case):
    ratio = case.rng.uniform(10, 60)
    threshold_db = case.rng.uniform(-20, -4)
    levels = [case.above_first[v] for v in case.volumes]
    place_db = case.rng.uniform(levels[case.count // 3], levels[-3])
    case.reference_rms = 10 ** (threshold_db / 20) / np.sqrt(2)
    channels = [g.Channel(case.law(threshold_db - place_db, b), g.straight(), limiter_peak=10 ** ((threshold_db + b) / 20), ratio=ratio)
                for b in (0.0, case.balance_db)]
    case.hand["click"] = True
    case.add("steps", PAIR, channels)
    case.expected_warning = "limiter"


def tone_controls(case):
    """Boost ahead of the volume clips in the digital part, at every volume; in a third the output stage clips as well."""
    boost = g.hard(10 ** (-case.rng.uniform(0.6, 8) / 20))
    rail_db = case.rng.uniform(-22, -3)
    case.reference_rms = 10 ** (rail_db / 20) / np.sqrt(2)
    digital = float(case.rng.choice([44100, 48000]))
    channels = [g.Channel(case.law(rail_db - case.top_db - 1.0, b), g.straight(), before=boost, digital_rate=digital) for b in (0.0, case.balance_db)]
    case.add("steps", PAIR, channels)
    case.says = "before the volume control"


def too_loud(case):
    rail_db = case.rng.uniform(-22, -3)
    case.reference_rms = 10 ** (rail_db / 20) / np.sqrt(2)
    first_db = rail_db + case.rng.uniform(0.4, 6)
    stage = (g.hard, g.soft, g.one_sided)[int(case.rng.integers(3))](10 ** (rail_db / 20))
    case.add("steps", PAIR, [g.Channel(case.law(first_db, b), stage) for b in (0.0, case.balance_db * 0.3)])
    case.says = "changes with the volume"


def never_clips(case):
    top_db = case.rng.uniform(-20, -2)
    case.reference_rms = 10 ** (top_db / 20) / np.sqrt(2)
    case.add("steps", PAIR, [g.Channel(case.law(top_db - case.top_db - 1.0, b), g.straight()) for b in (0.0, case.balance_db)])


def interface_first(case):
    """The converter's end comes two steps or more before the source's."""
    levels = [case.above_first[v] for v in case.volumes]
    end = case.rng.uniform(levels[2], levels[-1] - 0.3)
    channels = [g.Channel(case.law(-end, b), g.hard(10 ** (case.rng.uniform(3, 9) / 20))) for b in (0.0, -abs(case.balance_db))]
    case.reference_rms = 1 / np.sqrt(2)
    case.add("steps", PAIR, channels)
    case.says = "pad of"


def wrong_tone(case):
    playing = float(case.rng.choice([440.0, 1000.0, 50.0, 315.0, 1020.0]))
    case.add("steps", PAIR, case.two_channels(g.hard), playing, stated_hz=FULL_HZ)
    case.forced_reason, case.says = "wrong_tone", "997 Hz"


def too_noisy(case):
    case.above_first = {v: 0.6 * i for i, v in enumerate(case.volumes)}
    case.top_db = 0.6 * (case.count - 1)
    case.hand.update(back=False, overshoot=False, down_to=None)
    top_db = case.rng.uniform(-26, -14)
    case.reference_rms = 10 ** (top_db / 20) / np.sqrt(2)
    case.noise_db = case.rng.uniform(-3, 3)
    case.add("steps", PAIR, [g.Channel(case.law(top_db - case.top_db), g.straight()) for _ in range(2)])
    case.forced_reason = "too_noisy"


def no_plateau(case):
    """The knob never rests: a slow turn without stops."""
    case.count, case.volumes = 120, list(range(120))
    per_step = case.rng.uniform(0.1, 0.4)
    case.above_first = {v: per_step * v for v in case.volumes}
    knob = g.Knob(0.6)
    for v in case.volumes:
        knob.stop(v, 0.05, 0.01)
    case.names_volumes = False
    case.reference_rms = 0.1
    channels = [g.Channel(case.law(-10 - 120 * per_step), g.straight()) for _ in range(2)]
    case.add("steps", PAIR, channels, knob=knob)
    case.forced_reason, case.says = "no_plateau", "never stood still"


def too_short(case):
    knob = g.Knob(0.8)
    knob.stop(case.first, case.rng.uniform(0.1, 0.22))
    case.names_volumes = bool(case.rng.integers(2))
    case.volumes = [case.first]
    case.reference_rms = 0.1
    case.add("steps", PAIR, [g.Channel(case.law(-14), g.straight()) for _ in range(2)], knob=knob)
    case.forced_reason, case.says = "no_plateau", "too short"


def no_volumes(case):
    case.names_volumes = False
    case.hand.update(down_to=None)
    plain(case, g.hard)


def sub_and_full(case):
    """Left and right with 997 Hz, the sub channel with a low tone, each with its own rail."""
    channels = case.two_channels(g.hard)
    case.add("full", PAIR, channels)
    shift = case.rng.uniform(-4, 4)
    sub = g.Channel(lambda v, f=channels[0].gain_db: f(v) + shift, channels[0].stage)
    case.add("low", ("sub",), [sub], float(case.rng.choice(LOW_HZ)))
    case.forbidden_warning = "crossover"


def bass_roll_off(case):
    """A factory radio that turns its bass down as the volume goes up; its rail is met by 997 Hz, or not at all."""
    channels = case.two_channels(g.hard)
    case.add("full", PAIR, channels)
    begins = case.volumes[int(case.rng.integers(1, case.count // 2))]
    slope = case.rng.uniform(0.25, 1.0) * case.top_db / (case.volumes[-1] - case.first)
    low = [g.Channel(lambda v, f=c.gain_db: f(v) - slope * max(0, v - begins), c.stage) for c in channels]
    case.add("low", PAIR, low, float(case.rng.choice(LOW_HZ)))
    case.forbidden_warning = "limiter"
    clean = min(c.first_bad() for c in case.curves) - 1
    hidden = min(abs(np.diff(case.curves[-1].level))) < 0.03         # settings that differ in nothing but their number
    if not hidden and clean >= 2 and slope * (case.volumes[clean] - begins) > 1.5:      # else nothing shows it below the ceiling
        case.expected_warning = "bass_falls"


def crossover(case):
    """A high-pass left on for left and right, or a low-pass for the sub channel."""
    channels = case.two_channels(g.hard)
    down = case.rng.uniform(10, 40)
    if case.rng.uniform() < 0.5:
        case.add("full", PAIR, channels)
        case.add("low", PAIR, [g.Channel(lambda v, f=c.gain_db: f(v) - down, c.stage) for c in channels], float(case.rng.choice(LOW_HZ)))
    else:
        sub = g.Channel(lambda v, f=channels[0].gain_db: f(v) - down, channels[0].stage)
        case.add("full", PAIR + ("sub",), channels + [sub])
    case.expected_warning = "crossover"


KINDS = {f.__name__: f for f in (
    hard, soft, one_sided, unequal_rails, one_channel_first, bent_source, noise_50, mutes, stick, low_tone, own_zero, no_volumes, sub_and_full,
    limiter, bass_roll_off, crossover, tone_controls, too_loud, never_clips, interface_first, wrong_tone, too_noisy, no_plateau, too_short)}


def draw(seed, number, kind=None, short=False):
    kind = kind or list(KINDS)[number % len(KINDS)]
    case = Case(np.random.default_rng([seed, number]), kind, short)
    KINDS[kind](case)
    return case
