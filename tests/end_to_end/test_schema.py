"""The documents that the commands print keep the schemas of docs/schemas/, and these refuse what is wrong: a key left out, a
value of another type, a word that is none. What job.json may hold is the same to schema and program.

Judge: Debian's python3-jsonschema (draft 2020-12). A second argument `all` tries every bent job, not one in eight."""
import copy
import json
import pathlib
import random
import subprocess
import sys
import tempfile

try:
    import data_jobs
except ImportError as absent:
    print(f"skipped: {absent}")
    sys.exit(77)
import hostile
from sounds import Checks

PROGRAM = sys.argv[1]
check = Checks()


def documents(top):
    """(name, document) of every command, on four jobs."""
    whole, raw, power = data_jobs.whole_job(PROGRAM, top), data_jobs.raw_job(top), data_jobs.power_job(top)
    broken = top / "broken"
    broken.mkdir()
    (broken / "job.json").write_text('{"schema": "hushtrace.job/1", "takes": 3}')
    empty = top / "empty"
    empty.mkdir()
    (empty / "job.json").write_text('{"schema": "hushtrace.job/1"}')

    def printed(*words):
        done = subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True, timeout=120)
        assert done.returncode in (0, 1) and done.stdout, (words, done.returncode, done.stderr)
        return done.stdout

    for command in ("noise", "gain", "chain", "power", "report"):
        yield f"{command} of a whole job", json.loads(printed(command, "--job", whole, "--json"))
    for command in ("noise", "report"):
        yield f"{command} without calibration, a take broken", json.loads(printed(command, "--job", raw, "--json"))
    seen = printed("live", "--job", empty, "--simulate", "healthy", "--meter", "--json", "--unpaced", "--tone", "sine", "--level", -20,
                   "--engine", "off", "--volume", 20, "--follow", "all", "--seconds", 4)
    for line in seen.splitlines():
        yield "a line of the live view", json.loads(line)
    yield "power alone", json.loads(printed("power", "--job", power, "--json"))
    said = json.loads(printed("job", "--job", whole, "--json"))["results"]["job"]
    check.that(not data_jobs.faults(said, "job"), f"the job that `job --json` prints: {data_jobs.faults(said, 'job')[:4]}")
    yield "the record's file", json.loads((whole / "records/report.json").read_text())
    for kept in sorted((whole / "records/kept").iterdir()):
        yield "kept results", json.loads(kept.read_text())
    lines = printed("report", "--index", top).splitlines()
    check.that(len(lines) == 5, f"the index has a line for each of five jobs: {len(lines)}")
    for line in lines:
        yield "a line of the index", json.loads(line)


def shortened(value):
    """With three items of every list: what a schema says of items it says of each."""
    if isinstance(value, dict):
        return {key: shortened(one) for key, one in value.items()}
    return [shortened(one) for one in value[:3]] if isinstance(value, list) else value


def places(value, path=(), shape=()):
    """Every key of every object, one of each shape: (path to it, path with list places left out)."""
    if isinstance(value, dict):
        for key, one in value.items():
            yield path + (key,), shape + (key,)
            yield from places(one, path + (key,), shape + (key,))
    elif isinstance(value, list):
        for i, one in enumerate(value):
            yield from places(one, path + (i,), shape + ("*",))


def holder(document, path):
    for key in path[:-1]:
        document = document[key]
    return document


# Keys whose absence is no fault: all of job.json's but the few that it must have, what a warning may name, what free-form
# conditions hold.
JOB_MUST = {("results", "job", "schema"), ("results", "job", "takes", "*", "file"), ("results", "job", "takes", "*", "channels"),
            ("results", "job", "takes", "*", "tone", "kind"), ("results", "job", "observations", "*", "what"),
            ("results", "job", "takes", "*", "marks", "*", "time_s"), ("results", "job", "takes", "*", "attached", "*", "device")}


# Keys that came after the first records of these schemas: an older one lacks them, and is right.
NEWER = {"floor_record", "third_octaves", "third_octaves_interface", "pictures"}


def may_lack(shape):
    if shape[-1] in NEWER:
        return True
    if shape[:2] == ("results", "job"):
        if len(shape) > 2 and shape[-1] in ("levels_dbfs", "duration_s", "frequencies_hz"):
            return False
        return shape not in JOB_MUST and shape != ("results", "job")
    if shape[-1].endswith("_interface_taken_off"):   # beside a figure in volts alone
        return True
    return shape in {("warnings", "*", "take")} or ("conditions" in shape and shape[-1] not in ("engine", "conditions"))


