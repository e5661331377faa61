"""Real frames through a real bridge at tens of thousands a second, against the kernel's counts."""

import os
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from qualify.errors import TrafficError
from qualify.frames import Layout
from qualify.measure.capture import Capture, DoubtKind
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.testbed.testbed import Headers
from qualify.traffic.ring_backend import RingTraffic
from qualify.traffic.ring_process import WorkerProcess
from tests.traffic.live_bridge import Bridge, bridge_lab, is_gone, stream, wait_until

pytestmark = pytest.mark.live

FORTH = stream(0, "p1", "p2", rate_pps=20_000)
BACK = stream(1, "p2", "p1", rate_pps=5_000)
RUN_ID = 0xABCD0123
LIMITLESS = Limit(sent_pps=None, received_pps=None)
MS = 1_000_000
BACKLOG = Path("/proc/sys/net/core/netdev_max_backlog")


@pytest.fixture(scope="module")
def bridge() -> Iterator[Bridge]:
    with bridge_lab() as built:
        yield built


@contextmanager
def traffic(
    bridge: Bridge,
    *streams: Stream,
    inside: bool = True,
    run_id: int = RUN_ID,
    ring_octets: int = 1 << 23,
) -> Iterator[RingTraffic]:
    backend = RingTraffic(bridge.site(inside=inside), limit=LIMITLESS, ring_octets=ring_octets)
    try:
        backend.open(streams, bridge.ports, run_id=run_id)
        backend.start()
        yield backend
    finally:
        backend.close()


def more_frames(backend: RingTraffic, frames: int, *, at: int = 0) -> None:
    """Wait until that many more frames of a stream have left."""
    before = backend.counts()[at].sent or 0
    wait_until(lambda: (backend.counts()[at].sent or 0) >= before + frames)


def finish(backend: RingTraffic) -> tuple[Capture, ...]:
    backend.stop()
    return backend.collect()


def lost(capture: Capture) -> int:
    return capture.transmission.sent_frames - capture.arrivals.received


def kinds(capture: Capture) -> set[DoubtKind]:
    """Everything that is doubted but for stalls: this machine has other things to do."""
    return {doubt.kind for doubt in capture.doubts} - {DoubtKind.STALL}


def worker_of(backend: RingTraffic, port: str) -> WorkerProcess:
    (worker,) = [each for each in backend._workers if port in each.ports]
    return worker


def stand_still(worker: WorkerProcess, seconds: float) -> None:
    """Let a worker stand still for a while; it must have been started outside of the lab."""
    os.kill(worker.process.pid, signal.SIGSTOP)
    time.sleep(seconds)
    os.kill(worker.process.pid, signal.SIGCONT)


def test_a_bridge_that_does_nothing_wrong_loses_nothing(bridge: Bridge) -> None:
    before = bridge.lab.frame_counts("d1")
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 20_000)
        captures = finish(backend)
    after = bridge.lab.frame_counts("d1")

    for capture in captures:
        assert lost(capture) == capture.arrivals.duplicate == capture.arrivals.reordered == 0
        assert capture.tester_dropped == 0
        assert kinds(capture) == set()
        assert (capture.arrivals.max_delay_ns or 0) > 0
    entered = [new.received - old.received for new, old in zip(after, before, strict=True)]
    assert entered[:2] == [capture.transmission.sent_frames for capture in captures]


@pytest.mark.parametrize(
    "layout",
    [
        Layout(Headers.ETHERNET, ()),
        Layout(Headers.IPV6, ()),
        Layout(Headers.IPV4, (7,)),
        Layout(Headers.IPV6, (7, 8)),
    ],
)
def test_frames_of_every_layout_and_a_mix_of_sizes_arrive(bridge: Bridge, layout: Layout) -> None:
    mixed = stream(3, "p1", "p2", rate_pps=5_000, frame_octets=128, layout=layout)
    with traffic(bridge, mix(mixed, 128, 1_518 - 8, 256), FORTH) as backend:
        more_frames(backend, 1_000)
        captures = finish(backend)
    for capture in captures:
        assert capture.transmission.sent_frames >= 1_000
        assert lost(capture) == 0
        assert kinds(capture) == set()


def mix(each: Stream, *sizes: int) -> Stream:
    return replace(each, mix=sizes)


def test_frames_dropped_doubled_or_led_astray_are_counted_to_the_frame(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 1_000)
        with bridge.rule("forward", "drop") as dropped:
            more_frames(backend, 1_000)
        more_frames(backend, 1_000)
        with bridge.rule("ingress device e1", "dup to e2") as doubled:
            more_frames(backend, 1_000)
        more_frames(backend, 1_000)
        with bridge.rule("ingress device e1", "fwd to e3") as led_astray:
            more_frames(backend, 1_000)
        more_frames(backend, 3_000)
        forth, back = finish(backend)

    assert forth.arrivals.gaps[:, 1].tolist() == [dropped(), led_astray()]
    assert min(dropped(), doubled(), led_astray()) >= 1_000
    assert lost(forth) == dropped() + led_astray()
    assert forth.arrivals.duplicate == doubled()
    assert forth.tester_dropped == back.tester_dropped == 0
    assert kinds(forth) == kinds(back) == set()
    assert lost(back) == 0


