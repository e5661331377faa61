"""What the backend ``ring`` may be asked for on a machine that nobody has measured."""

from qualify.plan.limit import Limit

# More than any machine that we know sends with it: what this one really does without a loss, the
# self-check finds out, and the plan then keeps to what was seen.
UNMEASURED = Limit(sent_pps=1_000_000, received_pps=1_000_000)
