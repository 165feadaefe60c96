"""ISO 15765-2: transport on CAN."""
