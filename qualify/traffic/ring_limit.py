"""What the backend ``ring`` may be asked for on a machine that nobody has measured."""

from qualify.plan.limit import Limit

# Two slow processors, a bridge of the same machine in the middle and daemons beside it still do
# twice as much without a loss; what this machine really does, the self-check measures.
UNMEASURED = Limit(sent_pps=100_000, received_pps=100_000)
