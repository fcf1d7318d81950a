"""What kinds_population.py prints of its outcomes: which finding speaks of which source, and the tables."""
import collections

import numpy as np
from scipy.stats import beta

WIDE = {"motor_whine": 0.03, "periodic_tick": 0.03, "ignition_tick": 0.03, "alternator_whine": 0.01, "converter_hash": 0.1}
ENOUGH_DB = 6


def right(found, truth):
    """Whether a finding is of this source's kind, and at its frequency."""
    if found["kind"] != truth["kind"]:
        return False
    if truth["kind"] == "crackle" or truth["variant"] == "pulses":   # hash of pulses is a band, not a line
        return True
    return any(abs(found["frequency_hz"] / f - 1) < WIDE.get(truth["kind"], 0.004) for f in truth["places_hz"])


def speaks_of(found, truth):
    """Whether a finding, of whatever kind, lies on one of a source's lines."""
    if found["frequency_hz"] is None:
        return truth["kind"] in ("crackle", "periodic_tick")
    f = found["frequency_hz"]
    return any(abs(f - line) < max(2.0, WIDE.get(truth["kind"], 0.004) * line) for line in truth["places_hz"] + truth["lines_hz"])


def matched(one):
    """For each source, the finding that is right or else one that speaks of it; for each finding, the source it is right of."""
    of_source, of_finding = [], [None] * len(one["found"])
    for truth in one["truth"]:
        hits = [i for i, f in enumerate(one["found"]) if right(f, truth) and of_finding[i] is None]
        if hits:
            best = max(hits, key=lambda i: one["found"][i]["level_dbfs"] or -999)
            of_finding[best] = truth
            of_source.append(best)
        else:
            of_source.append(None)
    claimed = []
    for truth, at in zip(one["truth"], of_source):
        if at is not None:
            claimed.append(truth["kind"])
            continue
        others = [f for i, f in enumerate(one["found"]) if of_finding[i] is None and speaks_of(f, truth)]
        claimed.append(max(others, key=lambda f: f["level_dbfs"] or -999)["kind"] if others else "missed")
    return claimed, of_finding


def over_point(truth, points):
    return truth["over_reference_db"] - points[truth["kind"]]


def note_of(one, points):
    """A line on what went wrong in a vehicle, or none."""
    claimed, of_finding = matched(one)
    notes = [f"{t['kind']} {t['variant']} ({t['about']}) {t['places_hz'][0] if t['places_hz'] else 0:.1f} Hz {over_point(t, points):+.0f} dB "
             f"{'missed' if c == 'missed' else 'read as ' + c}"
             for t, c in zip(one["truth"], claimed) if c != t["kind"] and over_point(t, points) > 0]
    notes += [f"MADE UP {f['kind']} {f['frequency_hz'] or 0:.1f} Hz ({f['confidence']:.2f})" for f, t in zip(one["found"], of_finding) if t is None]
    if one["health"]:
        notes.append(f"HEALTH {one['health']}")
    kinds = [f"{t['kind']} {t['places_hz'][0] if t['places_hz'] else 0:.1f} {over_point(t, points):+.0f}" for t in one["truth"]]
    return f"seed {one.get('seed')} case {one.get('case')} ({one['text']}; {kinds}): " + "; ".join(notes) if notes else ""


def point(levels, hits):
    """Level of 90 % recall: a logistic curve fitted by likelihood; not a number when it isn't reached."""
    levels, hits = np.array(levels), np.array(hits, float)
    if hits.size < 8:
        return np.nan
    best = (-1e9, np.nan)
    for m in np.arange(-6, 30, 0.5):
        for s in (0.5, 0.8, 1.2, 1.8, 2.6, 4.0):
            for miss in (0.0, 0.03, 0.07, 0.15):
                p = np.clip((1 - miss) / (1 + np.exp(-(levels - m) / s)), 1e-4, 1 - 1e-4)
                likely = np.sum(hits * np.log(p) + (1 - hits) * np.log(1 - p)) - 20 * miss
                if likely > best[0]:
                    reach = 0.9 / (1 - miss)
                    best = (likely, m + s * np.log(reach / (1 - reach)) if reach < 1 else np.nan)
    return best[1]


def bounds(hits, of):
    """95 % bounds of a share (Clopper and Pearson 1934)."""
    low = beta.ppf(0.025, hits, of - hits + 1) if hits else 0.0
    high = beta.ppf(0.975, hits + 1, of - hits) if hits < of else 1.0
    return f"{100 * low:.0f} to {100 * high:.0f} %" if of else ""


def share(hits, of):
    return f"{hits:4}/{of:<4} {100 * hits / max(of, 1):5.1f} % ({bounds(hits, of)})"


def detection(outcomes, points):
    """90 % points of reference and program, from one source at a time."""
    rows = collections.defaultdict(list)
    for one in outcomes:
        claimed, _ = matched(one)
        for truth, c in zip(one["truth"], claimed):
            for name in (truth["kind"], f"  {truth['variant']}") if truth["variant"] else (truth["kind"],):
                rows[truth["kind"], name].append((truth, c == truth["kind"]))
    print("\n90 % recall at 1 % false alarms    sources   reference: dB over hiss   program: dB over the reference   recall over 18 dB")
    for (kind, name), some in sorted(rows.items(), key=lambda row: (list(points).index(row[0][0]), row[0][1].startswith(" "))):
        at = point([t["over_reference_db"] for t, _ in some], [h for _, h in some])
        reference = np.median([t["over_hiss_db"] - t["over_reference_db"] for t, _ in some])
        loud = [h for t, h in some if t["over_reference_db"] > 18]
        print(f"{name:34} {len(some):7} {reference:22.1f} {at:28.1f} {share(sum(loud), len(loud)):>38}")


