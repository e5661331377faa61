"""The hooks of the pytest plugin."""
