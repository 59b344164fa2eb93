"""The process of the solver: questions come in, answers go out, until the pipe is closed."""

import os
import pickle
import signal
import sys

from raysim.studies.lamps.programme import solved


def answer_questions() -> None:
    """Answer what is asked on the standard input.

    Ctrl-C goes to all processes of a terminal; the one that asks ends this one.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    pipe = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, sys.stdout.fileno())  # what the solver itself prints is no answer
    while True:
        try:
            question = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        pickle.dump(solved(question), pipe)
        pipe.flush()


if __name__ == "__main__":
    answer_questions()
