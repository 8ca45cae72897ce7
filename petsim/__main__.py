"""`python -m petsim` is the `petsim` command."""

import atexit
import gc
import os
import signal

GARBAGE = 50_000
"""Objects, of those that may hold each other, after which Python looks for garbage among the new
ones. It looks after 700 by default, a tenth of the time of most commands, and finds next to
nothing."""


def main() -> None:
    """Run one command, which ends at Ctrl-C also while it begins and while it ends.

    Then there is nothing to keep or to tell, and no other code that could lose it.
    """
    gc.set_threshold(GARBAGE)
    # the last thing of all, as what comes then would kill it though it is done
    atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, lambda *_: os._exit(128 + signal.SIGINT))
    from petsim.cli import main as command

    command()


if __name__ == "__main__":
    main()
