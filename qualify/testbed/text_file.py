"""From a path to the text of a small file, read once, or to the reason why it is none."""

import hashlib
from dataclasses import dataclass
from pathlib import Path
from stat import S_ISDIR, S_ISREG

from qualify.testbed.complaint import Complaint, ComplaintsError

MOST_OCTETS = 1 << 20


@dataclass(frozen=True, slots=True)
class TextFile:
    """The text of a file, and the SHA-256 of the very octets that the text was taken from."""

    text: str
    sha256: str


def read_text_file(file: Path) -> TextFile:
    """Read a UTF-8 text file of at most 1 MiB.

    Its kind and size are looked at first, so that a pipe never blocks and a huge file is never
    read.

    Raises:
        ComplaintsError: no such file, a folder, too large, empty, not readable, or not text.
    """
    try:
        _refuse_what_is_no_small_file(file)
        with file.open("rb") as stream:
            octets = stream.read(MOST_OCTETS + 1)
    except FileNotFoundError as error:
        raise _refusal(file, "there is no such file", fix="correct the path") from error
    except OSError as error:
        problem = f"the file cannot be read: {reason_of(error)}"
        raise _refusal(file, problem, fix="check the path and its permissions") from error
    # Some files grow, and those that the kernel makes up as they are read claim to be empty.
    _refuse_size(file, len(octets))
    return TextFile(text=_decode(file, octets), sha256=hashlib.sha256(octets).hexdigest())


def reason_of(error: OSError) -> str:
    """Return what the system says about a failed access, as the end of a sentence."""
    return (error.strerror or "unknown reason").lower()


def _refuse_what_is_no_small_file(file: Path) -> None:
    status = file.stat()
    if S_ISDIR(status.st_mode):
        raise _refusal(file, "this is a folder", fix="name one YAML file in it")
    if not S_ISREG(status.st_mode):
        raise _refusal(file, "this is not a regular file", fix="name a YAML file on disk")
    _refuse_size(file, status.st_size)


def _refuse_size(file: Path, octets: int) -> None:
    if octets > MOST_OCTETS:
        raise _refusal(
            file,
            f"the file is too large: more than {MOST_OCTETS} octets",
            fix="name a YAML file; a testbed, a case or a manifest is a page or two",
        )


def _decode(file: Path, octets: bytes) -> str:
    if not octets.strip():
        raise _refusal(file, "the file is empty", fix="copy one of the example files and change it")
    if b"\0" in octets:
        raise _refusal(file, "the file is not text", fix="name a YAML file, saved as UTF-8")
    try:
        return octets.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = octets[: error.start]
        complaint = Complaint(
            file=file,
            line=before.count(b"\n") + 1,
            column=len(before) - before.rfind(b"\n"),
            key_path="",
            problem=f"octet 0x{octets[error.start]:02x} is not UTF-8",
            fix="save the file as UTF-8",
        )
        raise ComplaintsError([complaint]) from error


def _refusal(file: Path, problem: str, *, fix: str) -> ComplaintsError:
    return ComplaintsError([Complaint(file, None, None, "", problem, fix)])
