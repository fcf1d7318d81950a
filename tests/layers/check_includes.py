"""Checks every #include of src/ and include/ against the table of layers, and that the check itself can fail."""
import pathlib
import re
import sys

USES = {
    "signal": [],
    "spectrum": ["signal"],
    "measure": ["spectrum"],
    "vehicle": ["signal"],
    "simulation": ["signal"],
    "job": ["measure", "vehicle"],
    "audio": ["signal", "simulation"],
    "diagnose": ["measure", "vehicle", "job"],
    "report": ["diagnose", "job"],
    "live": ["audio", "diagnose", "job"],
}
PARTS = {"diagnose": ["takes", "sources", "entry", "gain", "chain", "power", "floor"]}   # folders of a layer; each knows those before it
LIBRARIES = {
    "sndfile.h": {"signal"},
    "kissfft": {"spectrum"},
    "portaudio.h": {"audio"},
    "nlohmann": {"simulation", "job", "report", "live", "cli"},
    "CLI": {"cli"},
    "httplib.h": {"live"},
    "qrencode.h": {"live"},
    "png.h": {"report"},
    "openssl": {"report"},
    "ncurses.h": {"live"},
    "curses.h": {"live"},
    "term.h": {"live"},
}
INCLUDE = re.compile(r'^\s*#\s*include\s*[<"]([^>"]+)[>"]', re.M)


def reachable(layer):
    found = {layer}
    for lower in USES[layer]:
        found |= reachable(lower)
    return found


def fault(layer, included):
    """What is wrong with `layer` including `included`, or None."""
    parts = included.split("/")
    if parts[0] == "hushtrace" and layer != "cli" and parts[1] not in reachable(layer):
        return f"{layer} may not know {parts[1]}"
    for library, allowed in LIBRARIES.items():
        if parts[0] == library and layer not in allowed:
            return f"{layer} may not know {library}"
    return None


def fault_of_part(place, included):
    """What is wrong with a file of a layer's part including a file of another part, or None. `place`: its path below src/."""
    parts = PARTS.get(place.parts[0], [])
    own = place.parts[1]
    if own not in parts or not included.startswith("../"):
        return None
    other = included.split("/")[1]
    if other not in parts[:parts.index(own)]:
        return f"{own} may not know {other}"
    return None


# With a destructor it is cleared away after mingw-w64 has given up its memory (https://github.com/msys2/MINGW-packages/issues/2519).
OF_A_THREAD = re.compile(r"\bthread_local\b(?![^;=]*\*)[^;]*")


def main(top):
    assert OF_A_THREAD.search("thread_local std::vector<int> a;") and not OF_A_THREAD.search("thread_local int* a = nullptr;"), "the check is blind"
    assert fault("measure", "hushtrace/job/job.hpp"), "the check is blind"
    assert fault("diagnose", "hushtrace/simulation/vehicle.hpp"), "the check is blind"
    assert not fault("report", "hushtrace/measure/level.hpp"), "the check is too strict"
    assert fault_of_part(pathlib.Path("diagnose/takes/a.cpp"), "../entry/b.hpp"), "the check is blind"
    assert fault_of_part(pathlib.Path("diagnose/takes/a.cpp"), "../noise_analysis.hpp"), "the check is blind"
    assert not fault_of_part(pathlib.Path("diagnose/entry/a.cpp"), "../takes/b.hpp"), "the check is too strict"
    seen, faults = 0, []
    for root in ("src", "include/hushtrace"):
        for path in sorted((top / root).rglob("*.[ch]pp")):
            layer = path.relative_to(top / root).parts[0]
            text = path.read_text()
            faults += [f"{path.relative_to(top)}: {one}: a pointer alone may be a thread's own" for one in OF_A_THREAD.findall(text)]
            for included in INCLUDE.findall(text):
                seen += 1
                wrong = fault(layer, included) or fault_of_part(path.relative_to(top / root), included)
                if wrong:
                    faults.append(f"{path.relative_to(top)}: {wrong} ({included})")
    for layer, parts in PARTS.items():
        there = {folder.name for folder in (top / "src" / layer).iterdir() if folder.is_dir()}
        faults += [f"src/{layer}/{name}: the parts of {layer} are {', '.join(parts)}" for name in sorted(there ^ set(parts))]
    print("\n".join(faults) or f"{seen} includes keep to the table")
    return 1 if faults or seen == 0 else 0


sys.exit(main(pathlib.Path(sys.argv[1])))
