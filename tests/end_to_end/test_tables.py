"""Every cell of the tables that report --tables writes says what the JSON document says, under whatever locale; what was kept stays."""
import csv
import hashlib
import json
import os
import pathlib
import re
import sqlite3
import subprocess
import sys
import tempfile

try:
    import data_jobs
except ImportError as absent:
    print(f"skipped: {absent}")
    sys.exit(77)
from sounds import Checks, run

PROGRAM = sys.argv[1]
check = Checks()
CURVES = {"noise-tracks": ("time_s", "frequency_hz"), "spectra": ("frequency_hz", "level_dbfs", "level_dbv")}
NAMES = ("id", "source_id", "take", "channel", "name", "part", "number", "tone_hz", "what", "file", "kind")


def read(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, strict=True))


def same(cell, value):
    """Whether a cell says a value of the document: numbers to the last digit, texts with the guard's apostrophe off."""
    if value is None:
        return cell == ""
    if isinstance(value, bool):
        return cell == ("true" if value else "false")
    if isinstance(value, (int, float)):
        return float(cell) == value and "," not in cell
    if isinstance(value, list):
        value = "; ".join("" if one is None else one if isinstance(one, str) else json.dumps(one) for one in value)
    text = cell[1:] if cell.startswith("'") else cell
    return text == value and not cell.lstrip().startswith(("=", "+", "-", "@"))


class Reader:
    """Walks the document by the rules of docs/data.md, and ticks off each row of the tables on its way."""

    def __init__(self, folder):
        self.folder, self.tables, self.next, self.cells, self.wrong = folder, {}, {}, 0, []

    def row(self, table):
        if table not in self.tables:
            self.tables[table] = read(self.folder / f"{table}.csv")
            self.next[table] = 0
        self.next[table] += 1
        return self.tables[table][self.next[table] - 1]

    def hold(self, row, column, value, table):
        self.cells += 1
        if column not in row or not same(row[column], value):
            self.wrong.append(f"{table}: {column}: {row.get(column)!r} for {str(value)[:60]!r}")

    def object(self, table, value, parents, parent_row):
        row = self.row(table)
        if row["row"] != str(self.next[table]):
            self.wrong.append(f"{table}: row {row['row']}")
        if parent_row is not None:
            self.hold(row, "of.row", parent_row, table)
        for key, known in parents.items():
            self.hold(row, "of." + key, known, table)
        here = {**parents, **{key: one for key, one in value.items() if key in NAMES and not isinstance(one, (dict, list))}}
        if table in CURVES:
            for i, point in enumerate(zip(*[value[name] or [None] * len(value[CURVES[table][0]]) for name in CURVES[table]])):
                at = self.row(table + "-points")
                for name, number in zip(CURVES[table], point):
                    self.hold(at, name, number, table)
                self.hold(at, "of.row", int(row["row"]), table)
        self.fields(table, "", value, row, here, table)

    def fields(self, table, prefix, value, row, here, below):
        for key, one in value.items():
            if table in CURVES and not prefix and key in CURVES[table]:
                continue
            if isinstance(one, list) and one and all(isinstance(item, dict) for item in one):
                for item in one:
                    self.object(f"{below}-{key}", item, here, int(row["row"]))
            elif isinstance(one, dict) and one:
                self.fields(table, f"{prefix}{key}.", one, row, here, f"{below}-{key}")
            elif prefix + key in row:
                self.hold(row, prefix + key, None if one in ({}, []) else one, table)
            elif one not in (None, {}, []):
                self.wrong.append(f"{table}: no column {prefix + key}")

    def document(self, document):
        facts = read(self.folder / "report.csv")[0]
        self.tables["report"], self.next["report"] = [facts], 1
        for key, one in document["results"].items():
            if isinstance(one, dict):
                self.object(key, one, {}, None)
            elif isinstance(one, list) and one:
                for item in one:
                    self.object(key, item, {}, None)
            else:
                self.hold(facts, key, one if one else None, "report")
        for name in ("title", "job"):
            self.hold(facts, "input." + name, document["input"][name], "report")
        for item in document["warnings"]:
            self.object("warnings", {"take": None, **item} if any("take" in w for w in document["warnings"]) else item, {}, None)


