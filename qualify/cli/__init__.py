"""The command ``qualify``: everything that is not a test run."""
