"""Fifty small jobs by the line of docs/many-jobs.md: each record is the one that is made alone, to the byte but for the time; the index lists
all of them, a broken one too."""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import time

from sounds import Checks, hiss, make_job, run, tone

PROGRAM = sys.argv[1]
DOCS = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / "docs" / "many-jobs.md"
JOBS, BROKEN = 50, 37
check = Checks()


def make_jobs(top):
    """A second of hum and hiss, its level and frequency those of the job's number; amplifiers for the supply's figures."""
    for number in range(JOBS):
        hum = tone([50, 60][number % 2], 1.0, 10 ** (-(60 + 0.2 * number) / 20))
        sound = hum + hiss(1.0, 1e-5, seed=number)
        make_job(top / f"jobs/{number:03d} van", {"off": ({"engine": "off", "channels": ["left"]}, [sound])}, title=f"job {number}",
                 vehicle={"mains_hz": [50, 60][number % 2]}, amplifiers=[{"name": "sub", "power_w": 100 + 10 * number, "load_ohm": 2}],
                 supply={"length_m": 5, "area_mm2": 21.2})
    (top / f"jobs/{BROKEN:03d} van/job.json").write_text('{"schema": "hushtrace.job/1", "takes": 7}')


def records(folder):
    """Each job's data and page, less the time that they were made."""
    found = {}
    for path in sorted(folder.rglob("report.json")) + sorted(folder.rglob("report.html")):
        text = re.sub(r'"at": "[^"]*Z"', '"at": ""', path.read_text())
        found[str(path.relative_to(folder))] = re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", "", text)
    return found


def shell(line, top):
    """A line of the docs, with the program that is tested."""
    bare = pathlib.Path(PROGRAM).resolve().parent
    began = time.monotonic()
    done = subprocess.run(["bash", "-c", line], cwd=top, capture_output=True, text=True, timeout=250,
                          env={**os.environ, "PATH": f"{bare}:{os.environ['PATH']}", "HOME": str(top)})
    print(f"      {time.monotonic() - began:.1f} s: {line}")
    return done


with tempfile.TemporaryDirectory(prefix="hushtrace-many-") as name:
    top = pathlib.Path(name)
    make_jobs(top)
    lines = [line for block in re.findall(r"```console.*?\n(.*?)```", DOCS.read_text(), re.S) for line in block.replace("$ ", "").splitlines()]
    with_parallel, with_xargs = lines[0], lines[1]
    check.that(with_parallel.startswith("parallel ") and " xargs " in with_xargs and "report --job" in with_parallel, f"the docs' lines: {lines[:2]}")
    chosen = with_parallel if shutil.which("parallel") else with_xargs
    done = shell(chosen, top)
    # GNU parallel's exit code is the number of runs that failed; xargs' is 123
    check.that(done.returncode == (1 if chosen == with_parallel else 123), f"one run of fifty fails: exit {done.returncode}")
    check.that(done.stderr.count("job.json: takes: a list is wanted") == 1, f"and says why: {done.stderr[-300:]}")
    together = records(top / "jobs")
    check.that(len(together) == 2 * (JOBS - 1), f"{len(together)} files of {JOBS - 1} jobs")
    # the same jobs elsewhere, one after another, in other words of the same request
    shutil.copytree(top / "jobs", top / "alone/jobs", ignore=shutil.ignore_patterns("records"))
    done = shell('for job in jobs/*/; do hushtrace report --job "$job" >/dev/null 2>&1; done', top / "alone")
    alone = records(top / "alone/jobs")
    different = [path for path in together if alone.get(path) != together[path]]
    check.that(len(alone) == len(together) and not different, f"the same to the byte but for the time: {different[:5]}")
    levels = [json.loads(text)["results"]["noise"]["noise_sources"][0]["level_dbfs"] for path, text in together.items() if path.endswith("json")]
    # the hum of job n has an amplitude of -(60 + n/5) dB of full scale: that many dBFS
    whole = [number for number in range(JOBS) if number != BROKEN]
    check.that(all(abs(level + 60 + 0.2 * n) < 0.5 for level, n in zip(levels, whole)), f"each job has its own hum: {levels[:4]}")

    line = next(line for line in lines if "--index" in line).replace(" > index.jsonl", "")
    index = [json.loads(one) for one in shell(line, top).stdout.splitlines()]
    check.that([one["job"] for one in index] == [f"jobs/{number:03d} van" for number in range(JOBS)], f"the index lists all, in order: {len(index)}")
    broken = [one for one in index if one["error"]]
    check.that([one["job"] for one in broken] == [f"jobs/{BROKEN:03d} van"] and "takes" in broken[0]["error"], f"the broken one, and why: {broken}")
    check.that(all(one["results"].startswith("records/kept/") and one["results_current"] and one["noise_kind"] == "mains_hum" and one["total_a"] > 0
                   for one in index if not one["error"]), "and the others with their hum and their supply")
    # six reports of one job at once: each file whole, six more kept
    job = top / "jobs/000 van"
    kept = len(list((job / "records/kept").iterdir()))
    six = [subprocess.Popen([PROGRAM, "report", "--job", job, "--tables"], stdout=subprocess.DEVNULL) for _ in range(6)]
    check.that([one.wait(timeout=60) for one in six] == [0] * 6, "six reports of one job at once end well")
    documents = [json.loads(path.read_text()) for path in (job / "records").rglob("*.json")]
    check.that(len(documents) == kept + 6 + 1 and (job / "records/report.html").read_text().rstrip().endswith("</html>"), "and leave whole files")
    check.that(not [path.name for path in (job / "records").rglob(".*")], "and nothing half written")
    only = shell(f"hushtrace report --index 'jobs/{BROKEN:03d} van'", top)
    check.that(only.returncode == 2 and len(only.stdout.splitlines()) == 1 and "can't be read" in only.stderr, f"none can be read: exit 2: {only}")
check.end()