def mutations(name, document):
    """Each key taken out, and each given a value of a wrong type, must be refused."""
    short = shortened(document)
    check.that(not data_jobs.faults(short), f"{name}: with short lists it is still right: {data_jobs.faults(short)[:3]}")
    judge = data_jobs.validator(document["schema"].split(".")[1].split("/")[0])
    tried, passed = 0, []
    seen = set()
    for path, shape in list(places(short)):
        part_of_record = "made" in str(short.get("results"))[:8] and len(shape) > 2 and shape[1] in ("noise", "gain", "chain", "power")
        if shape in seen or part_of_record:   # those are judged as documents of their own
            continue
        seen.add(shape)
        wrong = copy.deepcopy(short)
        del holder(wrong, path)[path[-1]]
        tried += 1
        if judge.is_valid(wrong) and not may_lack(shape):
            passed.append(f"without {'.'.join(map(str, shape))}")
        of_any_form = (shape[0] == "floor" and shape[-1] in ("hookup", "loads")) or ("conditions" in shape and shape[-1] != "conditions")
        if of_any_form or "our_number" in shape:
            continue
        wrong = copy.deepcopy(short)
        holder(wrong, path)[path[-1]] = {"odd": [{}]} if not isinstance(holder(short, path)[path[-1]], dict) else "odd"
        tried += 1
        if judge.is_valid(wrong):
            passed.append(f"wrong type of {'.'.join(map(str, shape))}")
    check.that(not passed, f"{name}: {tried} wrong ones refused, passed all the same: {passed[:8]}")


WRONG = [  # where, and what can't be there
    ("noise", ("results", "noise_sources", 0, "kind"), "gremlin"), ("noise", ("results", "noise_sources", 0, "confidence"), 1.5),
    ("noise", ("results", "noise_sources", 0, "levels", 0, "channel"), "middle"),
    ("noise", ("results", "noise_sources", 0, "levels", 0, "sd_db"), -1),
    ("noise", ("results", "noise_sources", 0, "level_dbv_limited_by"), "mood"), ("noise", ("results", "entry_paths", 0, "paths"), ["roof"]),
    ("noise", ("results", "entry_paths", 0, "paths"), []), ("noise", ("results", "entry_paths", 0, "mechanism"), "magic"),
    ("noise", ("results", "entry_paths", 0, "probability"), -0.1), ("noise", ("schema",), "hushtrace.noise/2"),
    ("noise", ("tool", "name"), "other"), ("noise", ("results", "floor", 0, "unweighted_dbv_sd"), -0.5),
    ("noise", ("results", "changes", 0, "verdict"), "perhaps"), ("gain", ("results", "ceiling", "channel"), "up"),
    ("gain", ("results", "ceiling"), None), ("gain", ("results", "ceiling_reason"), "tired"), ("gain", ("results", "ceiling_reason"), "too_noisy"),
    ("gain", ("results", "ceiling", "knee_kind"), "bent"), ("gain", ("results", "limit_thd_percent"), 0),
    ("gain", ("results", "curves", 0, "steps", 0, "number"), 0), ("gain", ("results", "curves", 0, "steps", 0, "thd_percent"), -1),
    ("chain", ("results", "channels", 0, "polarity"), "sideways"), ("chain", ("results", "limits", 0, "verdict"), "almost"),
    ("chain", ("results", "channels", 0, "response", 0, "frequency_hz"), 0), ("power", ("results", "cable", 0, "verdict"), "thick"),
    ("power", ("results", "cable", 0, "conductor"), "silver"), ("power", ("results", "total_a"), -1), ("power", ("results", "cautions"), []),
    ("power", ("results", "fuse_reason"), "no"), ("report", ("results", "made", "at"), "yesterday"),
    ("report", ("results", "made", "takes", 0, "sha256"), "abc"), ("report", ("results", "job", "takes", 0, "engine"), "idel"),
    ("report", ("results", "noise", "noise_sources", 0, "kind"), "gremlin")]


def agree(folder, name, job):
    """Schema and program judge a job alike."""
    (folder / "job.json").write_bytes(job if isinstance(job, bytes) else json.dumps(job).encode())
    done = subprocess.run([PROGRAM, "job", "--job", str(folder)], capture_output=True, timeout=30)
    content = json.loads(job) if isinstance(job, bytes) else job
    says = data_jobs.faults(content, "job")
    told = "takes" if done.returncode == 0 else "refuses"
    return (done.returncode == 0) == (not says), f"{name}: program {told} it ({done.stderr[:160]!r}), schema: {says[:2]}"


