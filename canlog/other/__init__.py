"""Protocols that are recognised and named, and not decoded further."""
