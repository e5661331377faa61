"""``qualify lab``, as a person uses it: fetch, up, a look inside, down."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from subprocess import Popen

import pytest

pytestmark = pytest.mark.live

PROJECT = Path(__file__).parents[2]
QUALIFY = [sys.executable, "-c", "from qualify.cli.main import main; raise SystemExit(main())"]


@dataclass(frozen=True)
class Session:
    """A lab that another process has up, and the environment in which it is found."""

    owner: "Popen[str]"
    environment: dict[str, str]
    said: list[str]

    def qualify(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """Run the command beside the lab."""
        return subprocess.run(
            [*QUALIFY, *words],
            env=self.environment,
            cwd=PROJECT,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )


@contextmanager
def lab_up(runtime: Path, *, until: str) -> Iterator[Session]:
    """Bring the lab of the virtual testbed up in another process, until it says so much."""
    environment = {**os.environ, "QUALIFY_RUNTIME_DIR": str(runtime / "labs")}
    command = [*QUALIFY, "lab", "up", "testbeds/virtual-one-tier.yaml"]
    with Popen(command, env=environment, cwd=PROJECT, stdout=subprocess.PIPE, text=True) as owner:
        assert owner.stdout is not None
        said = []
        for line in owner.stdout:
            said.append(line.rstrip("\n"))
            if line.startswith(until):
                break
        try:
            yield Session(owner, environment, said)
        finally:
            owner.kill()


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    """Bring a lab up until it holds."""
    with lab_up(tmp_path, until="end it:") as session:
        yield session


def test_a_lab_is_brought_up_looked_into_and_ended(session: Session, tmp_path: Path) -> None:
    assert "d1: Ostrevane Tern 6, release 5.1.0" in session.said
    assert "p3: ospf neighbor up, 100 of 100 routes" in session.said
    assert "p6: bgp neighbor up, 500 of 500 routes" in session.said

    status = session.qualify("lab", "status").stdout
    assert status.startswith(f"quay-one-tier: process {session.owner.pid} since ")
    assert status.endswith("  namespaces d1 p1 p2 p3 p4 p5 p6\n")

    routes = session.qualify("lab", "enter", "d1", "--", "ip", "route", "show", "proto", "ospf")
    assert len(routes.stdout.splitlines()) == 200
    summary = session.qualify("lab", "enter", "d1", "--", "vtysh", "-c", "show bgp summary")
    assert "local AS number 65000" in summary.stdout
    bird = session.qualify("lab", "enter", "p5", "--", "birdc", "show", "protocols", "dut")
    assert "Established" in bird.stdout
    sniffed = session.qualify(
        "lab", "enter", "d1", "--", "tcpdump", "-c1", "-ni", "e3", "ip proto 89"
    )
    assert "OSPFv2" in sniffed.stdout

    fetched = session.qualify("lab", "fetch").stdout
    assert fetched.startswith("nothing to fetch: every program is there, in ")

    again = session.qualify("lab", "up", "testbeds/virtual-one-tier.yaml")
    assert again.returncode == 2
    assert f"is in use by process {session.owner.pid} since" in again.stderr

    down = session.qualify("lab", "down")
    assert (down.returncode, down.stdout) == (0, "the lab of testbed quay-one-tier is gone\n")
    assert session.owner.wait(timeout=20) == 0
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_ends_a_lab_that_is_not_up_yet(tmp_path: Path) -> None:
    with lab_up(tmp_path, until="waiting for neighbors") as session:
        session.owner.send_signal(signal.SIGINT)

        assert session.owner.wait(timeout=20) == 0
    assert list(tmp_path.iterdir()) == []
