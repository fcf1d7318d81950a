"""The manual pages: man reads them without a warning, and each tells all that --help does."""
import os
import pathlib
import re
import shutil
import subprocess
import sys

import help_pages

PROGRAM = pathlib.Path(sys.argv[1]).resolve()
PAGES = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]) / "pages/man"


def read(page):
    done = subprocess.run(["man", "--warnings", "-E", "UTF-8", "-l", page], capture_output=True, text=True, timeout=60,
                          env={**os.environ, "MANWIDTH": "160", "LC_ALL": "C.UTF-8", "MAN_KEEP_FORMATTING": ""})
    assert done.returncode == 0 and not done.stderr, (page, done.stderr)
    return re.sub(r".\x08|\x1b\[[0-9;]*m", "", done.stdout)


def tight(text):
    """Where lines end is man's affair."""
    return re.sub(r"\s+", "", text)


def main():
    commands = help_pages.commands(PROGRAM)
    assert sorted(page.name for page in PAGES.glob("*")) == sorted(["hushtrace.1"] + [f"hushtrace-{name}.1" for name in commands])
    if not shutil.which("man"):
        print("man is not installed")
        sys.exit(77)
    whole = read(PAGES / "hushtrace.1")
    told = 0
    for name in commands:
        assert re.search(rf"^ +{name} *$|^ +{name} +\w", whole, re.M), name
        page = read(PAGES / f"hushtrace-{name}.1")
        for option, (kind, text) in help_pages.options(PROGRAM, name).items():
            told += 1
            assert tight(f"{option}{kind}{text}.") in tight(page), (name, option, kind, text)
        for heading in ("NAME", "SYNOPSIS", "DESCRIPTION", "OPTIONS", "EXAMPLES", "EXIT STATUS", "SEE ALSO"):
            assert re.search(rf"^{heading}$", page, re.M), (name, heading)
        for linked in re.findall(r"docs/[a-z-]+\.md", page):
            assert (pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]) / linked).exists(), linked
    assert told > 150, told
    print(f"{len(commands) + 1} pages, {told} options")


main()
