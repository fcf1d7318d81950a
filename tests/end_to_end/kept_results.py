"""Results that were kept: a document as lines of text, one for each value, in which a change is seen.

A value is the number itself, to seven digits, or a sentence's beginning. A long list (a spectrum, a curve) is told by how many it has and, for each number in
it, by the mean weighted by place. What names a place, a time or the program is left out.
"""
import collections
import math
import pathlib
import re
import statistics

FOLDER = pathlib.Path(__file__).resolve().parent / "kept_results"
LONG = 6
LEFT_OUT = re.compile(r"\.(tool|at|made|version|job|command|page|data|pictures|heard|file_sha256|sha256)(\b|$)")
RELATIVE, ABSOLUTE = 2e-5, 1e-9


NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def plain(text):
    return " ".join(text.split())[:160]


def wording(text):
    """A sentence without its figures."""
    return NUMBER.sub("#", plain(text))


def step_of(number):
    """What its last digit counts."""
    digits, _, power = number.partition("e")
    return 10.0 ** (int(power or 0) - len(digits.partition(".")[2]))


def leaves(value, path=""):
    if isinstance(value, dict):
        for key in sorted(value):
            yield from leaves(value[key], f"{path}.{key}")
    elif isinstance(value, list) and len(value) > LONG:
        yield f"{path}[]", len(value)
        found = collections.defaultdict(list)
        for one in value:
            for inner, leaf in leaves(one):
                found[inner].append(leaf)
        for inner, several in found.items():
            numbers = [float(n) for n in several if isinstance(n, (int, float)) and math.isfinite(n)]
            if numbers:
                yield f"{path}[]{inner}", statistics.fmean((k + 1) / len(numbers) * n for k, n in enumerate(numbers))
            if words := [wording(w) for w in several if isinstance(w, str)]:
                yield f"{path}[]{inner} words", "; ".join(f"{count} {word}" for word, count in sorted(collections.Counter(words).items()))
    elif isinstance(value, list):
        yield f"{path}[]", len(value)
        for k, one in enumerate(value):
            yield from leaves(one, f"{path}[{k}]")
    elif isinstance(value, str):
        yield path, plain(value)
    else:
        yield path, value


def lines_of(document):
    kept = {path: value for path, value in leaves(document) if not LEFT_OUT.search(path)}
    return {path: f"{value:.7g}" if isinstance(value, float) else str(value).replace("\n", " ") for path, value in sorted(kept.items())}


def same(kept, now):
    """Numbers to RELATIVE; figures in a sentence to a step of their last digit, as what is printed turns on less than a number may move."""
    if kept == now:
        return True
    try:
        a, b = float(kept), float(now)
        return abs(a - b) <= ABSOLUTE + RELATIVE * max(abs(a), abs(b))
    except ValueError:
        figures = list(zip(NUMBER.findall(kept), NUMBER.findall(now)))
        return NUMBER.sub("#", kept) == NUMBER.sub("#", now) and all(abs(float(a) - float(b)) <= 1.001 * step_of(a) for a, b in figures)


def place_of(name):
    return FOLDER / f"{name}.txt"


def renew(name, document):
    place_of(name).write_text("".join(f"{path}\t{value}\n" for path, value in lines_of(document).items()))


def differences(name, document):
    kept = dict(line.split("\t", 1) for line in place_of(name).read_text().splitlines())
    now = lines_of(document)
    return [f"{path}: {kept.get(path, 'nothing')} was kept, {now.get(path, 'nothing')} is said" for path in sorted(kept.keys() | now.keys())
            if path not in kept or path not in now or not same(kept[path], now[path])]


def held(check, name, document):
    """Nothing of it has moved from what was kept."""
    found = differences(name, document)
    moved = "".join("\n        " + one for one in found[:12])
    check.that(not found, f"{name}: {len(found)} of {len(lines_of(document))} values moved{moved}")
