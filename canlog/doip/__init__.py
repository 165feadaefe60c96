"""Diagnostics over Ethernet: ISO 13400-2."""
