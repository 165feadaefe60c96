"""A copy of a capture that can be given away: what identifies vehicle, owner or shop is replaced."""