# What the program checks and a schema can't say (docs/data.md lists these).
BEYOND = {"one take twice", "pads for three", "a field twice", "NUL escaped in a path"}


def hostile_jobs(folder):
    beyond, tried = set(), 0
    for name, content, _ in hostile.job_files():
        if len(content) > 1 << 20:
            continue
        try:
            json.dumps(json.loads(content.decode(), parse_constant=lambda word: 1 / 0), ensure_ascii=False).encode()
        except (ValueError, ZeroDivisionError, RecursionError):
            continue   # no JSON: no schema is asked
        tried += 1
        same, told = agree(folder, name, content)
        if not same and name in BEYOND:
            beyond.add(name)
            continue
        check.that(same, told) if not same else None
    check.that(tried > 30, f"schema and program agree on {tried} bad jobs; the program alone refuses {sorted(beyond)}")


def bent_jobs(folder):
    """The job of docs/job-folder.md with one thing changed at a time."""
    text = (data_jobs.SCHEMAS.parent / "job-folder.md").read_text()
    good = json.loads(text[text.index('```json\n') + 8:text.index("\n```", text.index('```json\n'))])
    good["takes"][0]["attenuation_db"] = [0, 10]
    good["takes"] += [{"file": f"takes/{kind}.wav", "channels": "left", "tone": {"kind": kind, **more}} for kind, more in [
        ("stepped", {"frequency_hz": 997, "levels_dbfs": [-20, 0], "step_s": 1}),
        ("two_tone", {"frequencies_hz": [60, 7000], "levels_dbfs": [-12, -24]}),
        ("sweep", {"from_hz": 20, "to_hz": 20000, "duration_s": 3, "level_dbfs": -20, "channel": "left"}), ("pink", {"level_dbfs": -20, "seed": 3}),
        ("near_silence", {}), ("polarity_pulse", {"level_dbfs": -6, "spacing_s": 0.5, "width_s": 0.001})]]
    good["amplifiers"][0].update(dial_marks=[0, 10], dial_law="linear", channels=["sub"], allowance_db=6,
                                 converter={"loss_db": 20, "isolating": True})
    good["labour_min"] = {"isolator": 5}
    same, told = agree(folder, "the job as it stands", good)
    check.that(same and not data_jobs.faults(good, "job"), told)
    # a pair of values changes its order's meaning, a loss its ratio's: what no schema compares
    bend = [None, "odd", "", -1, 0, 0.5, 1e9, 1e16, True, [], {}, [1], ["odd"], [1, 2], "../x.wav", "/x.wav", "takes/"]
    different, tried, chance = [], 0, random.Random(2026)
    for path, shape in list(places(good)):
        if isinstance(path[-1], int):
            continue
        for value in bend:
            wrong = copy.deepcopy(good)
            holder(wrong, path)[path[-1]] = value
            if beyond_schema(shape, value) or ("all" not in sys.argv and chance.random() > 1 / 8):
                continue
            tried += 1
            same, told = agree(folder, f"{'.'.join(map(str, path))} = {value!r}", wrong)
            if not same:
                different.append(told)
    check.that(not different, f"schema and program agree on {tried} bent jobs, not on: {different[:10]}")


def beyond_schema(shape, value):
    last = shape[-1]
    if last == "attenuation_db" and isinstance(value, list):
        return len(value) != 2 or value == ["odd"]      # as many as channels
    if last == "channels" and shape[0] == "takes" and isinstance(value, (list, str)):
        return True                                     # as many as pads
    if last in ("file", "rpm_log") and value == "../x.wav":
        return False
    return last in ("from_hz", "to_hz") and value in (0.5, 1e9, None)


with tempfile.TemporaryDirectory(prefix="hushtrace-schema-") as name:
    top = pathlib.Path(name)
    first = {}
    for name, document in documents(top):
        says = data_jobs.faults(document)
        check.that(not says, f"{name} keeps its schema: {says[:4]}")
        first.setdefault(document["schema"].split(".")[1].split("/")[0], document)
    for name, document in first.items():
        mutations(name, document)
    for name, path, value in WRONG:
        wrong = copy.deepcopy(first[name])
        holder(wrong, path)[path[-1]] = value
        check.that(data_jobs.faults(wrong), f"{name}: {'.'.join(map(str, path))} = {value!r} is refused")
    folder = top / "judged"
    folder.mkdir()
    hostile_jobs(folder)
    bent_jobs(folder)
check.end()
