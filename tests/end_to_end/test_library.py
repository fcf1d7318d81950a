"""The layers as an installed library: docs/example-library finds it by find_package, builds, and hears what the program hears."""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

PROGRAM = pathlib.Path(sys.argv[1]).resolve()
BUILD = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]).resolve()
SOURCE = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]).resolve()


def run(*words, **more):
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, timeout=250, **more)
    assert done.returncode == 0, (words, done.stdout, done.stderr)
    return done.stdout


def setting(name):
    told = re.search(rf"^{name}:\w+=(.*)$", (BUILD / "CMakeCache.txt").read_text(), re.M)
    return told[1] if told else ""


def check_files(prefix):
    headers = {file.relative_to(prefix / "include/hushtrace").parts[0] for file in (prefix / "include").rglob("*.hpp")}
    assert headers == {"signal", "spectrum", "measure", "vehicle", "job", "diagnose"}, headers
    config, = prefix.rglob("HushtraceTargets.cmake")
    text = config.read_text() + (config.parent / f"HushtraceTargets-{setting('CMAKE_BUILD_TYPE').lower() or 'relwithdebinfo'}.cmake").read_text()
    for stray in (str(SOURCE), str(BUILD), "-W", "doors", "hushtrace_flags", "nlohmann"):
        assert stray not in text, f"{stray} leaks out of the build"


def main():
    if setting("HUSHTRACE_SANITIZE") not in ("", "OFF"):
        print("a library with a sanitizer inside is not for others")
        sys.exit(77)
    with tempfile.TemporaryDirectory() as name:
        folder, prefix = pathlib.Path(name), pathlib.Path(name) / "moved here"
        run("cmake", "--install", BUILD, "--component", "development", "--prefix", prefix)
        check_files(prefix)
        run("cmake", "-S", SOURCE / "docs/example-library", "-B", folder / "built", "-G", setting("CMAKE_GENERATOR"),
            f"-DCMAKE_PREFIX_PATH={prefix}", f"-DCMAKE_CXX_COMPILER={setting('CMAKE_CXX_COMPILER')}",
            f"-DCMAKE_CXX_FLAGS={setting('CMAKE_CXX_FLAGS')} -Wall -Wextra -Werror", "-DCMAKE_EXPORT_COMPILE_COMMANDS=ON")
        command = json.loads((folder / "built/compile_commands.json").read_text())[0]["command"]
        assert "-Wconversion" not in command and "std=" in command, command   # C++20 comes along, our warnings don't
        run("cmake", "--build", folder / "built")
        run(PROGRAM, "job", "--job", "job", "--new", "--title", "For a library", cwd=folder)
        run(PROGRAM, "capture", "--job", "job", "--simulate", "ground_loop", "--meter", "--engine", "idle", "--volume", "20", "--seconds", "8",
            "--name", "idle", cwd=folder)
        heard = run(folder / "built/noise_of_a_take", "job/takes/idle.flac", cwd=folder)
        told = json.loads(run(PROGRAM, "noise", "--job", "job", "--json", cwd=folder))["results"]["noise_sources"]
        whine = next(source for source in told if source["kind"] == "alternator_whine")
        line = re.search(r"^alternator whine at ([\d.]+) Hz, (-[\d.]+) dBFS, confidence 0\.[5-9]", heard, re.M)
        assert line, heard
        assert abs(float(line[1]) / whine["frequency_hz"] - 1) < 0.001 and abs(float(line[2]) - whine["level_dbfs"]) < 0.5, (heard, whine)
        wrong = subprocess.run([folder / "built/noise_of_a_take", "none.wav"], capture_output=True, text=True, cwd=folder)
        assert wrong.returncode == 1 and "none.wav" in wrong.stderr, wrong
        print(heard.strip())


main()
