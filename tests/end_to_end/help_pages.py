"""What `--help` tells of each command, read back."""
import re
import subprocess


def helped(program, *words):
    return subprocess.run([program, *words, "--help"], capture_output=True, text=True, check=True).stdout


def commands(program):
    return re.findall(r"^  (\w+) {2,}\S", helped(program).split("Subcommands:")[1], re.M)


def options(program, *command):
    """{"--engine": ("TEXT", "engine: off, ...")}; a switch has an empty type."""
    found = {}
    for line in re.sub(r"\n {20,}", "  ", helped(program, *command)).split("\n"):   # a long name has its help below it
        told = re.match(r"  (?:-h,)?(--[a-z0-9-]+)(?: (\S+?)(?:=\S+)?)?(?: REQUIRED)?(?: \.\.\.)? +(\S.*)$", line)
        if told:
            found[told[1]] = (told[2] or "", told[3])
    assert found, command
    return found


def listed_words(help_text):
    """The words of "engine: off, accessory, key_on", where the help ends with such a list."""
    told = re.search(r": ((?:[a-z_0-9]+, )+[a-z_0-9]+)$", help_text)
    return told[1].split(", ") if told else []
