"""From an observation to figures: loss, order, outage with bounds. Pure functions only."""
