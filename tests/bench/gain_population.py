"""Random sources with a knob turned by hand, through the whole program's gain command: is the ceiling right to the step?

    /usr/bin/python3 tests/bench/gain_population.py PROGRAM N SEED [--from M] [--kind KIND] [--jobs 2] [--short] [--keep FILE]
    /usr/bin/python3 tests/bench/gain_population.py PROGRAM 1 SEED --case M [--kind KIND] --write FOLDER
    /usr/bin/python3 tests/bench/gain_population.py --report FILE

Sources and truth: gain_cases.py (what is drawn) and gain_sources.py (NumPy, from the physics; no code of the program). The true
ceiling is the last step whose clean wave, by its Fourier series without noise, keeps 1 % THD. Steps within 3 % of the limit
are counted like all others, and those cases shown once more by themselves. --keep adds each outcome to a file of JSON lines,
so that runs can be split and pooled; --report: the tables of what is kept. --write puts one case's job into a folder.
A case takes about 0.5 s of one core. CTest runs a seeded part (end_to_end/test_gain_population.py).
"""
import argparse
import collections
import concurrent.futures
import json
import os
import pathlib
import resource
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "end_to_end"))
sys.path.insert(0, str(pathlib.Path(__file__).parent))
import gain_cases  # noqa: E402
import sounds  # noqa: E402
from shares import share_of  # noqa: E402

NEAR_LIMIT = 0.03


def write_job(folder, case):
    os.makedirs(os.path.join(folder, "takes"))
    entries = []
    for file, entry, channels, rate in case.takes:
        sounds.write_wav(os.path.join(folder, "takes", file + ".wav"), channels, rate)
        entries.append({"file": f"takes/{file}.wav", **entry})
    job = {"schema": "hushtrace.job/1", "title": case.kind, "takes": entries}
    if case.calibrated:
        job["interface"] = {"volts_full_scale": [7.0] * max(len(t[2]) for t in case.takes)}
    with open(os.path.join(folder, "job.json"), "w") as file:
        json.dump(job, file)


def outcome_of(program, case, folder=None):
    """What the program says of a case, and how that stands to the truth."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = folder or os.path.join(scratch, "job")
        write_job(folder, case)
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        document = json.loads(sounds.run(program, "gain", "--job", folder, "--json", timeout=1800))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        took_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    results, codes = document["results"], [w["code"] for w in document["warnings"]]
    volume, reason, curve = case.truth()
    ceiling = results["ceiling"]
    one = {"kind": case.kind, "truth": volume if volume is not None else reason, "said": results["ceiling_reason"], "codes": codes, "took_s": took_s,
           "text": results["ceiling_text"], "above": 0, "level_error_db": None, "near": False, "refusal": volume is None}
    if ceiling:
        found = ceiling["volume"]
        if found is None:      # by its place in time
            steps = next(c["steps"] for c in results["curves"] if c["take"] == ceiling["take"] and c["channel"] == ceiling["channel"])
            step = next(s for s in steps if s["number"] == ceiling["step"])
            knob = case.knobs[[t[0] for t in case.takes].index(pathlib.Path(ceiling["take"]).stem)]
            found = knob.volume_at(0.5 * (step["start_s"] + step["end_s"]))
        one["said"] = found
    one["right"] = bool(one["said"] == one["truth"])
    if ceiling and volume is not None and found is not None:
        one["above"] = max(0, case.volumes.index(found) - case.volumes.index(volume))
        if one["right"]:
            deciding = next(c for c in case.curves if c.name[1] == ceiling["channel"] and c.name[2] == ceiling["tone_hz"])
            one["level_error_db"] = abs(ceiling["level_dbfs"] - deciding.level[deciding.volumes.index(volume)])
    elif ceiling and volume is None:
        one["above"] = 1
    if not case.forced_reason:
        one["near"] = bool(min(c.margin() for c in case.curves) < NEAR_LIMIT)
    one["told"] = ((case.expected_warning is None or case.expected_warning in codes)
                   and (case.forbidden_warning is None or case.forbidden_warning not in codes)
                   and (case.says is None or case.says in one["text"]))
    if case.names_volumes is False and ceiling and ceiling["volume"] is not None:
        one["told"] = False
    return one


def run_one(arguments):
    program, seed, number, kind, short = arguments
    return number, outcome_of(program, gain_cases.draw(seed, number, kind, short))


def table(outcomes):
    rows = collections.defaultdict(list)
    for one in outcomes:
        rows[one["kind"]].append(one)
    print(f"{'case':20s} {'n':>4s} {'right':>6s} {'above':>6s} {'told':>5s} {'level error':>12s} {'near limit, wrong':>18s}")
    for kind, ones in [*rows.items(), ("all", outcomes)]:
        errors = [o["level_error_db"] for o in ones if o["level_error_db"] is not None]
        near = [o for o in ones if o["near"]]
        print(row(kind, ones, errors, near))


def row(kind, ones, errors, near):
    level = f"{max(errors):.4f} dB" if errors else "-"
    edge = "{} of {}".format(sum(not o["right"] for o in near), len(near)) if near else "-"
    counts = [sum(o["right"] for o in ones), sum(o["above"] > 0 for o in ones), sum(o["told"] for o in ones)]
    return f"{kind:20s} {len(ones):4d} {counts[0]:6d} {counts[1]:6d} {counts[2]:5d} {level:>12s} {edge:>18s}"


def report(outcomes):
    table(outcomes)
    decided = [o for o in outcomes if not o["refusal"]]
    refused = [o for o in outcomes if o["refusal"]]
    errors = [o["level_error_db"] for o in decided if o["level_error_db"] is not None]
    above = [o["above"] for o in outcomes]
    print(f"ceiling right to the step: {share_of(o['right'] for o in decided)}")
    print(f"above the true one: {share_of(a > 0 for a in above)}, by {max(above, default=0)} at most")
    print(f"level at the ceiling within {max(errors, default=0):.4f} dB")
    print(f"refused with the right reason: {share_of(o['right'] for o in refused)}")
    print(f"said what it should: {share_of(o['told'] for o in outcomes)}")
    slowest = max(outcomes, key=lambda o: o["took_s"])
    print(f"the slowest gain run took {slowest['took_s']:.2f} s of one core ({slowest['kind']})")


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("program", nargs="?")
    parser.add_argument("n", type=int, nargs="?", default=0)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--kind", choices=list(gain_cases.KINDS))
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--keep")
    parser.add_argument("--report")
    parser.add_argument("--case", type=int, default=0)
    parser.add_argument("--write")
    options = parser.parse_args()
    if options.report:
        report([json.loads(line) for line in open(options.report)])
        return
    if options.write:
        case = gain_cases.draw(options.seed, options.case, options.kind, options.short)
        print(json.dumps(outcome_of(options.program, case, options.write), indent=1, default=str))
        return
    work = [(options.program, options.seed, i, options.kind, options.short) for i in range(options.first, options.first + options.n)]
    outcomes = []
    with concurrent.futures.ProcessPoolExecutor(options.jobs) as pool:
        for number, one in pool.map(run_one, work):
            outcomes.append(one)
            if options.keep:
                with open(options.keep, "a") as file:
                    file.write(json.dumps(one, default=float) + "\n")
            if not (one["right"] and one["told"]):
                near = ", near the limit" if one["near"] else ""
                print(f"case {number} {one['kind']}: true {one['truth']}, said {one['said']}{near}; {one['codes']}; {one['text']}", flush=True)
    report(outcomes)


if __name__ == "__main__":
    main()
