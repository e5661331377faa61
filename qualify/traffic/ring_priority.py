"""Making a worker process as undisturbed as this machine allows."""

import ctypes
import gc
import os
from contextlib import suppress

# Only pages that are used are locked, now and later: ring and slots, not every library.
_LOCK_CURRENT, _LOCK_FUTURE, _LOCK_ON_FAULT = 1, 2, 4
_SET_TIMER_SLACK = 29
_libc = ctypes.CDLL(None, use_errno=True)


def settle(processor: int) -> bool:
    """Stay on one processor, never wait for memory, wake up on time.

    What this process is not allowed to do is left out: it works without, and stalls are seen in
    its results.

    Returns:
        Whether it runs before all ordinary processes of this processor.
    """
    gc.collect()
    gc.freeze()
    gc.disable()
    with suppress(OSError):
        os.sched_setaffinity(0, {processor})
    _libc.mlockall(_LOCK_CURRENT | _LOCK_FUTURE | _LOCK_ON_FAULT)
    _libc.prctl(_SET_TIMER_SLACK, 1, 0, 0, 0)
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(1))
    except PermissionError:
        return False
    return True
