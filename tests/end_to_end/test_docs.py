"""The commands that README.md and docs/ show: each runs as written and prints what the page says it prints.

    test_docs.py PROGRAM [PAGE...]     names of pages: those alone are run"""
import concurrent.futures
import os
import pathlib
import sys
import tempfile
import time

import docs_pages

program = pathlib.Path(sys.argv[1]).resolve()
source = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]).resolve()
faults = []

# the comparison itself: it takes what it should, and nothing else
assert docs_pages.agrees(["a 1.25 dB", "...", "e"], ["a 1.26 dB", "b", "c", "e"])
assert docs_pages.agrees(["on 2026-01-31, 12 %"], ["on 2027-02-01, 13 %"])
assert docs_pages.agrees(["takes ... s"], ["takes 3 s"])
assert not docs_pages.agrees(["a 1.25 dB"], ["a 1.27 dB"])
assert not docs_pages.agrees(["a 12 dB"], ["a 13 dB"])
assert not docs_pages.agrees(["a"], ["a", "b"])
assert not docs_pages.agrees(["a", "...", "z"], ["a", "b", "c"])
assert not docs_pages.agrees(["done"], ["done", "[exit code 2]"])

# every block with a command in it says what becomes of it; README's example has a test of its own
runnable = []
for page in docs_pages.pages(source):
    example = page == source / "README.md" and page.read_text().split("## A worked example")[1].split("\n## ")[0]
    for block in docs_pages.blocks(page):
        place = f"{page.name}:{block.line}"
        words = (block.info or "").split(" ", 1)
        if words[0] == "console":
            if len(words) > 1 and not (words[1].startswith("not-run: ") and len(words[1]) > 12):
                faults.append(f"{place}: 'console' is followed by nothing or by 'not-run: ' and a reason, not by '{words[1]}'")
            if len(words) == 1 and not docs_pages.commands(block):
                faults.append(f"{place}: a console block without a command")
            if len(words) == 1 and page not in runnable and page.name in (sys.argv[2:] or [page.name]):
                runnable.append(page)
        elif example and block.lines[0] in example and block.lines[-1] in example:
            continue
        elif block.info == "":
            faults.append(f"{place}: a block without a word after its fence: console, console not-run: REASON, text, json, ...")
        elif any(docs_pages.looks_like_command(line) for line in block.lines):
            faults.append(f"{place}: commands in a block that isn't marked: ```console, or ```console not-run: REASON")


def run(page):
    begin = time.time()
    with tempfile.TemporaryDirectory() as folder:
        found, count = docs_pages.run_page(page, program, source, folder)
    return page, found, count, time.time() - begin


with concurrent.futures.ThreadPoolExecutor(2) as two:
    for page, found, count, seconds in two.map(run, runnable):
        print(f"{page.name}: {count} commands, {len(found)} not as shown, {seconds:.1f} s")
        faults += found

for fault in faults:
    print(fault)
sys.exit(bool(faults))
