"""A small testbed, case and manifest without mistakes, and a folder to write variants into."""

from collections.abc import Callable
from pathlib import Path

import pytest

from qualify.testbed.testbed import Testbed
from qualify.testbed.testbed_file import read_testbed

TESTBED = """\
testbed: quay
kind: virtual
tester:
  traffic: scapy
  ports:
    p1: {attach: d1/e1}
    p2: {attach: d1/e2}
    p3: {attach: d1/e3}
    p4: {attach: d2/e4}
duts:
  d1: {tier: 1, driver: virtual, release: 5.1.0}
  d2: {tier: 2, driver: virtual, release: "7.10"}
links:
  - [d1/e7, d2/e1]
paths:
  l2: {kind: l2, ports: [p1, p2], hosts: 120}
  igp: {kind: igp, protocol: ospf, ports: [p3, p4], routes: 3000}
"""

CASE = """\
case: mixed
paths: [l2, igp]
tiers: 2
order: rolling
trials: 3
stream: {offered_load_pps: 200, frame_octets: 128}
budgets:
  l2: {outage_ms: 50}
  igp: {outage_ms: 2.3}
neighbors: {flaps: 1, graceful_restarts: forbidden}
routes: {lost: 4}
"""

# The sum is that of the payload "abc" (FIPS 180-4, first example of SHA-256).
IMAGE = """\
image: tern6-5.2.0-rc3
maker: Ostrevane
model: Tern 6
train: "5.2"
release: 5.2.0-rc3
driver: simulated
payload: tern6.bin
sha256: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
upgrade:
  outcome: upgraded
  upgrade_s: 40
  interruptions:
    l2: [{after_s: 2.5, outage_ms: 3.000001}, {after_s: 4, outage_ms: 1, every: 2, towards: 1}]
  neighbors:
    egp: {flaps: 2, graceful_restarts: 1, down_s: 0.5, stays_down: true}
  routes_lost: {egp: 6000}
"""

Write = Callable[..., Path]


@pytest.fixture
def testbed_text() -> str:
    return TESTBED


@pytest.fixture
def case_text() -> str:
    return CASE


@pytest.fixture
def image_text() -> str:
    return IMAGE


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    """Write a file into a folder of its own, which is also the current one."""
    monkeypatch.chdir(tmp_path)

    def write_file(text: str | bytes, name: str = "a.yaml") -> Path:
        file = Path(name)
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return file

    return write_file


@pytest.fixture
def testbed(write: Write) -> Testbed:
    return read_testbed(write(TESTBED, "testbed.yaml"))
