"""The figures and the script that measures them anew agree: each row of docs/figures.md is one of tests/bench/figure_rows.py, with its command, and
what stands there as reached is what the script would call reached; two cheap rows are run; a row that can't run fails."""
import os
import pathlib
import re
import subprocess
import sys
import tempfile

from scipy.stats import binomtest
from sounds import Checks

ROOT = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"])
BUILD = os.environ["HUSHTRACE_BUILD_DIR"]
sys.path.insert(0, str(ROOT / "tests" / "bench"))
from figure_rows import BY_NAME, ROWS  # noqa: E402
from shares import share_text, wilson  # noqa: E402

check = Checks()
for hits, of in ((0, 7), (7, 7), (3, 8), (348, 351), (2, 5000)):
    judge = binomtest(hits, of).proportion_ci(0.95, method="wilson")   # SciPy's own
    check.that(abs(wilson(hits, of)[0] - judge.low) < 1e-6 and abs(wilson(hits, of)[1] - judge.high) < 1e-6, f"interval of {hits} of {of}")
check.that(share_text(348, 351) == "348 of 351, 99.1 % (97.5 to 99.7)", share_text(348, 351))

lines = [line for line in (ROOT / "docs" / "figures.md").read_text().splitlines() if line.startswith("| `")]
told = {}
for line in lines:
    name, figure, asked, measured, reached, when, command = (cell.strip() for cell in line.strip("|").split(" | "))
    told[name.strip("` ")] = (figure, asked, measured, reached, when, command.strip("` |"))
check.that(set(told) == set(BY_NAME), f"rows of the page and of the script: {set(told) ^ set(BY_NAME)}")
for row in ROWS:
    figure, asked, measured, reached, when, command = told[row.name]
    check.that((figure, asked) == (row.figure, row.asked), f"{row.name}: what it is, and what was asked")
    pattern = re.escape(row.command_line(seed=987654, size=123456)).replace("987654", r"\d+").replace("123456", r"\d+")
    check.that(re.fullmatch(pattern, command), f"{row.name}: its command")
    check.that(not row.drawn() or re.search(r"seeds? \d", when), f"{row.name}: its seed")
    check.that(re.search(r"20\d\d-\d\d-\d\d, (before )?[0-9a-f]{7,}", when), f"{row.name}: day and build")
    expected = {None: "", True: "yes", False: "**no**"}[None if row.holds is None else bool(row.holds(measured))]
    check.that(reached == expected, f"{row.name}: reached says '{reached}', by its figures '{expected}'")
    for script in re.findall(r"tests/\S+\.py", command):
        check.that((ROOT / script).is_file(), f"{row.name}: {script}")

script = [sys.executable, str(ROOT / "tests" / "bench" / "all_figures.py"), BUILD, "--seed", "5"]
with tempfile.TemporaryDirectory() as folder:
    some = subprocess.run([*script, "--only", "distortion", "ceiling", "--part", "0.012", "--keep", folder], capture_output=True, text=True, check=False)
    page = pathlib.Path(folder, "page.md")
    page.write_text((ROOT / "docs" / "figures.md").read_text())
    again = subprocess.run([*script, "--table", folder, "--into", page], capture_output=True, text=True, check=False)
    anew = page.read_text()
rows = [line for line in some.stdout.splitlines() if line.startswith("| `")]
yes = all(" | yes | " in line for line in rows)
check.that(some.returncode == 0 and len(rows) == 2 and yes, f"two rows run anew: {some.stdout} {some.stderr}")
check.that(again.stdout == some.stdout, "the table of what is kept is the same")
before = (ROOT / "docs" / "figures.md").read_text()
changed = [line for line in anew.splitlines() if line not in before.splitlines()]
check.that(changed == rows and anew.count("\n") == before.count("\n"), f"those two rows, and they alone, are put into the page: {changed}")
nowhere = [*script[:2], "/nowhere", "--only", "losses", "--part", "0.02"]
none = subprocess.run(nowhere, capture_output=True, text=True, check=False)
check.that(none.returncode == 1 and "not reached: losses" in none.stderr and "nothing in the output" in none.stdout, f"a row that can't run fails: {none}")
check.end()
