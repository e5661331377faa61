"""The simulated world."""


class Simulation:
    """Placeholder until the room is furnished."""
