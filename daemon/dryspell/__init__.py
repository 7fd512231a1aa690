"""Watches the weather against every coat of varnish or paint that is built up outdoors."""

__version__ = "0.1.0"
