"""The power command: fuses, cables and cautions, with and without a job, and what it refuses."""
import json
import os
import subprocess
import sys
import tempfile

program = sys.argv[1]
faults = []


def check(fact, text):
    if not fact:
        faults.append(text)


def power(*options, expect=0):
    done = subprocess.run([program, "power", *options], capture_output=True, text=True)
    check(done.returncode == expect, f"power {' '.join(options)}: exit {done.returncode}, {expect} expected: {done.stderr}")
    return done


def results(*options):
    return json.loads(power(*options, "--json").stdout)["results"]


front, sub = "front,max_current_a=30", "sub,max_current_a=50"

# common practice, no source: 30 A and 50 A take an 80 A fuse, 142 A takes a 150 A fuse
both = results("--amplifier", front, "--amplifier", sub)
check(both["total_a"] == 80 and both["fuse_a"] == 80, f"80 A fuse: {both['fuse_a']}")
check(results("--amplifier", "sub,max_current_a=142")["fuse_a"] == 150, "142 A takes a 150 A fuse")

# tests/reference/copper_cable_voltage_drop_example.csv: 5 m of 4 AWG at 60 A and 60 C lose 0.282988 V
run = results("--amplifier", "sub,max_current_a=60", "--supply", "length_m=5,area_mm2=21.1506,temperature_c=60,conductor=copper")
check(abs(run["drop_v"] - 0.282988) < 1e-5, f"drop {run['drop_v']}")
check([one["part"] for one in run["cable"]] == ["feed", "ground"], "feed and ground")

# a cable that is too thin names no fuse, but the cable to buy
thin = results("--amplifier", "sub,max_current_a=142", "--supply", "length_m=5,area_mm2=21.2")
check(thin["fuse_a"] is None and thin["fuse_reason"] == "cable_too_thin", f"too thin: {thin['fuse_a']}")
check(thin["cable"][0]["smallest"]["awg"] == "2 AWG", f"the cable to buy: {thin['cable'][0]['smallest']}")

text = power("--amplifier", "sub,max_current_a=142", "--supply", "length_m=5,area_mm2=21.2").stdout
check("thicker cable is the answer" in " ".join(text.split()), "the text says so")
check("negative off first" in text and "Local code" in text, "cautions are told")
check(max(map(len, text.splitlines())) <= 80, "lines fit a terminal")
check("Orange" in power("--amplifier", sub, "--drive", "electric").stdout, "high voltage is warned of")

with tempfile.TemporaryDirectory() as folder:
    job = os.path.join(folder, "estate")
    subprocess.run([program, "job", "--job", job, "--new", "--title", "Estate", "--amplifier", sub, "--amplifier", front,
                    "--supply", "length_m=5,area_mm2=21.2,conductor=copper", "--alternator", "rated_a=120"], check=True, capture_output=True)
    before = open(os.path.join(job, "job.json")).read()
    kept = json.loads(power("--job", job, "--json").stdout)
    check(kept["schema"] == "hushtrace.power/1", kept["schema"])
    check(kept["results"]["fuse_a"] == 80, "from the job")
    check(kept["results"]["alternator"]["rated_a"] == 120, "the alternator's rating")
    check(results("--job", job, "--supply", "area_mm2=8.37")["fuse_a"] is None, "an option changes the job for this run")
    check(open(os.path.join(job, "job.json")).read() == before, "and nothing is written")

# branches by option: each counts in the sum, with the greater of its current and its amplifier's; a thin one needs its own fuse
branches = results("--amplifier", sub, "--supply", "length_m=5,area_mm2=33.6", "--branch", "sub,length_m=0.5,area_mm2=21.2,current_a=90",
                   "--branch", "lamp,length_m=2,area_mm2=1.5,current_a=3")
check(branches["total_a"] == 93, f"90 A of the branch and 3 A: {branches['total_a']}")
parts = {one["part"]: one for one in branches["cable"]}
check(parts["branch lamp"]["verdict"] == "beyond_tables" and parts["branch lamp"]["needs_fuse"], f"lamp: {parts['branch lamp']}")
check(abs(parts["branch sub"]["with_feed_v"] - parts["branch sub"]["drop_v"] - branches["drop_v"]) < 1e-5, "feed and branch drop")
check("the greater counts" in branches["draws"][0]["note"], "which current counts is said")
check(branches["feed"]["resonance_hz"] > 100 and branches["feed"]["worst_ripple_v"] > branches["feed"]["battery_ripple_v"], "resonance")
told = " ".join(power("--amplifier", sub, "--supply", "length_m=5,area_mm2=21.2").stdout.split())
check("resonate" in told and "the engine sweeps through it" in told, "the resonance is said")

with tempfile.TemporaryDirectory() as folder:
    job = os.path.join(folder, "van")

    def change(*options):
        subprocess.run([program, "job", "--job", job, *options], check=True, capture_output=True)
        return json.load(open(os.path.join(job, "job.json")))["supply"]["branches"]

    change("--new", "--title", "Van", "--amplifier", sub, "--branch", "sub,length_m=1", "--branch", "lamp,current_a=3")
    kept = change("--branch", "sub,area_mm2=10")
    check(kept == [{"name": "sub", "length_m": 1, "area_mm2": 10}, {"name": "lamp", "current_a": 3}], f"branches are kept by name: {kept}")
    check(results("--job", job, "--branch", "lamp,current_a=10")["total_a"] == 60, "an option changes a branch for this run")

shown = power("--help").stdout
for option in ("--amplifier", "--branch", "--supply", "--supply-v", "--alternator", "--cables", "--drive", "--from"):
    check(option in shown, f"{option} is in the help")
for option in ("--limits", "--converter", "--speaker", "--complaint", "--volume-top"):
    check(option not in shown, f"{option} does nothing here")

for options, words in [
    (["--amplifier", sub, "--supply", "temperature_c=500"], "supply.temperature_c: 500 is above 200"),
    (["--amplifier", sub, "--branch", "length_m=2"], "name it first"),
    (["--amplifier", sub, "--branch", "lamp,current_a=3", "--branch", "lamp,current_a=60"], "belongs to an earlier branch"),
    (["--amplifier", sub, "--amplifier", sub, "--branch", "sub,area_mm2=10"], "two amplifiers have the name 'sub'"),
    (["--amplifier", sub, "--limits", "balance_db=1"], "--limits"),
    ([], "no amplifier"),
    (["--amplifier", "sub,max_current_a=-5"], "max_current_a"),
    (["--amplifier", "sub,max_current_a=nan"], "max_current_a"),
    (["--amplifier", sub, "--supply", "area_mm2=0"], "area_mm2"),
    (["--amplifier", sub, "--supply", "conductor=silver"], "conductor"),
    (["--job", "/nowhere"], "nowhere"),
]:
    done = power(*options, expect=2)
    check(words in done.stderr and done.stderr.count("\n") == 1 and not done.stdout, f"{options}: {done.stderr!r}")

print("\n".join(faults) or "power: all as stated")
sys.exit(1 if faults else 0)
