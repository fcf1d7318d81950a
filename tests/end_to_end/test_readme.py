"""The README's worked example: its commands run as written, and print what it says they print."""
import os
import pathlib
import re
import subprocess
import sys
import tempfile

program = pathlib.Path(sys.argv[1])
readme = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"], "README.md").read_text()
example = readme.split("## A worked example")[1].split("\n## ")[0]
commands = "\n".join(line[4:] for line in example.split("\n") if line.startswith("    hushtrace") or line.startswith("        --"))
shown = re.findall(r"^```\n(.*?)^```", example, re.M | re.S)
assert commands.count("hushtrace ") >= 12 and len(shown) == 2, commands

with tempfile.TemporaryDirectory() as top:
    done = subprocess.run(["bash", "-e", "-c", commands], cwd=top, capture_output=True, text=True, timeout=280,
                          env=dict(os.environ, PATH=f"{program.parent}:{os.environ['PATH']}"))
    assert done.returncode == 0, done.stderr[-2000:]
    assert (pathlib.Path(top) / "estate/records/record.html").stat().st_size > 10000

# line by line, in order; "..." stands for lines left out
rest = done.stdout.split("\n")
missing = []
for line in "\n".join(shown).split("\n"):
    if not line or line == "...":
        continue
    if line in rest:
        rest = rest[rest.index(line) + 1:]
    else:
        missing.append(line)
print(f"{sum(len(block.splitlines()) for block in shown)} lines shown, {len(missing)} not printed")
for line in missing:
    print("not printed:", line)
sys.exit(bool(missing))
