"""Where the programs of the virtual lab are: the private folder first, then the machine's own."""

import os
from dataclasses import dataclass
from pathlib import Path

from qualify.errors import LabError

PACKAGES = {
    "zebra": "frr",
    "ospfd": "frr",
    "bgpd": "frr",
    "vtysh": "frr",
    "bird": "bird2",
    "birdc": "bird2",
    "nft": "nftables",
    "ip": "iproute2",
    "tcpdump": "tcpdump",
}
"""Every program that is fetched, and the package that holds it."""

FOR_PEOPLE = ("tcpdump",)
"""Programs that the lab itself can do without."""

SYSTEM_FOLDERS = ("/usr/lib/frr", "/usr/sbin", "/usr/bin", "/sbin", "/bin")


@dataclass(frozen=True, slots=True)
class Programs:
    """The programs of the lab; ``folder`` is the private one, filled by ``qualify lab fetch``.

    The private folder holds the unpacked packages in ``root`` and, in ``bin``, one small starter
    for each program, which sets the library path: a starter can be pasted into any shell.
    """

    folder: Path
    system: tuple[str, ...] = SYSTEM_FOLDERS

    def find(self, name: str) -> Path | None:
        """Return where a program is, or ``None``."""
        for folder in self.search_folders():
            if os.access(folder / name, os.X_OK):
                return folder / name
        return None

    def path(self, name: str) -> str:
        """Return the path of a program, to be used in a command.

        Raises:
            LabError: it is not there.
        """
        found = self.find(name)
        if found is None:
            raise LabError(
                f"the program {name} (package {PACKAGES.get(name, name)}) is not there",
                fix="run: qualify lab fetch",
            )
        return str(found)

    def missing(self) -> tuple[str, ...]:
        """Name the programs that are nowhere to be found, in the order of PACKAGES."""
        return tuple(name for name in PACKAGES if self.find(name) is None)

    def search_folders(self) -> tuple[Path, ...]:
        """Return the folders that are searched, first to last."""
        return (self.folder / "bin", *(Path(folder) for folder in self.system))


def lab_programs() -> Programs:
    """Return the programs of this project."""
    return Programs(private_folder() / "programs")


def private_folder() -> Path:
    """Return the folder ``.lab`` of the project, or of the working folder when installed apart."""
    project = Path(__file__).resolve().parents[2]
    home = project if (project / "pyproject.toml").is_file() else Path.cwd()
    return home / ".lab"
