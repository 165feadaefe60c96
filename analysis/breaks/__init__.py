"""Where a job broke off: who fell silent, what the lines round it say, why it may have been."""
