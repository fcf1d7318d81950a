"""A command on a terminal of its own, as a person has it who types."""
import os
import pty
import select
import time
from typing import NamedTuple


class Typed(NamedTuple):
    code: int        # exit code; negative: a signal
    shown: str       # all of it
    unread: str      # what came since the last prompt that was answered
    waiting: list    # answers whose prompt never came


def on_terminal(words, answers, seconds=30):
    """Types each answer (a prompt, and what to type) when its prompt has come."""
    child, terminal = pty.fork()
    if child == 0:
        os.execv(str(words[0]), [*map(str, words)])
    shown, unread, deadline, waiting = "", "", time.monotonic() + seconds, list(answers)
    while time.monotonic() < deadline:
        if not select.select([terminal], [], [], 0.1)[0]:
            continue
        try:
            piece = os.read(terminal, 4096)
        except OSError:   # the terminal closes with its last user
            break
        if not piece:
            break
        shown += piece.decode(errors="replace")
        unread += piece.decode(errors="replace")
        while waiting and waiting[0][0] in unread:
            prompt, answer = waiting.pop(0)
            unread = unread.split(prompt, 1)[1]
            os.write(terminal, answer.encode())
    os.close(terminal)
    return Typed(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), shown, unread, waiting)
