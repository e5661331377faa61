"""From one trial of the plan to an observation: the testbed, opened and running."""
