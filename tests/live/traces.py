"""What a lab could leave on the machine, looked up in /proc and in the folders for such things."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Traces:
    """Everything that is there now."""

    namespaces: frozenset[str]
    mounts: frozenset[str]
    daemons: frozenset[str]
    locks: frozenset[str]

    def since(self, before: "Traces") -> "Traces":
        """Return what is there now and was not before; empty: nothing was left."""
        return Traces(
            self.namespaces - before.namespaces,
            self.mounts - before.mounts,
            self.daemons - before.daemons,
            self.locks - before.locks,
        )


NOTHING = Traces(frozenset(), frozenset(), frozenset(), frozenset())


DAEMONS = ("zebra", "ospfd", "bgpd", "bird", "watchfrr")


def look(runtime: Path) -> Traces:
    """Look at all processes, at our mounts, and at the lock files."""
    return Traces(
        namespaces=frozenset(_namespaces()),
        mounts=frozenset(Path("/proc/self/mountinfo").read_text().splitlines()),
        daemons=frozenset(
            f"{_name(each)} {each.name}" for each in _processes() if _name(each) in DAEMONS
        ),
        locks=frozenset(str(file) for file in runtime.rglob("*") if file.is_file()),
    )


def daemons_in(namespace: str) -> list[str]:
    """Name the routing daemons whose network namespace is this one."""
    return [
        _name(process)
        for process in _processes()
        if _name(process) in DAEMONS and _namespace(process, "net") == namespace
    ]


def own_namespace() -> str:
    """Return the network namespace of this process: the machine's own."""
    return str(Path("/proc/self/ns/net").readlink())


def _processes() -> list[Path]:
    return [path for path in Path("/proc").iterdir() if path.name.isdigit()]


def _name(process: Path) -> str:
    try:
        return (process / "comm").read_text().strip()
    except OSError:  # it has ended meanwhile
        return ""


def _namespace(process: Path, kind: str) -> str:
    try:
        return str((process / "ns" / kind).readlink())
    except OSError:  # it has ended meanwhile
        return ""


def _namespaces() -> set[str]:
    return {
        found
        for process in _processes()
        for kind in ("net", "mnt", "pid")
        if (found := _namespace(process, kind))
    }
