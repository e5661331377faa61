"""Qualify in-service software upgrades of switches and routers, from testbed to verdict."""

from importlib.metadata import version

__version__ = version("qualify-upgrades")

__all__ = ["__version__"]
