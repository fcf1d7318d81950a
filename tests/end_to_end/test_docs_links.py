"""README.md and docs/: links and anchors lead somewhere, options exist, messages are the program's, drawings can be read."""
import os
import pathlib
import re
import subprocess
import sys
import urllib.parse
import xml.etree.ElementTree

import docs_pages

program = pathlib.Path(sys.argv[1]).resolve()
source = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]).resolve()
pages = docs_pages.pages(source)
faults, counts = [], {"links": 0, "options": 0, "messages": 0, "drawings": 0}


def prose(page):
    """The page's text without its blocks."""
    lines, inside = [], False
    for line in page.read_text().split("\n"):
        if line.startswith("```"):
            inside = not inside
        lines.append("" if inside or line.startswith("```") else line)
    return "\n".join(lines)


def anchors(page):
    found = set()
    for heading in re.findall(r"^#+ (.*)$", prose(page), re.M):
        found.add(re.sub(r"[^\w\- ]", "", re.sub(r"\[(.*?)\]\(.*?\)", r"\1", heading).lower()).replace(" ", "-"))
    return found


# links and pictures
linked = set()
for page in pages + [source / "DEVELOPERS.md", source / "signals/README.md"]:
    for alternative, target in re.findall(r"!?\[([^\]]*)\]\(([^)\s]+)\)", prose(page)):
        if re.match(r"https?:|mailto:", target):
            continue
        counts["links"] += 1
        name, _, anchor = urllib.parse.unquote(target).partition("#")
        file = (page.parent / name).resolve() if name else page
        linked.add(file)
        if not file.exists() or source not in file.parents:
            faults.append(f"{page.name}: the link to {target} leads nowhere")
        elif anchor and anchor not in anchors(file):
            faults.append(f"{page.name}: {file.name} has no heading #{anchor}")
        if not alternative.strip():
            faults.append(f"{page.name}: the link or picture {target} has no words")
for page in pages[1:]:
    if page not in linked:
        faults.append(f"{page.name}: no page leads to it")
    if len(page.read_text().split("\n")) > 401:
        faults.append(f"{page.name}: more than 400 lines")

# options, of the program's commands and of the scripts of tests/bench
helped = subprocess.run([program, "--help"], capture_output=True, text=True, check=True).stdout
names = re.findall(r"^  (\w+) {2,}\S", helped.split("Subcommands:")[1], re.M)
assert len(names) >= 12, helped
known = set(re.findall(r"(--[a-z][a-z0-9-]*)", helped))
for name in names:
    known |= set(re.findall(r"(--[a-z][a-z0-9-]*)", subprocess.run([program, name, "--help"], capture_output=True, text=True, check=True).stdout))
for script in (source / "tests/bench").iterdir():
    if script.suffix in (".py", ".cpp"):
        known |= set(re.findall(r"\"(--[a-z][a-z0-9-]*)", script.read_text()))
others = {"--user", "--build", "--install", "--component", "--prefix",
          "--joblog", "--resume", "--array", "--cpus-per-task", "--mem", "--wrap"}  # of programs that aren't ours
for page in pages:
    for option in re.findall(r"(?<![\w-])--[a-z][a-z0-9-]*", page.read_text()):
        counts["options"] += 1
        if option not in known and option not in others:
            faults.append(f"{page.name}: no command has an option {option}")

# what troubleshooting.md says that the program says: each piece between "..." stands in a string of the source
strings = []
for file in (source / "src").rglob("*.cpp"):
    for literals in re.findall(r'"(?:[^"\\\n]|\\.)*"(?:\s*"(?:[^"\\\n]|\\.)*")*', file.read_text()):
        strings.append(re.sub(r"\{[^}]*\}", "\0", re.sub(r'"\s*"', "", literals)[1:-1]).replace('\\"', '"'))
for text in strings:
    for option in re.findall(r"(?<![\w<!-])--[a-z][a-z0-9-]*[a-z0-9](?![a-z0-9-]|: #)", text):
        if option not in known:
            faults.append(f"src: no command has the option {option}, of which the program says: {text[:80]}")
troubles = next(page for page in pages if page.name == "troubleshooting.md")
for message in re.findall(r"^\| `([^`]+)` \|", troubles.read_text(), re.M):
    counts["messages"] += 1
    pieces = [re.escape(piece) for piece in message.split("...")]
    if not any(len(piece) > 4 for piece in pieces):
        continue
    said = re.compile(".*".join(pieces), re.S)
    if not any(said.search(text) for text in strings):
        faults.append(f"troubleshooting.md: the program never says: {message}")
assert counts["messages"] > 20

# drawings
for file in sorted((source / "docs/drawings").glob("*.svg")):
    counts["drawings"] += 1
    root = xml.etree.ElementTree.parse(file).getroot()
    svg = "{http://www.w3.org/2000/svg}"
    width, height = (float(number) for number in root.get("viewBox").split()[2:])
    if any(len(root.findtext(svg + part, "").strip()) < 5 for part in ("title", "desc")):
        faults.append(f"{file.name}: has no title or no desc")
    if "prefers-color-scheme: dark" not in file.read_text():
        faults.append(f"{file.name}: can't be read in the dark")
    if "href" in file.read_text() or "<script" in file.read_text():
        faults.append(f"{file.name}: leads outside")
    if file not in linked:
        faults.append(f"{file.name}: no page shows it")
    for text in root.iter(svg + "text"):
        words, look = "".join(text.itertext()), text.get("class", "")
        long = len(words) * (8.0 if "small" in look else 9.6 if "name" in look else 9.2)
        left = float(text.get("x")) - (long / 2 if "middle" in look else long if "end" in look else 0)
        if left < 0 or left + long > width or not 12 <= float(text.get("y")) <= height - 3:
            faults.append(f"{file.name}: '{words}' may be cut off")
assert counts["drawings"] > 10

for fault in faults:
    print(fault)
print(", ".join(f"{number} {what}" for what, number in counts.items()) + f" looked at, {len(faults)} faults")
sys.exit(bool(faults))
