"""The invented access algorithm of our invented makers: rotate left by 7 of (seed XOR constant), 32 bit."""


def key_for(seed: int, constant: int = 0x4B1D0C35) -> int:
    """The key that belongs to a seed."""
    value = seed ^ constant
    return (value << 7 | value >> 25) & 0xFFFFFFFF
