"""Questions over a control socket, to a server that answers as BIRD does."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from qualify.errors import PeerError
from qualify.peers.bird_socket import ask_bird


@contextmanager
def bird_that_says(*pieces: bytes, folder: Path) -> Iterator[Path]:
    """Greet like BIRD, then answer the first question with these pieces and hang up."""
    control = folder / "bird.ctl"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as server:
        server.bind(str(control))
        server.listen()

        def serve() -> None:
            client, _ = server.accept()
            with client:
                client.sendall(b"0001 BIRD 2.0.12 ready.\n")
                client.recv(100)
                for piece in pieces:
                    client.sendall(piece)

        thread = threading.Thread(target=serve)
        thread.start()
        yield control
        thread.join()


def test_an_answer_ends_with_the_line_that_has_a_blank_behind_its_number(tmp_path: Path) -> None:
    said = (b"1007-100 of 202 routes for 202 networks", b" in table master4\n0000", b" \n")

    with bird_that_says(*said, folder=tmp_path) as control:
        answer = ask_bird(control, "show route count")

    assert answer == "1007-100 of 202 routes for 202 networks in table master4\n0000 \n"


def test_an_error_of_bird_is_an_error_here(tmp_path: Path) -> None:
    with (
        bird_that_says(b"9001 syntax error, unexpected CF_SYM\n", folder=tmp_path) as control,
        pytest.raises(PeerError, match=r"^the peer did not understand 'shw': 9001 syntax error"),
    ):
        ask_bird(control, "shw")


def test_a_bird_that_hangs_up_has_not_answered(tmp_path: Path) -> None:
    with (
        bird_that_says(b"1007-100 of", folder=tmp_path) as control,
        pytest.raises(PeerError, match=r"^the peer behind .* does not answer: it hung up\n"),
    ):
        ask_bird(control, "show route count")


def test_a_socket_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(
        PeerError, match=r"bird.ctl does not answer: No such file or directory\n  fix: see whether"
    ):
        ask_bird(tmp_path / "bird.ctl", "show status")
