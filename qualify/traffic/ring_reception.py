"""From the records of a port to the arrivals of every stream."""

from collections.abc import Mapping

import numpy as np

from qualify.measure.arrivals import ArrivalAnalyser
from qualify.traffic.ring_reader import Records


class PortReception:
    """Sorts what arrives at one port by stream, and lets each stream be analysed at once.

    A frame of a stream that does not end at this port is not delivered.

    Args:
        analysers: of the streams that end at the port, by the number in their frames.
        run_id: of the frames that count; those of another run are only counted.

    Source:
        RFC 2285 §3.8.3: flooded frames must not count as received.
    """

    def __init__(self, analysers: Mapping[int, ArrivalAnalyser], *, run_id: int) -> None:
        self._analysers = analysers
        self._run_id = run_id
        self.misdelivered = 0
        self.foreign = 0
        self.arrived = 0

    def take(self, records: Records) -> None:
        """Take a block of records."""
        ours = records.run_id == self._run_id
        if not ours.all():
            rows = np.flatnonzero(ours)
            self.foreign += ours.size - rows.size
            records = records.pick(rows)
        streams = records.stream
        self.arrived += streams.size
        if not streams.size:
            return
        if (streams == streams[0]).all():
            self._hand_over(int(streams[0]), records)
            return
        order = np.argsort(streams, kind="stable")
        sorted_streams = streams[order]
        bounds = np.flatnonzero(np.diff(sorted_streams)) + 1
        for rows in np.split(order, bounds):
            self._hand_over(int(streams[rows[0]]), records.pick(rows))

    def _hand_over(self, stream: int, records: Records) -> None:
        analyser = self._analysers.get(stream)
        if analyser is None:
            self.misdelivered += records.number.size
        else:
            analyser.take(records.number, records.sent_ns, records.received_ns)
