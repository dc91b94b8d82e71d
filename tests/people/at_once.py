"""Several at once, each with a connection of its own."""

import threading
from collections.abc import Callable, Sequence

from django.db import OperationalError, connection


def at_once(doings: Sequence[Callable[[], object]]) -> list[object]:
    """Begin all at the same moment, and give what each came to, in their order.

    The tests' SQLite lies in memory, where a lock is refused at once instead of waited for;
    whoever is refused goes again, which is what waiting comes to.
    """
    ready, came = threading.Barrier(len(doings)), [None] * len(doings)

    def do(at: int) -> None:
        ready.wait()
        try:
            while True:
                try:
                    came[at] = doings[at]()
                    return
                except OperationalError as busy:
                    if "locked" not in str(busy):
                        raise
        finally:
            connection.close()

    threads = [threading.Thread(target=do, args=[at]) for at in range(len(doings))]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    return came
