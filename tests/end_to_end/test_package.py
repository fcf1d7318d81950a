"""The Debian package: made by CPack from this build, what it says and holds; and what is installed works from any place."""
import gzip
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import urllib.parse

import help_pages

PROGRAM = pathlib.Path(sys.argv[1]).resolve()
BUILD = pathlib.Path(os.environ["HUSHTRACE_BUILD_DIR"]).resolve()
SOURCE = pathlib.Path(os.environ["HUSHTRACE_SOURCE_DIR"]).resolve()
VERSION = re.search(r"project\(hushtrace VERSION ([\d.]+)", (SOURCE / "CMakeLists.txt").read_text())[1]


def run(*words, **more):
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, timeout=200, **more)
    assert done.returncode == 0, (words, done.stdout, done.stderr)
    return done.stdout


def check_version():
    lines = run(PROGRAM, "--version").rstrip("\n").split("\n")
    assert lines[0] == f"hushtrace {VERSION}", lines
    assert re.fullmatch(r"built from (commit [0-9a-f]{7,}(-dirty)?|an unknown commit) by \S+ [\d.]+.* for Linux \S+", lines[1]), lines
    sndfile = run("pkg-config", "--modversion", "sndfile").strip()
    assert lines[2].startswith("with ") and f"libsndfile {sndfile}," in lines[2], lines
    assert all(re.fullmatch(r"\S+ [\d.]+", library) for library in lines[2][5:].split(", ")) and lines[2].count(",") == 9, lines[2]
    commit = re.match(r"built from commit ([0-9a-f]{7,})", lines[1])
    if commit and shutil.which("git"):   # one of this repository: the sources may have gone on since the build
        known = subprocess.run(["git", "-C", SOURCE, "cat-file", "-e", commit[1] + "^{commit}"], capture_output=True, text=True)
        assert known.returncode == 0, (known.stderr, lines)


def check_package(folder):
    run("cpack", "-G", "DEB", "--config", BUILD / "CPackConfig.cmake", "-B", folder / "packed", "-D", "CPACK_COMPONENTS_ALL=program",
        "-D", "CPACK_DEBIAN_COMPRESSION_TYPE=gzip", cwd=folder)
    package, = (folder / "packed").glob("*.deb")
    architecture = run("dpkg", "--print-architecture").strip()
    assert package.name == f"hushtrace_{VERSION}-1_{architecture}.deb", package
    told = dict(re.findall(r"^([A-Z][\w-]+): (.*)$", run("dpkg-deb", "-f", package), re.M))
    assert told["Package"] == "hushtrace" and told["Version"] == f"{VERSION}-1" and told["Section"] == "sound", told
    assert told["Maintainer"].endswith("@hushtrace.invalid>"), told
    # found by dpkg-shlibdeps in the program itself
    for library in ("libc6", "libsndfile1", "libportaudio2", "libqrencode4", "libncursesw6", "libpng16-16", "libssl3"):
        assert re.search(rf"\b{library}\b", told["Depends"]), (library, told["Depends"])
    assert "-dev" not in told["Depends"], told["Depends"]
    tree = folder / "tree"
    run("dpkg-deb", "-x", package, tree)
    files = {str(file.relative_to(tree)) for file in tree.rglob("*") if file.is_file()}
    wanted = {"usr/bin/hushtrace", "usr/share/bash-completion/completions/hushtrace", "usr/share/zsh/vendor-completions/_hushtrace",
              "usr/share/doc/hushtrace/copyright", "usr/share/doc/hushtrace/changelog.Debian.gz", "usr/share/doc/hushtrace/README.md",
              "usr/share/hushtrace/signals/healthy.json", "usr/share/man/man1/hushtrace.1.gz"}
    wanted |= {f"usr/share/man/man1/hushtrace-{name}.1.gz" for name in help_pages.commands(PROGRAM)}
    wanted |= {f"usr/share/doc/hushtrace/{page.relative_to(SOURCE)}" for page in (SOURCE / "docs").glob("*.md")}
    wanted |= {f"usr/share/doc/hushtrace/{picture.relative_to(SOURCE)}" for picture in (SOURCE / "docs/drawings").glob("*")}
    assert wanted <= files, wanted - files
    strays = {file for file in files if not re.match(r"usr/(bin/hushtrace$|share/(man|doc|hushtrace|bash-completion|zsh|lintian)/)", file)}
    assert not strays, strays
    for line in run("dpkg-deb", "-c", package).strip().split("\n"):
        mode, owner = line.split()[:2]
        assert owner == "root/root" and mode == ("drwxr-xr-x" if mode[0] == "d" else "-rwxr-xr-x" if "/bin/" in line else "-rw-r--r--"), line
    with gzip.open(tree / "usr/share/doc/hushtrace/changelog.Debian.gz", "rt") as text:
        assert text.readline().startswith(f"hushtrace ({VERSION}-1) "), "the changelog is another version's"
    copyright_text = (tree / "usr/share/doc/hushtrace/copyright").read_text()
    for library in ("CLI11", "KissFFT", "nlohmann"):
        assert re.search(library, copyright_text.split("follow.")[1], re.I), f"{library}'s licence is missing"
    run("sh", "-c", "cd tree && dpkg-deb -e ../packed/*.deb control && sed 's, .*/control,,' control/md5sums | md5sum --check --quiet -", cwd=folder)
    installed_works(folder, tree / "usr")
    print(f"{package.name}: {package.stat().st_size / 1e6:.2f} MB with gzip, {len(files)} files")


def installed_works(folder, usr):
    """Moved anywhere, the program finds its signals; the pages' links hold."""
    environment = {key: value for key, value in os.environ.items() if key != "HUSHTRACE_SIGNALS"}
    program = usr / "bin/hushtrace"
    assert str(SOURCE).encode() not in program.read_bytes(), "the place of the sources is compiled in"
    run(program, "job", "--job", "job", "--new", "--title", "Moved", cwd=folder, env=environment)
    document = json.loads(run(program, "capture", "--job", "job", "--simulate", "healthy", "--meter", "--engine", "idle", "--volume", "20",
                              "--seconds", "2", "--json", cwd=folder, env=environment))
    assert document["schema"] == "hushtrace.capture/1", document
    shutil.move(usr / "share/hushtrace/signals/healthy.json", folder / "healthy.json")
    gone = subprocess.run([program, "capture", "--job", "job", "--simulate", "healthy", "--meter"], capture_output=True, text=True,
                          cwd=folder, env=environment)
    assert gone.returncode == 2 and "three_faults" in gone.stderr, gone.stderr   # its own signals, not the source's
    top = usr / "share/doc/hushtrace"
    for page in [top / "README.md", *(top / "docs").glob("*.md")]:
        for target in re.findall(r"\]\(([^)\s#]+)[^)]*\)", page.read_text()):
            if not re.match(r"\w+:", target):
                assert (page.parent / urllib.parse.unquote(target)).exists(), f"{page.name}: {target} is not installed"


def main():
    check_version()
    if not shutil.which("dpkg-shlibdeps") or not shutil.which("cpack"):
        print("dpkg-dev is not installed")
        sys.exit(77)
    with tempfile.TemporaryDirectory() as name:
        check_package(pathlib.Path(name))


main()
