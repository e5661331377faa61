"""What can go wrong, each with the place where it happened and the way to mend it."""


class QualifyError(Exception):
    """A problem that a person can mend.

    Args:
        problem: what is wrong, one sentence without a full stop.
        fix: what to do about it; required, so that no error is a riddle.
        where: the place, e.g. ``testbeds/a.yaml:6:15 ports.p1``; empty when there is none.
    """

    def __init__(self, problem: str, *, fix: str, where: str = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.fix = fix
        self.where = where

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.problem}\n  fix: {self.fix}"


class FileError(QualifyError):
    """A testbed, case or image file says something that cannot be meant."""


class PlanError(QualifyError):
    """The files are well-formed, but what they ask for cannot be run or cannot be proven."""


class TrafficError(QualifyError):
    """A traffic backend could not send, receive or count."""


class DeviceError(QualifyError):
    """A device under test refused, did not answer, or answered something unknown."""


class ImageRefusedError(DeviceError):
    """A device refused a software image before anything was touched."""


class PeerError(QualifyError):
    """A routing peer of the tester did not start or did not answer."""


class LabError(QualifyError):
    """The virtual lab could not be built, used or removed on this machine."""


class BenchError(QualifyError):
    """The bench did not reach the state that a trial needs; nothing was measured."""


class MeasurementError(QualifyError):
    """An observation contradicts itself, so no figure can be taken from it."""


class RecordError(QualifyError):
    """A record cannot be read, or is of a format that this version does not know."""
