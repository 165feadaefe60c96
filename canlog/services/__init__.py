"""ISO 14229-1 services as tables."""