def compare(folder, document):
    reader = Reader(folder)
    reader.document(document)
    check.that(not reader.wrong and reader.cells > 3000, f"{reader.cells} cells say what the document says: {reader.wrong[:6]}")
    left = {name: len(rows) - reader.next[name] for name, rows in reader.tables.items() if len(rows) != reader.next[name]}
    check.that(not left, f"no row is left over: {left}")
    listed = {one["table"]: int(one["rows"]) for one in read(folder / "tables.csv")}
    there = {path.stem for path in folder.iterdir()} - {"tables"}
    check.that(there == set(listed) == set(reader.tables), f"the list names the files: {there ^ set(reader.tables)}")
    check.that(all(len(reader.tables[name]) == rows for name, rows in listed.items()), "and how many rows each has")
    return reader


with tempfile.TemporaryDirectory(prefix="hushtrace-tables-") as name:
    top = pathlib.Path(name)
    job = data_jobs.whole_job(PROGRAM, top)
    kept = job / "records/kept"
    environment = {**os.environ, "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"}
    done = subprocess.run([PROGRAM, "report", "--job", job, "--tables"], capture_output=True, text=True, env=environment)
    check.that(done.returncode == 0 and "tables: " in done.stdout and "kept: " in done.stdout, f"tables and kept results are told: {done}")
    document = json.loads((job / "records/report.json").read_text())
    tables = job / "records/report-tables"
    compare(tables, document)
    raw = (tables / "job-takes-marks.csv").read_bytes()
    check.that(b"\r\n" in raw and b"\n" not in raw.replace(b"\r\n", b"") and b'"\'=1+1, ""bump"""' in raw, f"RFC 4180, and no formula: {raw}")
    asked = {"noise-noise_sources", "noise-noise_sources-levels", "noise-noise_sources-harmonics", "noise-entry_paths", "noise-actions",
             "noise-floor", "noise-floor-tones", "noise-tracks-points", "spectra-points", "gain-curves-steps", "gain-ceilings", "gain-amplifiers",
             "chain-channels", "chain-channels-response", "chain-limits", "power-cable", "job-takes", "job-observations", "warnings"}
    check.that(asked <= {path.stem for path in tables.iterdir()}, f"missing: {asked - {path.stem for path in tables.iterdir()}}")
    peak = max((row for row in read(tables / "spectra-points.csv") if row["of.take"] == "takes/idle.wav" and row["level_dbv"]),
               key=lambda row: float(row["level_dbv"]))
    # the whine's first line has an amplitude of 1e-3 at 7 V full scale: 20 log10(7e-3 / sqrt 2) = -46.1 dBV, spread by its wander
    check.that(abs(float(peak["frequency_hz"]) / 1100 - 1) < 0.03 and -56 < float(peak["level_dbv"]) < -45.5, f"the spectrum's highest strip: {peak}")

    # what made it, of which files
    made = document["results"]["made"]
    files = [(one, (job / one["file"]).read_bytes()) for one in made["takes"]]
    check.that(all(one["sha256"] == hashlib.sha256(sound).hexdigest() and one["bytes"] == len(sound) for one, sound in files) and len(files) == 6,
               "each take's SHA-256 and size")
    check.that(abs(made["takes"][0]["seconds"] - 6) < 1e-9 and made["takes"][0]["sample_rate_hz"] == 48000, f"length and rate: {made['takes'][0]}")
    check.that({(one["what"], one["written"]) for one in made["settings"]["limits"]} >= {("ceiling_thd_percent", True), ("balance_db", True)},
               f"the limits and whose they are: {made['settings']}")
    check.that({"name": "tables", "value": "true"} in made["settings"]["options"], "the options that were given")

    # kept results stay
    first = list(kept.iterdir())
    check.that(len(first) == 1 and re.fullmatch(r"\d{8}T\d{6}Z-\d+\.\d+\.\d+\.json", first[0].name), f"one kept document: {first}")
    content = first[0].read_bytes()
    check.that(content == (job / "records/report.json").read_bytes(), "it is the record's data")
    stranger = tables / "mine.csv"
    stranger.write_text("mine")
    document = json.loads((job / "job.json").read_text())
    document["takes"] = document["takes"][:2]
    (job / "job.json").write_text(json.dumps(document))
    run(PROGRAM, "report", "--job", job, "--tables", "--no-keep")
    check.that(list(kept.iterdir()) == first and first[0].read_bytes() == content, "--no-keep leaves no copy")
    check.that(not (tables / "gain.csv").exists() and (tables / "noise.csv").exists() and stranger.exists(),
               "tables that are no more go, other files stay")
    stranger.unlink()
    compare(tables, json.loads((job / "records/report.json").read_text()))
    run(PROGRAM, "report", "--job", job)
    run(PROGRAM, "report", "--job", job, "--out", top / "elsewhere/x.html", "--tables")
    check.that(len(list(kept.iterdir())) == 3 and first[0].read_bytes() == content, "each report keeps its own")
    check.that((top / "elsewhere/x-tables/noise.csv").exists(), "tables lie beside the page, after its name")
    (top / "taken-tables").write_text("a file")
    told = run(PROGRAM, "report", "--job", job, "--out", top / "taken.html", "--tables", expect=2)
    check.that("taken-tables" in told and not (top / "taken.html").exists(), f"a file in the tables' place: {told}")

    kept.rename(job / "records/aside")
    kept.write_text("a file in the folder's place")
    told = run(PROGRAM, "report", "--job", job, "--out", top / "unkept.html", expect=2)
    check.that("--no-keep" in told and not (top / "unkept.html").exists(), f"what can't be kept is told before anything is written: {told}")
    kept.unlink()
    (job / "records/aside").rename(kept)

    # the index, and how docs/data.md loads it
    line = json.loads(run(PROGRAM, "report", "--index", top))
    check.that(line["results_current"] is True and line["noise_kind"] == "alternator_whine" and line["results"].startswith("records/kept/"),
               f"the line of a job: {line}")
    (job / "job.json").write_text(json.dumps({**document, "title": "=another"}))
    line = json.loads(run(PROGRAM, "report", "--index", job, job))
    check.that(line["results_current"] is False and line["title"] == "=another", "a job that changed since is told, and once")
    told = run(PROGRAM, "report", "--index", top, "--job", job, expect=2)
    check.that("--job" in told, told)
    check.that("holds no job" in run(PROGRAM, "report", "--index", job / "takes", expect=2), "a folder without a job")
    check.that("--index" in run(PROGRAM, "report", expect=2), "neither a job nor an index")
    docs = (data_jobs.SCHEMAS.parent / "data.md").read_text()
    commands = re.findall(r"^\$ python3 -c '([^']*)'", docs, re.M)
    check.that(len(commands) == 2, f"docs/data.md has two ways to load: {len(commands)}")
    (top / "index.jsonl").write_text(run(PROGRAM, "report", "--index", top))
    for command in commands:
        done = subprocess.run([sys.executable, "-c", command], cwd=top, capture_output=True, text=True)
        check.that(done.returncode == 0, f"{command[:60]}: {done.stderr}")
    database = sqlite3.connect(top / "shop.db")
    check.that(database.execute("select title, noise_kind from jobs").fetchall() == [("=another", "alternator_whine")], "the index in a database")
    first = read(top / "index.csv")[0]
    check.that(first["noise_kind"] == "alternator_whine" and first["title"] == "'=another", f"the index as a table: {first}")
check.end()
