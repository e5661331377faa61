"""Where a bench stands: its clock, and the lab or the simulation that holds its devices."""

from dataclasses import dataclass

from qualify.clock import Clock
from qualify.errors import BenchError
from qualify.lab.lab import Lab
from qualify.simulation.simulation import Simulation
from qualify.testbed.testbed import Testbed


@dataclass(frozen=True, slots=True)
class Site:
    """What drivers, peers and backends are given when they are opened."""

    testbed: Testbed
    clock: Clock
    lab: Lab | None
    simulation: Simulation | None

    def in_lab(self, wanted_by: str) -> Lab:
        """Return the virtual lab.

        Raises:
            BenchError: the testbed is of another kind.
        """
        if self.lab is None:
            raise BenchError(
                f"{wanted_by} works in the virtual lab only; this testbed is {self.testbed.kind}",
                fix="set kind: virtual, or choose a driver and a backend for this kind",
                where=str(self.testbed.file),
            )
        return self.lab

    def in_simulation(self, wanted_by: str) -> Simulation:
        """Return the simulation.

        Raises:
            BenchError: the testbed is of another kind.
        """
        if self.simulation is None:
            raise BenchError(
                f"{wanted_by} works in a simulation only; this testbed is {self.testbed.kind}",
                fix="set kind: simulated, or choose a driver and a backend for this kind",
                where=str(self.testbed.file),
            )
        return self.simulation