def test_what_arrives_at_another_port_does_not_count(bridge: Bridge) -> None:
    """A stream's frames at a port where another stream ends (RFC 2285 §3.8.3, O-L2-02)."""
    other = stream(2, "p4", "p3", rate_pps=1_000)
    with traffic(bridge, FORTH, other) as backend:
        more_frames(backend, 1_000)
        with bridge.rule("ingress device e1", "fwd to e3") as led_astray:
            more_frames(backend, 1_000)
        more_frames(backend, 1_000)
        backend.stop()
        result = backend.collect_result()
    misdelivered = sum(port.misdelivered for port in result.ports.values())
    assert misdelivered >= led_astray() >= 1_000
    assert result.sent[0].sent - result.arrivals[0].received == led_astray()


def test_a_device_port_that_goes_down_costs_frames_and_the_tester_is_not_to_blame(
    bridge: Bridge,
) -> None:
    before = bridge.lab.frame_counts("d1")
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 1_000)
        bridge.device("ip link set e1 down")
        more_frames(backend, 5_000)
        bridge.device("ip link set e1 up")
        more_frames(backend, 2_000)
        forth, back = finish(backend)
    after = bridge.lab.frame_counts("d1")

    assert forth.arrivals.received == after[1].sent - before[1].sent
    assert lost(forth) >= 5_000
    assert lost(back) >= 1_000
    assert forth.tester_dropped == back.tester_dropped == 0
    assert kinds(forth) == kinds(back) == set()


def test_a_reader_that_stands_still_for_a_second_is_seen_as_ring_drops(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, inside=False, ring_octets=1 << 19) as backend:
        more_frames(backend, 1_000)
        stand_still(worker_of(backend, "p2"), 1.0)
        more_frames(backend, 1_000)
        (forth,) = finish(backend)

    assert lost(forth) > 5_000
    assert forth.tester_dropped == lost(forth)
    assert kinds(forth) == {DoubtKind.RING_DROPS}
    (doubt,) = [each for each in forth.doubts if each.kind is DoubtKind.RING_DROPS]
    assert doubt.frames == lost(forth)


def test_a_sender_that_stands_still_for_twenty_milliseconds_is_a_stall_and_no_loss(
    bridge: Bridge,
) -> None:
    with traffic(bridge, FORTH, inside=False) as backend:
        more_frames(backend, 1_000)
        stand_still(worker_of(backend, "p1"), 0.02)
        more_frames(backend, 1_000)
        (forth,) = finish(backend)

    assert lost(forth) == 0
    assert kinds(forth) == set()
    stalls = [each for each in forth.doubts if each.kind is DoubtKind.STALL]
    assert len(stalls) == 1
    assert (stalls[0].longest_ns or 0) >= 20 * MS
    assert (forth.transmission.longest_pause_ns or 0) >= 20 * MS


def test_an_orphan_sender_of_an_earlier_run_is_doubted_and_never_counted(bridge: Bridge) -> None:
    with (
        traffic(bridge, FORTH, run_id=RUN_ID + 1) as orphan,
        traffic(bridge, BACK, stream(0, "p1", "p2", rate_pps=1_000)) as backend,
    ):
        more_frames(orphan, 2_000)
        more_frames(backend, 1_000)
        back, forth = finish(backend)

    assert lost(forth) == lost(back) == 0
    assert kinds(back) == set()
    assert kinds(forth) == {DoubtKind.FOREIGN_FRAMES}


def test_a_tester_port_that_is_switched_off_is_the_testers_fault_in_both_directions(
    bridge: Bridge,
) -> None:
    port = bridge.lab.namespace("p1")
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 1_000)
        port.run("ip", "link", "set", "p1", "down")
        more_frames(backend, 1_000, at=1)
        port.run("ip", "link", "set", "p1", "up")
        more_frames(backend, 2_000)
        forth, back = finish(backend)

    assert kinds(forth) >= {DoubtKind.REFUSED_SENDS, DoubtKind.LINK_DOWN}
    assert sum(doubt.frames or 0 for doubt in forth.doubts) >= 1_000
    # The bridge takes a moment to notice that the port is back.
    assert lost(forth) < 1_000
    assert lost(back) >= 500
    assert DoubtKind.LINK_DOWN in kinds(back)


