"""The process of one run: waits, warm, for its order on standard input; then it is its own master.

    python -m benchapp.host.process

One line of JSON comes in, the order; one goes out: the run's card, or why there is none. Where standard input ends
before an order has come, so does this.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from typing import Any

ORDER_LARGEST = 1 << 20
_OWNER_WITHIN_S = 10.0  # who has ordered a run comes to see it, or is gone


def main() -> int:
    """Wait, then run."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for name in ("SIGINT", "SIGHUP"):  # they are meant for the window's terminal; the window says what it wants
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    import scipy.special  # noqa: F401  a third of a second, now and not while a current flows

    from benchapp.host.launch import ORDER_CODEC, WARM
    from benchapp.host.order import session_for
    from benchapp.host.serve import served

    _say({"warm": WARM})
    line = sys.stdin.buffer.readline(ORDER_LARGEST)
    if not line.strip():
        return 0
    from benchapp.errors import BenchError
    from benchapp.host.remote import HostLost
    from benchapp.run.session import prepare_process

    gone = threading.Event()
    owner_came = threading.Event()

    def owned(now: bool) -> None:
        if now:
            owner_came.set()
            gone.clear()  # another window has taken over
        else:
            gone.set()

    try:
        order = ORDER_CODEC.from_plain(json.loads(line))
        with session_for(order) as session:
            prepare_process()
            session.start()
            try:
                signal.signal(signal.SIGTERM, lambda *_: session.control.stop("the run's process was told to end"))
                with served(session, "", owned) as server:
                    if server is None:
                        raise HostLost("the window cannot reach the run: no local connection can be opened here")
                    _say({"card": ORDER_CODEC.to_plain(server.card())})
                    if not owner_came.wait(_OWNER_WITHIN_S):
                        session.control.stop("nobody came to see the run that was ordered")
                        gone.set()
                    while not session.wait(0.2):
                        pass
                    gone.wait()  # the simulated bench, and the last of the run, are there as long as its owner is
            finally:
                session.control.stop("the run's process has ended")
                session.wait()
    except BenchError as error:
        _say({"fault": str(error)})
        return error.exit_status
    return 0


def _say(message: dict[str, Any]) -> None:
    try:
        sys.stdout.write(json.dumps(message) + "\n")
        sys.stdout.flush()
    except OSError:
        time.sleep(0)  # who would have read it is gone


if __name__ == "__main__":
    sys.exit(main())
