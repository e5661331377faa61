"""Questions to a running BIRD over its control socket, without starting a program for each."""

import re
import socket
from pathlib import Path

from qualify.errors import PeerError

ANSWER_TIMEOUT_S = 5
_LAST_LINE = re.compile(r"^(\d{4}) ", re.MULTILINE)
_FIRST_ERROR = 8000


def ask_bird(control: Path, question: str) -> str:
    """Ask one question and return the answer, each line with BIRD's number in front of it.

    Raises:
        PeerError: BIRD does not answer or does not understand.
    """
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as client:
            client.settimeout(ANSWER_TIMEOUT_S)
            client.connect(str(control))
            _read_answer(client)
            client.sendall(f"{question}\n".encode())
            answer, code = _read_answer(client)
    except OSError as error:
        raise PeerError(
            f"the peer behind {control} does not answer: {error.strerror or error}",
            fix="see whether it runs: qualify lab status",
        ) from error
    if code >= _FIRST_ERROR:
        raise PeerError(
            f"the peer did not understand {question!r}: {answer.strip()}",
            fix="use a BIRD of the second generation (2.x): qualify lab fetch",
        )
    return answer


def _read_answer(client: socket.socket) -> tuple[str, int]:
    """Read up to the line that has a blank behind its number: the last one of an answer."""
    text = ""
    while True:
        received = client.recv(65536)
        if not received:
            raise ConnectionResetError("it hung up")
        text += received.decode(errors="replace")
        last = _LAST_LINE.search(text)
        if last is not None and text.endswith("\n"):
            return text, int(last.group(1))
