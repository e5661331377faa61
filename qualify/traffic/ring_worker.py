"""A worker process of the backend ``ring``: ``python -m qualify.traffic.ring_worker``.

It ends when its owner closes the pipe or dies, and after LONGEST_LIFE_S whatever happens.
"""

import signal
from contextlib import ExitStack, suppress

from qualify.errors import TrafficError
from qualify.traffic.ring_channel import Channel, OwnerGoneError
from qualify.traffic.ring_messages import Collect, Done, Failed, Job, Start
from qualify.traffic.ring_service import Service

LONGEST_LIFE_S = 24 * 3600


def main() -> None:
    """Serve the owner at the other end of the pipes."""
    # Ctrl-C is for the owner, who stops the frames in an orderly way.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.alarm(LONGEST_LIFE_S)
    channel = Channel.to_owner()
    with suppress(OwnerGoneError):
        try:
            _work(channel)
        except TrafficError as failure:
            channel.tell(Failed(failure.problem, failure.fix))
            channel.await_end()


def _work(channel: Channel) -> None:
    job, arrays = channel.expect(Job)
    with ExitStack() as stack:
        service = Service(job, arrays, channel, stack)
        channel.tell(Done())
        start, _ = channel.expect(Start)
        service.start(start.at_ns)
        channel.tell(Done())
        service.run()
        service.drain()
        for message, parts in service.pieces():
            channel.tell(message, parts)
            channel.expect(Collect)


if __name__ == "__main__":
    main()
