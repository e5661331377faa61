"""Workers end with their owner, and say why they cannot work."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from qualify.clock import RealClock
from qualify.errors import TrafficError
from qualify.site import Site
from qualify.traffic.ring_messages import Job, PortJob, Start
from qualify.traffic.ring_process import WorkerProcess
from tests.sample import TESTBED
from tests.traffic.live_bridge import is_gone, wait_until

SITE = Site(TESTBED, RealClock(), None, None)
PROJECT = Path(__file__).parents[2]
OWNER = """
import os, signal
from qualify.clock import RealClock
from qualify.site import Site
from qualify.traffic.ring_process import WorkerProcess
from tests.sample import TESTBED
site = Site(TESTBED, RealClock(), None, None)
workers = [WorkerProcess(("p1",), site) for _ in range(2)]
print(*(worker.process.pid for worker in workers), flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def worker() -> Iterator[WorkerProcess]:
    started = WorkerProcess(("p1", "p2"), SITE)
    yield started
    started.close()


def job(interface: str, namespace: str | None) -> Job:
    port = PortJob(0, interface, "02:10:00:00:00:01", namespace)
    return Job(0, 7, 1 << 20, naps=False, ports=(port,), senders=(), receivers=())


def test_workers_end_when_their_owner_is_killed() -> None:
    owner = subprocess.run(
        [sys.executable, "-c", OWNER], capture_output=True, text=True, check=False, cwd=PROJECT
    )
    assert owner.returncode == -signal.SIGKILL
    workers = [int(word) for word in owner.stdout.split()]
    assert len(workers) == 2
    wait_until(lambda: all(is_gone(process) for process in workers))


def test_a_namespace_that_is_not_there_is_named_with_the_fix(worker: WorkerProcess) -> None:
    worker.tell(job("p1", "/run/netns/nowhere"))
    with pytest.raises(TrafficError) as refused:
        worker.answer()
    assert str(refused.value) == (
        "the network namespace /run/netns/nowhere cannot be opened: No such file or directory\n"
        "  fix: bring the lab up first: qualify lab up"
    )


def test_an_interface_that_is_not_there_is_named(worker: WorkerProcess) -> None:
    worker.tell(job("nowhere0", None))
    with pytest.raises(TrafficError, match="the tester port nowhere0 cannot be used"):
        worker.answer()


def test_orders_out_of_turn_are_refused(worker: WorkerProcess) -> None:
    worker.tell(Start(0))
    with pytest.raises(TrafficError, match="was told Start instead of Job"):
        worker.answer()


def test_close_ends_the_process_and_can_be_repeated(worker: WorkerProcess) -> None:
    worker.close()
    worker.close()
    assert is_gone(worker.process.pid)
    assert worker.process.returncode == 0


def test_a_worker_that_was_killed_is_reported(worker: WorkerProcess) -> None:
    os.kill(worker.process.pid, signal.SIGKILL)
    worker.process.wait()
    with pytest.raises(TrafficError, match="the worker of port p1, p2 ended"):
        worker.answer()