def test_receive_steering_that_drops_in_the_backlog_is_told_as_such(bridge: Bridge) -> None:
    """One frame waits for another processor at most: what comes meanwhile is dropped unseen."""
    port = bridge.lab.namespace("p2")
    steering = "/sys/class/net/p2/queues/rx-0/rps_cpus"
    port.run("sh", "-ec", f"echo 2 > {steering}")
    before = BACKLOG.read_text()
    with traffic(bridge, replace(FORTH, rate_pps=50_000)) as backend:
        more_frames(backend, 1_000)
        BACKLOG.write_text("0")
        try:
            more_frames(backend, 10_000)
        finally:
            BACKLOG.write_text(before)
        more_frames(backend, 1_000)
        (forth,) = finish(backend)
    port.run("sh", "-ec", f"echo 0 > {steering}")

    assert lost(forth) > 0
    assert (forth.tester_dropped or 0) >= lost(forth)
    assert kinds(forth) == {DoubtKind.BACKLOG_DROPS}


def test_of_two_hundred_thousand_frames_a_second_none_is_lost_unseen(bridge: Bridge) -> None:
    """The machine may not reach the rate beside other work: what leaves arrives, or is told."""
    with traffic(bridge, replace(FORTH, rate_pps=200_000), replace(BACK, rate_pps=100)) as backend:
        more_frames(backend, 50_000)
        backend.stop()
        result = backend.collect_result()
    sent, arrived = result.sent[0].sent, result.arrivals[0].received
    drops = [result.ports[port].ring_drops for port in range(len(result.ports))]
    assert sent - arrived <= sum(each or 0 for each in drops)
    assert max(worker.resident_octets for worker in result.workers) < 200_000_000


def test_stop_takes_effect_within_a_tenth_of_a_second(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 1_000)
        asked_ns = time.time_ns()
        backend.stop()
        answered_ns = time.time_ns()
        counts = backend.counts()
        captures = backend.collect()

    assert answered_ns - asked_ns < 100 * MS
    assert max(capture.transmission.ended_ns or 0 for capture in captures) <= answered_ns
    assert [count.sent for count in counts] == [
        capture.transmission.sent_frames for capture in captures
    ]


def test_ctrl_c_does_not_end_the_workers_and_close_does(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, inside=False) as backend:
        processes = [worker.process.pid for worker in backend._workers]
        for process in processes:
            os.kill(process, signal.SIGINT)
        more_frames(backend, 1_000)
        assert lost(finish(backend)[0]) == 0

    assert all(is_gone(process) for process in processes)


def test_a_worker_that_dies_is_an_error_and_not_a_loss(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, inside=False) as backend:
        more_frames(backend, 100)
        worker = worker_of(backend, "p2")
        os.kill(worker.process.pid, signal.SIGKILL)
        worker.process.wait()
        wait_until(lambda: worker._end is not None)
        with pytest.raises(TrafficError, match="the worker of port p2 ended"):
            backend.counts()


def test_memory_of_a_worker_stays_small_and_flat(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, BACK, inside=False) as backend:
        more_frames(backend, 5_000)
        before = [resident_octets(worker) for worker in backend._workers]
        more_frames(backend, 20_000)
        after = [resident_octets(worker) for worker in backend._workers]
    assert max(after) < 200_000_000
    assert all(new - old < 2_000_000 for old, new in zip(before, after, strict=True))


def resident_octets(worker: WorkerProcess) -> int:
    pages = int(Path(f"/proc/{worker.process.pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


def test_no_frame_leaves_on_an_interface_that_is_not_a_tester_port(bridge: Bridge) -> None:
    port = bridge.lab.namespace("p1")
    port.run("sh", "-ec", "ip link add px type veth peer name py; ip link set px up")
    port.run("ip", "link", "set", "py", "up")
    try:
        with traffic(bridge, FORTH) as backend:
            more_frames(backend, 1_000)
            finish(backend)
        counters = port.run("cat", "/proc/net/dev")
    finally:
        port.run("ip", "link", "delete", "px")
    sent = {line.split(":")[0].strip(): line.split()[10] for line in counters.splitlines()[2:]}
    assert sent["px"] == sent["py"] == sent["lo"] == "0"
    assert int(sent["p1"]) >= 1_000


def test_an_interface_with_another_mac_address_is_refused(bridge: Bridge) -> None:
    ports = bridge.ports | {"p1": replace(bridge.ports["p1"], mac="02:ff:00:00:00:01")}
    backend = RingTraffic(bridge.site(inside=True))
    with pytest.raises(
        TrafficError,
        match="p1 has the MAC address 02:10:00:00:00:01, the tester port has 02:ff:00:00:00:01",
    ):
        backend.open([FORTH], ports, run_id=1)


def test_a_frame_larger_than_the_port_carries_is_refused_when_opened(bridge: Bridge) -> None:
    backend = RingTraffic(bridge.site(inside=True))
    port = bridge.lab.namespace("p1")
    port.run("ip", "link", "set", "p1", "mtu", "1500")
    too_large = stream(0, "p1", "p2", frame_octets=1519)
    with pytest.raises(TrafficError, match="port p1 carries IP packets of at most 1500 octets"):
        backend.open([too_large], bridge.ports, run_id=1)
    assert backend._workers == []
    port.run("ip", "link", "set", "p1", "mtu", "9216")
