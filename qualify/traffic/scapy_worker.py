"""A worker process of the scapy backend: ``python -m qualify.traffic.scapy_worker send|receive``.

It ends when its owner closes the pipe or dies, and after LONGEST_LIFE_S whatever happens.
"""

import logging
import signal
import sys
from contextlib import suppress

from qualify.errors import TrafficError
from qualify.traffic.scapy_channel import Channel, OwnerGoneError
from qualify.traffic.scapy_messages import Failed
from qualify.traffic.scapy_receiver import run_receiver
from qualify.traffic.scapy_sender import run_sender

LONGEST_LIFE_S = 4 * 3600
_ROLES = {"send": run_sender, "receive": run_receiver}


def main(role: str) -> None:
    """Do one job for the owner at the other end of the pipes."""
    # Ctrl-C is for the owner, who stops the frames in an orderly way.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.alarm(LONGEST_LIFE_S)
    logging.getLogger("scapy").setLevel(logging.ERROR)
    with suppress(OwnerGoneError):
        _work(role, Channel.to_owner())


def _work(role: str, channel: Channel) -> None:
    try:
        _ROLES[role](channel)
    except TrafficError as failure:
        channel.tell(Failed(failure.problem, failure.fix))
        channel.await_end()


if __name__ == "__main__":
    main(sys.argv[1])