def confusion(outcomes, points):
    kinds = list(points)
    table = collections.defaultdict(collections.Counter)
    for one in outcomes:
        claimed, of_finding = matched(one)
        for truth, c in zip(one["truth"], claimed):
            if over_point(truth, points) >= ENOUGH_DB:
                table[truth["kind"]][c] += 1
        for f, t in zip(one["found"], of_finding):
            if t is None and not any(speaks_of(f, x) and c != x["kind"] for x, c in zip(one["truth"], claimed)):
                table["none"][f["kind"]] += 1
    print(f"\nsources {ENOUGH_DB} dB and more over the 90 % point: true kind down, claimed kind across; 'none': findings on no missed source's line")
    columns = kinds + ["missed"]
    print(f"{'':18}" + "".join(f"{c[:9]:>10}" for c in columns))
    for kind in kinds + ["none"]:
        print(f"{kind:18}" + "".join(f"{table[kind][c] or '.':>10}" for c in columns))


def recall_and_precision(outcomes, points):
    """Recall of sources loud enough; precision of all findings, and of those in vehicles without a source below that."""
    kinds = list(points)
    recall, all_findings, loud_findings = (collections.defaultdict(lambda: [0, 0]) for _ in range(3))
    for one in outcomes:
        claimed, of_finding = matched(one)
        for truth, c in zip(one["truth"], claimed):
            if over_point(truth, points) >= ENOUGH_DB:
                recall[truth["kind"]][0] += c == truth["kind"]
                recall[truth["kind"]][1] += 1
        loud = all(over_point(t, points) >= ENOUGH_DB for t in one["truth"])
        for f, t in zip(one["found"], of_finding):
            for table in (all_findings, loud_findings) if loud else (all_findings,):
                table[f["kind"]][0] += t is not None
                table[f["kind"]][1] += 1
    print(f"\nkind                recall, {ENOUGH_DB} dB over the 90 % point      precision, all vehicles             precision, all sources so loud")
    for kind in kinds:
        print(f"{kind:18} {share(*recall[kind]):34} {share(*all_findings[kind]):36} {share(*loud_findings[kind])}")
    sums = [[sum(row[i] for row in table.values()) for i in (0, 1)] for table in (recall, all_findings, loud_findings)]
    print(f"{'all':18} {share(*sums[0]):34} {share(*sums[1]):36} {share(*sums[2])}")
    return sums


def reliability(outcomes):
    claims = []
    for one in outcomes:
        _, of_finding = matched(one)
        claims += [(f["confidence"], t is not None, f["kind"]) for f, t in zip(one["found"], of_finding)]
    if not claims:
        return
    print("\nstated confidence   findings   mean stated   share right")
    for low, high in ((0, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 0.93), (0.93, 0.97), (0.97, 1.01)):
        some = [(c, r) for c, r, _ in claims if low <= c < high]
        if some:
            hits = sum(r for _, r in some)
            print(f"{low:.2f} to {min(high, 1):.2f} {len(some):14} {np.mean([c for c, _ in some]):13.2f}   {share(hits, len(some))}")
    stated, was = np.array([c for c, _, _ in claims]), np.array([r for _, r, _ in claims], float)
    print(f"Brier score {np.mean((stated - was) ** 2):.4f}; of one confidence for all, the share right: {was.mean() * (1 - was.mean()):.4f}")
    for kind in sorted({k for _, _, k in claims}):
        some = [(c, r) for c, r, k in claims if k == kind]
        print(f"  {kind:18} stated {np.mean([c for c, _ in some]):.3f}, right {share(sum(r for _, r in some), len(some))}")


def print_counts(outcomes):
    """Rows for src/diagnose/sources/confidence.cpp: of what is told, and of what is told as unsure."""
    rows = collections.defaultdict(lambda: [0, 0])
    for one in outcomes:
        every = one["found"] + one.get("unsure", [])
        _, of_finding = matched(one | {"found": every})
        for f, t in zip(every, of_finding):
            rows[f["rests_on"]][0] += t is not None
            rows[f["rests_on"]][1] += 1
    for name, (hits, of) in sorted((str(n), r) for n, r in rows.items()):
        print(f'{{"{name}", {hits}, {of}}},')


def print_tables(outcomes, mode, points):
    print(f"\n{len(outcomes)} vehicles, seeds {sorted({o['seed'] for o in outcomes})}")
    if mode == "clean":
        false = sum(1 for o in outcomes if o["found"])
        print(f"clean vehicles with a finding beside hiss: {share(false, len(outcomes))}")
    elif mode == "alone":
        detection(outcomes, points)
        reliability(outcomes)
    else:
        confusion(outcomes, points)
        recall_and_precision(outcomes, points)
        reliability(outcomes)
